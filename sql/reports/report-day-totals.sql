-- What tills say of their days against what is recorded, by the day in which things happened, not by the one that they posted to: an
-- event that never came is a difference. $1 scheme, $2 first and $3 last business day, $4 site (null: all).
-- What was not late happened in the day that it posted to: a site's entries of that day, by the index (site, entry). What was late
-- is looked for among the site's late entries since the first day, by theirs. It costs as much as the events of these sites and days.
-- The till's own amount counts, stated or by tariff, also where clearing took the tariff instead. A reversal takes back what the
-- reversed event did, on the later of its own day and that event's posting day.
WITH shown AS MATERIALIZED (
    SELECT id, code FROM site WHERE scheme = $1::integer AND ($4::integer IS NULL OR id = $4)),
in_time AS (
    SELECT e.site, e.entry, e.kind, e.event, e.accounts, e.amounts, e.business_date AS occurred_on
      FROM shown
     CROSS JOIN business_day d
     CROSS JOIN LATERAL (
           SELECT n.* FROM entry n
            WHERE n.site = shown.id AND n.entry BETWEEN d.first_entry AND d.last_entry AND n.business_date = d.business_date
              AND NOT n.late AND n.kind IN (1, 2, 3, 11)
           OFFSET 0) e
     WHERE d.scheme = $1::integer AND d.business_date BETWEEN $2::date AND $3::date),
late AS (
    SELECT e.site, e.entry, e.kind, e.event, e.accounts, e.amounts,
           (SELECT d.business_date FROM business_day d WHERE d.scheme = $1::integer AND d.starts_at <= e.occurred_at
             ORDER BY d.business_date DESC LIMIT 1) AS occurred_on
      FROM shown
     CROSS JOIN LATERAL (
           SELECT n.* FROM entry n
            WHERE n.site = shown.id AND n.late AND n.kind IN (1, 2, 3, 11)
              AND n.entry >= (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date >= $2)
           OFFSET 0) e),
happened AS (
    SELECT c.site, greatest(c.occurred_on, o.business_date) AS occurred_on, CASE c.kind WHEN 11 THEN -1 ELSE 1 END AS sign,
           coalesce(o.kind, c.kind) AS kind, coalesce(o.event, c.event)::json ->> 'amount' AS stated,
           coalesce(o.accounts, c.accounts) AS accounts, coalesce(o.amounts, c.amounts) AS amounts
      FROM (SELECT * FROM in_time UNION ALL SELECT * FROM late) c
      LEFT JOIN LATERAL (
           SELECT r.kind, r.event, r.accounts, r.amounts, r.business_date
             FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
            WHERE c.kind = 11 AND f.scheme = $1::integer AND f.entry = c.entry) o ON true),
at_till AS ( -- into the till: what the site's clearing and, on deposit, its own deposits took
    SELECT site, occurred_on, sign, issued, returned,
           coalesce(CASE kind WHEN 2 THEN -1 ELSE 1 END * round(stated::numeric * power(10::numeric, decimals)), taken) AS till
      FROM happened
     CROSS JOIN scheme
     CROSS JOIN LATERAL (
           SELECT coalesce(-sum(amount) FILTER (WHERE account >> 48 IN (33, 34) AND amount < 0), 0) AS issued,
                  coalesce(sum(amount) FILTER (WHERE account >> 48 IN (33, 34) AND amount > 0), 0) AS returned,
                  coalesce(sum(amount) FILTER (WHERE account >> 48 IN (2, 4)), 0) AS taken
             FROM unnest(accounts, amounts) AS l(account, amount)) moved
     WHERE scheme.id = $1::integer AND kind IN (1, 2, 3) AND occurred_on BETWEEN $2 AND $3),
recorded AS (
    SELECT site, occurred_on AS business_date, sum(sign * issued) AS issued, sum(sign * returned) AS returned,
           sum(sign * greatest(till, 0)) AS collected, sum(sign * greatest(-till, 0)) AS refunded
      FROM at_till GROUP BY 1, 2),
stated AS (
    SELECT DISTINCT ON (t.site, t.business_date) t.site, t.business_date, t.issued, t.returned, t.collected, t.refunded
      FROM shown JOIN day_total t ON t.scheme = $1::integer AND t.site = shown.id AND t.business_date BETWEEN $2 AND $3
     ORDER BY t.site, t.business_date, t.position DESC)
SELECT business_date, shown.code, t.issued, coalesce(r.issued, 0), t.issued - coalesce(r.issued, 0),
       t.returned, coalesce(r.returned, 0), t.returned - coalesce(r.returned, 0),
       amount_text(t.collected, decimals), amount_text(coalesce(r.collected, 0), decimals),
       amount_text(t.collected - coalesce(r.collected, 0), decimals),
       amount_text(t.refunded, decimals), amount_text(coalesce(r.refunded, 0), decimals),
       amount_text(t.refunded - coalesce(r.refunded, 0), decimals)
  FROM stated t FULL JOIN recorded r USING (site, business_date) JOIN shown ON shown.id = site, scheme
 WHERE scheme.id = $1::integer
 ORDER BY business_date, shown.code COLLATE "C"
