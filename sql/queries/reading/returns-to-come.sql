-- The cups of type $2 that scheme $1 issued in the last $3 weeks, through the last Sunday that is closed. Each row has
-- the first and the last of these days, and the cups of the type that customers had at the end. Then come the place of
-- the week of issue, the weeks until cups came back (-1: forfeited, -2: still out), and these cups. There is a row
-- without a week if no cup was issued, and none if no Sunday is closed.
WITH last AS (
    SELECT (date_trunc('week', (max(d.business_date) + 1)::timestamp))::date - 1 AS day, min(d.business_date) AS began
      FROM business_day d WHERE d.scheme = $1::integer AND d.state = 'closed' HAVING count(*) > 0),
asked AS (
    SELECT greatest(day - 7 * $3::integer + 1, date_trunc('week', began::timestamp)::date) AS first, day AS last
      FROM last WHERE day >= began),
became AS (
    SELECT (f.issued_on - a.first) / 7 AS week,
           CASE f.fate WHEN 'returned' THEN (f.ended_on - a.first) / 7 - (f.issued_on - a.first) / 7
                       WHEN 'forfeited' THEN -1 ELSE -2 END AS later, sum(f.cups)::bigint AS cups
      FROM asked a CROSS JOIN LATERAL cup_fates($1, a.first, a.last) AS f
     WHERE f.cup_type = $2::integer
     GROUP BY 1, 2),
stood AS (
    SELECT coalesce(sum(f.opened - f.opened_forfeited + f.issued - f.returned - f.forfeited + f.reinstated), 0)::bigint AS out
      FROM asked a CROSS JOIN LATERAL cup_flows($1, a.last) AS f WHERE f.cup_type = $2)
SELECT a.first, a.last, stood.out, b.week, coalesce(b.later, 0), coalesce(b.cups, 0)
  FROM asked a CROSS JOIN stood LEFT JOIN became b ON true
 ORDER BY b.week, b.later
