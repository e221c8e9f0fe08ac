-- A slice of scheme $1's bank statements, by last day and number, each as JSON, with its key: after $2 (day/number;
-- null: from the first), at most $3, that end on days from $4 to $5 (null: any).
WITH asked AS MATERIALIZED (
    SELECT greatest(after.day, $4::date, '-infinity') AS after_day,
           CASE WHEN after.day < $4::date THEN 0 ELSE coalesce(after.number, 0) END AS after_number,
           coalesce($5::date, 'infinity') AS last_day
      FROM (SELECT split_part($2::text, '/', 1)::date AS day, nullif(split_part($2::text, '/', 2), '')::bigint AS number) AS after),
slice AS (
    SELECT t.last_day, t.statement FROM asked CROSS JOIN LATERAL (
           SELECT t.last_day, t.statement FROM bank_statement t
            WHERE t.scheme = $1::integer AND (t.last_day, t.statement) > (after_day, after_number) AND t.last_day <= asked.last_day
            ORDER BY t.last_day, t.statement LIMIT $3::bigint) AS t)
SELECT t.shown || jsonb_build_object(
           'lines', (SELECT count(*) FROM bank_line l WHERE l.scheme = $1::integer AND l.statement = t.statement),
           'open', (SELECT count(*) FROM bank_line_open o WHERE o.scheme = $1::integer AND o.statement = t.statement)),
       t.last_day || '/' || t.statement
  FROM slice
  JOIN bank_statement_shown t ON t.scheme = $1::integer AND t.statement = slice.statement
 ORDER BY t.last_day, t.statement
