-- A slice of scheme $1's bank statements, by last day and number, each as JSON, with its key: beyond $2 (day/number;
-- null: from the first), at most $3, that end on days from $4 to $5 (null: any).
WITH asked AS MATERIALIZED (
    SELECT CASE WHEN is_within THEN given.day WHEN :newest_first THEN last_day + 1 ELSE first_day END AS start_day,
           CASE WHEN is_within THEN given.number ELSE 0 END AS start_number,
           CASE WHEN :newest_first THEN first_day ELSE last_day END AS end_day
      FROM (SELECT split_part($2::text, '/', 1)::date AS day, nullif(split_part($2::text, '/', 2), '')::bigint AS number) AS given
     CROSS JOIN (SELECT coalesce($4::date, '-infinity') AS first_day, coalesce($5::date, 'infinity') AS last_day) AS span
     CROSS JOIN LATERAL (SELECT CASE WHEN :newest_first THEN given.day <= last_day ELSE given.day >= first_day END AS is_within) AS its),
slice AS (
    SELECT t.last_day, t.statement FROM asked CROSS JOIN LATERAL (
           SELECT t.last_day, t.statement FROM bank_statement t
            WHERE t.scheme = $1::integer AND (t.last_day, t.statement) :beyond (start_day, start_number) AND t.last_day :until end_day
            ORDER BY t.last_day :onward, t.statement :onward LIMIT $3::bigint) AS t)
SELECT t.shown || jsonb_build_object(
           'lines', (SELECT count(*) FROM bank_line l WHERE l.scheme = $1::integer AND l.statement = t.statement),
           'open', (SELECT count(*) FROM bank_line_open o WHERE o.scheme = $1::integer AND o.statement = t.statement)),
       t.last_day || '/' || t.statement
  FROM slice
  JOIN bank_statement_shown t ON t.scheme = $1::integer AND t.statement = slice.statement
 ORDER BY t.last_day :onward, t.statement :onward
