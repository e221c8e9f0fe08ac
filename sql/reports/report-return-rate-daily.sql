-- Cups issued and returned over all sites in each day, and the rate of the 7 days that end with it, which evens out
-- weekdays. $1 scheme, $2 first and $3 last business day, $4 cup type (null: all).
WITH done AS (
    SELECT business_date, sum(issued) AS issued, sum(returned) AS returned
      FROM cup_days($1::integer, $2::date - 6, $3::date)
     WHERE $4::integer IS NULL OR cup_type = $4 GROUP BY 1),
day AS (
    SELECT d.business_date, coalesce(issued, 0) AS issued, coalesce(returned, 0) AS returned,
           sum(issued) OVER week AS issued_7, sum(returned) OVER week AS returned_7
      FROM business_day d LEFT JOIN done USING (business_date)
     WHERE d.scheme = $1::integer AND d.business_date BETWEEN $2::date - 6 AND $3::date
    WINDOW week AS (ORDER BY d.business_date RANGE BETWEEN '6 days' PRECEDING AND CURRENT ROW))
SELECT business_date, issued, returned, CASE WHEN issued_7 > 0 THEN round(returned_7 / issued_7, 4) END, rate_text(return_target_ppm)
  FROM day, scheme
 WHERE scheme.id = $1::integer AND business_date >= $2
 ORDER BY business_date
