-- Check: for each cup that a deposit is owed for, the deposit held is its refund value, at the end of every
-- day and now; across a day boundary that is not closed, with the remeasurement still to come. $1 scheme.
-- Looked at are the days on which cups or deposits moved or the value changed: between them nothing can
-- change.
WITH last_closed AS (
    SELECT coalesce(max(business_date) FILTER (WHERE state = 'closed'), '-infinity') AS business_date,
           max(business_date) AS latest
      FROM business_day WHERE scheme = $1::integer),
value AS (
    SELECT cup_type, effective_date, amount, lag(amount) OVER w AS before, lead(effective_date, 1, 'infinity') OVER w AS until
      FROM refund_value WHERE scheme = $1::integer WINDOW w AS (PARTITION BY cup_type ORDER BY effective_date)),
place (kind, section, counts) AS (VALUES
    (:account_customer_deposits, 'customers', false), (:account_with_customers, 'customers', true),
    (:account_stock_deposits, 'stock', false), (:account_site_stock, 'stock', true), (:account_damaged, 'stock', true),
    (:account_transit_deposits, 'transit', false), (:account_in_transit, 'transit', true)),
moved AS (
    SELECT section, account_owner(account) AS owner, account_cup_type(account) AS cup_type, business_date,
           coalesce(sum(amount) FILTER (WHERE counts), 0) AS cups, coalesce(sum(amount) FILTER (WHERE NOT counts), 0) AS held
      FROM leg
      JOIN place ON kind = account_kind_of(account)
      JOIN scheme ON scheme.id = leg.scheme
     WHERE scheme = $1::integer AND (section = 'customers' OR stock_terms = 'on_deposit')
     GROUP BY 1, 2, 3, 4),
point AS (
    SELECT section, owner, cup_type, business_date, sum(cups) AS cups, sum(held) AS held
      FROM (SELECT * FROM moved
            UNION ALL
            SELECT section, owner, cup_type, effective_date, 0, 0
              FROM (SELECT DISTINCT section, owner, cup_type FROM moved) AS known
              JOIN value USING (cup_type), last_closed
             WHERE effective_date <= latest) AS either
     GROUP BY 1, 2, 3, 4),
running AS (
    SELECT p.*, value.amount, sum(cups) OVER w AS cups_through, sum(held) OVER w AS held_through,
           CASE WHEN effective_date = p.business_date AND effective_date - 1 > last_closed.business_date
                THEN (value.amount - before) * (sum(cups) OVER w - cups) ELSE 0 END AS to_come
      FROM point p
     CROSS JOIN last_closed
      LEFT JOIN value ON value.cup_type = p.cup_type AND effective_date <= p.business_date AND p.business_date < until
    WINDOW w AS (PARTITION BY section, owner, p.cup_type ORDER BY p.business_date)),
compared AS (
    SELECT *, held_through - coalesce(sum(to_come) OVER (PARTITION BY section, owner, cup_type ORDER BY business_date), 0)
              + cups_through * coalesce(amount, 0) <> 0 AS is_broken
      FROM running)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(
           concat_ws(' ', 'the deposits on', c.code, CASE section WHEN 'customers' THEN 'with customers' WHEN 'transit' THEN 'in transit'
                     ELSE 'at ' || s.code END, 'are not their value on', business_date)
           ORDER BY business_date, section, owner, cup_type) FILTER (WHERE is_broken))
  FROM compared LEFT JOIN cup_type c ON c.id = cup_type LEFT JOIN site s ON s.id = owner
