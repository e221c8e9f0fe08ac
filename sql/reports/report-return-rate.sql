-- The cups issued in each period by what has become of them. Some came back, anywhere, within 7 or 30 days, or
-- through a business day. $1 scheme, $2 first (null: eleven weeks or months before the period of the last) and $3
-- last day of issue, $4 periods 1: weeks, from Monday on, 2: months, 3: all days as one (null: weeks), $5 cup type
-- (null: all), $6 day through which returns count, $7 lines over all cup types 1: shown, 2: left out (null: the
-- same). The figures after so many days come once all days of the period have had these, and the last of these is
-- closed.
WITH asked AS (
    SELECT CASE $4::integer WHEN 2 THEN 'month' ELSE 'week' END AS period,
           CASE $4 WHEN 2 THEN interval '1 month' ELSE interval '7 days' END AS length,
           greatest(coalesce($2::date, (SELECT min(business_date) FROM business_day WHERE scheme = $1::integer)),
                    CASE WHEN $2 IS NOT NULL THEN $2
                         WHEN $4 = 2 THEN (date_trunc('month', $3::date::timestamp) - interval '11 months')::date
                         ELSE (date_trunc('week', $3::date::timestamp) - interval '77 days')::date END) AS first,
           (SELECT min(business_date) FROM business_day WHERE scheme = $1) AS began,
           (SELECT max(business_date) FROM business_day WHERE scheme = $1 AND state = 'closed' AND business_date <= $6::date) AS settled),
cups AS (
    SELECT CASE WHEN $4 = 3 THEN first ELSE date_trunc(period, f.issued_on::timestamp)::date END AS begins,
           CASE WHEN $4 = 3 THEN $3 ELSE (date_trunc(period, f.issued_on::timestamp) + length)::date - 1 END AS ends, f.*
      FROM asked CROSS JOIN LATERAL cup_fates($1::integer, first, $6::date) AS f
     WHERE f.issued_on BETWEEN first AND $3 AND ($5::integer IS NULL OR f.cup_type = $5)),
period AS (
    SELECT begins, ends, cup_type, grouping(cup_type) = 1 AS is_total, sum(cups) AS issued,
           coalesce(sum(cups) FILTER (WHERE fate = 'returned' AND ended_on <= issued_on + 7), 0) AS returned_7,
           coalesce(sum(cups) FILTER (WHERE fate = 'returned' AND ended_on <= issued_on + 30), 0) AS returned_30,
           coalesce(sum(cups) FILTER (WHERE fate = 'returned'), 0) AS returned,
           coalesce(sum(cups) FILTER (WHERE fate = 'forfeited'), 0) AS forfeited,
           coalesce(sum(cups) FILTER (WHERE fate = 'out'), 0) AS cups_out
      FROM cups GROUP BY GROUPING SETS ((begins, ends, cup_type), (begins, ends))),
shown AS (
    SELECT p.*, greatest(begins, first) AS first_day, least(ends, $3) AS last_day,
           least(ends, $3) + 7 <= settled AS after_7, least(ends, $3) + 30 <= settled AS after_30,
           begins < first AND first > began OR ends > $3 AND $3 < $6 AS is_cut
      FROM period p, asked WHERE NOT is_total OR $7::integer = 1)
SELECT first_day, last_day, CASE WHEN is_total THEN 'total' ELSE c.code END, issued,
       CASE WHEN after_7 THEN returned_7 END, CASE WHEN after_7 THEN round(returned_7 / issued, 4) END,
       CASE WHEN after_30 THEN returned_30 END, CASE WHEN after_30 THEN round(returned_30 / issued, 4) END,
       returned, round(returned / issued, 4), forfeited, cups_out, rate_text(s.return_target_ppm),
       CASE WHEN is_cut THEN 'cut_short' WHEN after_30 THEN 'whole' ELSE 'running' END
  FROM scheme s CROSS JOIN shown LEFT JOIN cup_type c ON c.id = cup_type
 WHERE s.id = $1
 ORDER BY begins, is_total, c.code COLLATE "C"
