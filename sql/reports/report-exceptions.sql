-- Facts that a person should look at, and who did, in entry order. $1 scheme, $2 first and $3 last business day, $4
-- site (null: all), $5 1 for open ones, 2 for resolved ones (null: all), $6 order 1: the newest entry first, 2: the
-- oldest (null: the same), $7 the entry to go on after (null: from the first). Open ones are found by the list of
-- them. One of the first two parts reads nothing. Exceptions of cups with identity are of the day on which they
-- came to light, not of their entry's day.
WITH span AS MATERIALIZED (
    SELECT greatest(min(first_entry), CASE WHEN $6::integer = 1 THEN NULL ELSE $7::bigint + 1 END) AS first,
           least(max(last_entry), CASE WHEN $6::integer = 1 THEN $7::bigint - 1 END) AS last FROM business_day
     WHERE scheme = $1::integer AND business_date BETWEEN $2::date AND $3::date),
found AS (
    SELECT x.* FROM span JOIN exception x ON x.scheme = $1::integer AND x.entry BETWEEN span.first AND span.last
                                         AND x.position < 1000
     WHERE $5::integer IS DISTINCT FROM 1
    UNION ALL
    SELECT x.* FROM span
      JOIN exception_open o ON o.scheme = $1::integer AND o.entry BETWEEN span.first AND span.last AND o.position < 1000
      JOIN exception x ON (x.scheme, x.entry, x.position) = (o.scheme, o.entry, o.position)
     WHERE $5::integer = 1
    UNION ALL
    SELECT x.* FROM exception x
     WHERE x.scheme = $1::integer AND x.position >= 1000 AND x.business_date BETWEEN $2::date AND $3::date
       AND ($7::bigint IS NULL OR CASE WHEN $6::integer = 1 THEN x.entry < $7::bigint ELSE x.entry > $7::bigint END))
SELECT format('%s.%s.%s', scheme.code, x.entry, x.position), x.business_date, x.entry,
       (SELECT e.event::json ->> 'event_id' FROM entry e WHERE e.scheme = x.scheme AND e.entry = x.entry),
       x.kind, s.code, c.code, x.quantity, amount_text(x.amount, decimals),
       CASE WHEN z.entry IS NULL THEN 'open' ELSE 'resolved' END,
       instant_text(z.resolved_at) || to_char(z.resolved_at AT TIME ZONE time_zone, ' YYYY-MM-DD HH24:MI:SS ') || time_zone,
       k.name, z.by_entry, z.note, cup.id
  FROM found x
  JOIN scheme ON scheme.id = x.scheme
  LEFT JOIN site s ON s.id = x.site
  LEFT JOIN cup_type c ON c.id = x.cup_type
  LEFT JOIN exception_resolution z ON (z.scheme, z.entry, z.position) = (x.scheme, x.entry, x.position)
  LEFT JOIN api_key k ON k.id = z.resolved_by
  LEFT JOIN cup_finding f ON x.position >= 1000 AND (f.scheme, f.entry, f.exception) = (x.scheme, x.entry, x.position)
  LEFT JOIN cup USING (cup)
 WHERE x.business_date BETWEEN $2::date AND $3::date
   AND ($4::integer IS NULL OR x.site = $4)
   AND ($5::integer IS NULL OR (z.entry IS NULL) = ($5 = 1))
 ORDER BY CASE $6::integer WHEN 1 THEN -x.entry ELSE x.entry END, x.position
