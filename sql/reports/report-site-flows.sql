-- Cups that sites handed out and took back in a period, by cup type; then, if asked for, the sums of each cup type.
-- $1 scheme, $2 first and $3 last business day, $4 site (null: all), $5 cup type (null: all), $6 the sums 1: shown,
-- 2: left out (null: the same). Flows of a place are no return rate, because cups come back at other places.
WITH done AS (
    SELECT site, cup_type, sum(issued) AS issued, sum(returned) AS returned
      FROM cup_days($1::integer, $2::date, $3::date)
     WHERE ($4::integer IS NULL OR site = $4) AND ($5::integer IS NULL OR cup_type = $5)
     GROUP BY 1, 2 HAVING bool_or(issued <> 0 OR returned <> 0)),
line AS (
    SELECT s.code AS site, cup_type, issued, returned, false AS is_total FROM done JOIN site s ON s.id = site
    UNION ALL
    SELECT 'total', cup_type, sum(issued), sum(returned), true FROM done WHERE $6::integer = 1 GROUP BY cup_type)
SELECT site, c.code, issued, returned, issued - returned
  FROM line JOIN cup_type c ON c.id = cup_type
 ORDER BY is_total, site COLLATE "C", c.code COLLATE "C"
