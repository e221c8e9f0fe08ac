-- The cups issued in each day by what has become of them, by cup type. $1 scheme, $2 first and $3 last day of issue,
-- $4 cup type (null: all), $5 day through which returns count, $6 a last line of the sums 1: shown, 2: left out
-- (null: the same). Cups posted as issued are net of the reversals of that day. Reversals of later days also reduce
-- the cups issued.
WITH posted AS (
    SELECT business_date AS day, cup_type, issued AS posted FROM cup_flows($1::integer, $5::date)
     WHERE business_date BETWEEN $2::date AND $3::date AND issued <> 0 AND ($4::integer IS NULL OR cup_type = $4)),
fates AS (
    SELECT issued_on AS day, cup_type, sum(cups) AS issued,
           coalesce(sum(cups) FILTER (WHERE fate = 'returned' AND ended_on <= issued_on + 7), 0) AS returned_7,
           coalesce(sum(cups) FILTER (WHERE fate = 'returned' AND ended_on <= issued_on + 30), 0) AS returned_30,
           coalesce(sum(cups) FILTER (WHERE fate = 'returned'), 0) AS returned,
           coalesce(sum(cups) FILTER (WHERE fate = 'forfeited'), 0) AS forfeited,
           coalesce(sum(cups) FILTER (WHERE fate = 'out'), 0) AS cups_out
      FROM cup_fates($1, $2, $5) WHERE issued_on <= $3 AND ($4 IS NULL OR cup_type = $4) GROUP BY 1, 2),
line AS (SELECT * FROM posted FULL JOIN fates USING (day, cup_type)),
shown AS (
    SELECT day, cup_type, grouping(day) = 1 AS is_total, coalesce(sum(posted), 0) AS posted, coalesce(sum(issued), 0) AS issued,
           coalesce(sum(returned_7), 0) AS returned_7, coalesce(sum(returned_30), 0) AS returned_30,
           coalesce(sum(returned), 0) AS returned, coalesce(sum(forfeited), 0) AS forfeited, coalesce(sum(cups_out), 0) AS cups_out
      FROM line GROUP BY GROUPING SETS ((day, cup_type), ()))
SELECT CASE WHEN is_total THEN 'total' ELSE day::text END, c.code, posted, issued, returned_7, returned_30, returned,
       CASE WHEN issued > 0 THEN round(returned / issued, 4) END, forfeited, cups_out, rate_text(s.return_target_ppm)
  FROM scheme s CROSS JOIN shown LEFT JOIN cup_type c ON c.id = cup_type
 WHERE s.id = $1 AND (NOT is_total OR $6::integer = 1)
 ORDER BY is_total, day, c.code COLLATE "C"
