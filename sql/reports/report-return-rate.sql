-- Cups returned of those issued in a period, per cup type and site, then over all sites. $1 scheme, $2 first and $3
-- last business day, $4 site (null: all, with the network's lines). Returns of the period over issues of the same
-- period: common practice, and no cohort; a cup may come back in a later period and at another site.
WITH done AS (
    SELECT site, cup_type, sum(issued) AS issued, sum(returned) AS returned
      FROM cup_days($1::integer, $2::date, $3::date)
     WHERE ($4::integer IS NULL OR site = $4) GROUP BY 1, 2 HAVING bool_or(issued <> 0 OR returned <> 0)),
line AS (
    SELECT site, cup_type, issued, returned FROM done
    UNION ALL
    SELECT NULL, cup_type, sum(issued), sum(returned) FROM done WHERE $4 IS NULL GROUP BY cup_type)
SELECT c.code, s.code, issued, returned, rate, rate_text(return_target_ppm), round(rate - return_target_ppm / 1000000.0, 4)
  FROM line
  JOIN cup_type c ON c.id = cup_type
  LEFT JOIN site s ON s.id = site
 CROSS JOIN LATERAL (SELECT CASE WHEN issued > 0 THEN round(returned / issued, 4) END AS rate) AS returned_of, scheme
 WHERE scheme.id = $1::integer
 ORDER BY c.code COLLATE "C", s.code COLLATE "C" NULLS LAST
