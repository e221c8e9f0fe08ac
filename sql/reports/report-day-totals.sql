-- The tills' own totals against the recorded events, by the day of occurrence, not by the posting day: an
-- event that never came is a difference. $1 scheme, $2 first and $3 last business day, $4 site (null: all), $5 1 for
-- days that are missing: closed ones, after the last day that the till has stated, which is no more than a month ago
-- (null: all). A closed day's figures are kept (till_day), by the day in which it happened; those of the others are
-- from their entries.
WITH shown AS MATERIALIZED (
    SELECT id, code FROM site WHERE scheme = $1::integer AND ($4::integer IS NULL OR id = $4)),
recorded AS (
    SELECT part.site, part.occurred_on AS business_date, bool_or(part.kept) AS kept, sum(part.issued) AS issued, sum(part.returned) AS returned,
           sum(part.collected) AS collected, sum(part.refunded) AS refunded
      FROM (SELECT true AS kept, k.site, k.occurred_on, k.issued, k.returned, k.collected, k.refunded FROM till_day k
             WHERE k.scheme = $1::integer AND k.occurred_on BETWEEN $2::date AND $3::date AND ($4::integer IS NULL OR k.site = $4)
            UNION ALL
            SELECT false, t.* FROM business_day d CROSS JOIN LATERAL till_day_of(d.scheme, d.business_date, $4::integer) AS t
             WHERE d.scheme = $1::integer AND d.business_date >= $2::date AND d.first_entry IS NOT NULL
               AND NOT EXISTS (SELECT FROM particulars p WHERE p.scheme = d.scheme AND p.business_date = d.business_date)
               AND t.occurred_on BETWEEN $2 AND $3::date) AS part
     GROUP BY 1, 2),
stated AS (
    SELECT DISTINCT ON (t.site, t.business_date) t.site, t.business_date, t.issued, t.returned, t.collected, t.refunded
      FROM shown JOIN day_total t ON t.scheme = $1::integer AND t.site = shown.id AND t.business_date BETWEEN $2 AND $3
     ORDER BY t.site, t.business_date, t.position DESC),
late AS ( -- the days that each till has still to state
    SELECT shown.id AS site, told.business_date AS after, closed.business_date AS through
      FROM shown
     CROSS JOIN LATERAL (SELECT c.business_date FROM settlement c WHERE c.scheme = $1::integer
                          ORDER BY c.business_date DESC LIMIT 1) AS closed
     CROSS JOIN LATERAL (SELECT o.business_date FROM day_total o WHERE o.scheme = $1::integer AND o.site = shown.id
                          ORDER BY o.business_date DESC LIMIT 1) AS told
     WHERE $5::integer = 1 AND told.business_date >= closed.business_date - 31)
SELECT business_date, shown.code, t.issued, coalesce(r.issued, 0), t.issued - coalesce(r.issued, 0),
       t.returned, coalesce(r.returned, 0), t.returned - coalesce(r.returned, 0),
       amount_text(t.collected, decimals), amount_text(coalesce(r.collected, 0), decimals),
       amount_text(t.collected - coalesce(r.collected, 0), decimals),
       amount_text(t.refunded, decimals), amount_text(coalesce(r.refunded, 0), decimals),
       amount_text(t.refunded - coalesce(r.refunded, 0), decimals)
  FROM stated t FULL JOIN recorded r USING (site, business_date) JOIN shown ON shown.id = site, scheme
 WHERE scheme.id = $1::integer
   AND ($5::integer IS NULL
        OR (kept AND EXISTS (SELECT FROM late WHERE late.site = shown.id AND business_date > late.after AND business_date <= late.through)))
 ORDER BY business_date, shown.code COLLATE "C"
