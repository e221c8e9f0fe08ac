-- Cups that are gone, by site and cup type: missed or found by counts, and lost in transit, against cups handled. $1
-- scheme, $2 first and $3 last business day, $4 site (null: all), $5 cup type (null: all). Losses that the operator
-- bears have no site.
WITH line AS (
    SELECT l.site, l.cup_type, l.what, l.cups, l.amount, 0 AS issued, 0 AS returned
      FROM shrinkage_lines($1::integer, $2::date, $3::date) AS l
    UNION ALL
    SELECT d.site, d.cup_type, NULL, 0, 0, d.issued, d.returned
      FROM cup_days($1::integer, $2::date, $3::date) AS d WHERE d.issued <> 0 OR d.returned <> 0),
done AS (
    SELECT l.site, l.cup_type, coalesce(sum(l.cups) FILTER (WHERE what = 'missing'), 0) AS missing,
           coalesce(-sum(l.cups) FILTER (WHERE what = 'found'), 0) AS found,
           coalesce(sum(l.cups) FILTER (WHERE what = 'lost'), 0) AS lost, sum(l.cups) AS gone, sum(l.amount) AS amount,
           sum(l.issued) AS issued, sum(l.returned) AS returned, bool_or(what IS NOT NULL) AS has_lines
      FROM line l
     WHERE ($4::integer IS NULL OR l.site = $4) AND ($5::integer IS NULL OR l.cup_type = $5)
     GROUP BY 1, 2)
SELECT t.code, c.code, missing, found, lost, gone, amount_text(amount, s.decimals), issued, returned,
       CASE WHEN issued + returned > 0 THEN round(gone / (issued + returned), 4) END
  FROM done JOIN cup_type c ON c.id = done.cup_type LEFT JOIN site t ON t.id = done.site
  JOIN scheme s ON s.id = $1::integer
 WHERE has_lines
 ORDER BY t.code COLLATE "C" NULLS LAST, c.code COLLATE "C"
