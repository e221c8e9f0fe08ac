-- Deposit cover, and what funds it. $1 scheme, $2 business day: balances through that day against its refund values.
-- Across a day boundary that is not closed, a change of value has its remeasurement still to come; it is in the
-- figures already, and to_come says how much of them it is.
WITH of_scheme AS (SELECT id, decimals, stock_terms FROM scheme WHERE id = $1::integer),
last_closed AS (
    SELECT coalesce(max(business_date), '-infinity') AS business_date FROM business_day
     WHERE scheme = $1::integer AND state = 'closed'),
value AS (
    SELECT cup_type, effective_date, amount, lag(amount) OVER (PARTITION BY cup_type ORDER BY effective_date) AS before
      FROM refund_value WHERE scheme = $1::integer AND effective_date <= $2::date),
value_in_force AS (SELECT DISTINCT ON (cup_type) cup_type, amount FROM value ORDER BY cup_type, effective_date DESC),
change AS (
    SELECT cup_type, effective_date, amount - before AS amount FROM value, last_closed
     WHERE amount <> before AND effective_date - 1 > business_date),
-- Where cups are that a deposit is owed for, and the account that holds it.
place (kind, section, counts) AS (VALUES
    (:account_customer_deposits, 'customers', false), (:account_with_customers, 'customers', true),
    (:account_stock_deposits, 'stock', false), (:account_site_stock, 'stock', true), (:account_damaged, 'stock', true),
    (:account_transit_deposits, 'transit', false), (:account_in_transit, 'transit', true)),
-- Only accounts that are shown are read one by one: those of customers, and on deposit of sites and of the road.
stands AS (
    SELECT b.account, account_kind_of(b.account) AS kind, b.amount
      FROM of_scheme CROSS JOIN (SELECT DISTINCT kind, section FROM place) AS read
     CROSS JOIN LATERAL balances_between(of_scheme.id, account_of(read.kind, 0, 0), account_of(read.kind + 1, 0, 0) - 1, $2::date) AS b
     WHERE read.section = 'customers' OR of_scheme.stock_terms = 'on_deposit'),
held AS (
    SELECT section, account_owner(account) AS owner, account_cup_type(account) AS cup_type,
           coalesce(sum(amount) FILTER (WHERE counts), 0) AS cups,
           -coalesce(sum(amount) FILTER (WHERE NOT counts), 0) AS amount
      FROM stands JOIN place USING (kind), of_scheme
     WHERE section = 'customers' OR stock_terms = 'on_deposit'
     GROUP BY 1, 2, 3),
to_come AS (
    SELECT section, account_owner(b.account) AS owner, change.cup_type, sum(change.amount * b.amount) AS amount
      FROM (SELECT DISTINCT effective_date FROM change) AS boundary
     CROSS JOIN of_scheme
      JOIN place ON counts AND (section = 'customers' OR stock_terms = 'on_deposit')
     CROSS JOIN LATERAL balances_between(of_scheme.id, account_of(place.kind, 0, 0), account_of(place.kind + 1, 0, 0) - 1,
                                         effective_date - 1) AS b
      JOIN change USING (effective_date)
     WHERE account_cup_type(b.account) = change.cup_type
     GROUP BY 1, 2, 3),
cover AS (
    SELECT section, owner, cup_type, cups, coalesce(v.amount, 0) AS refund_value, cups * coalesce(v.amount, 0) AS required,
           held.amount + coalesce(to_come.amount, 0) AS held, coalesce(to_come.amount, 0) AS to_come
      FROM held LEFT JOIN value_in_force v USING (cup_type) LEFT JOIN to_come USING (section, owner, cup_type)),
-- Every money account of the scheme by its kind: deposits, the money against them, and the causes of the
-- difference.
remeasured (word, amount) AS (
    SELECT unnest(ARRAY[CASE section WHEN 'customers' THEN 'customer_deposits' ELSE section || '_deposits' END,
                        CASE section WHEN 'stock' THEN 'site_clearing' ELSE 'refund_variance' END]),
           unnest(ARRAY[-to_come, to_come]) FROM cover),
money AS (
    SELECT kind, word, CASE WHEN word LIKE '%\_deposits' THEN 'deposits' WHEN class = 'asset' THEN 'assets' ELSE 'causes' END AS part,
           coalesce((SELECT sum(amount) FROM remeasured r WHERE r.word = k.word), 0) AS to_come,
           coalesce((SELECT sum(t.amount) FROM kinds_through($1::integer, $2::date) AS t WHERE t.kind = k.kind), 0) AS amount
      FROM account_kind k WHERE kind < :account_first_cups),
funding AS (
    SELECT CASE part WHEN 'deposits' THEN 1 WHEN 'assets' THEN 2 ELSE 4 END AS part, kind, word AS item,
           CASE part WHEN 'deposits' THEN -amount - to_come END AS required,
           CASE part WHEN 'assets' THEN amount + to_come END AS held,
           CASE part WHEN 'assets' THEN to_come ELSE -to_come END AS to_come,
           CASE part WHEN 'causes' THEN -amount - to_come END AS difference
      FROM money
    UNION ALL
    SELECT 3, 0, 'surplus', -sum(amount + to_come) FILTER (WHERE part = 'deposits'),
           sum(amount + to_come) FILTER (WHERE part = 'assets'), NULL, sum(amount + to_come) FILTER (WHERE part <> 'causes')
      FROM money
    UNION ALL
    SELECT 5, 0, 'unexplained', NULL, NULL, NULL, sum(amount + to_come) FROM money)
SELECT section, item, cup_type, cups, amount_text(refund_value, decimals), amount_text(required, decimals),
       amount_text(held, decimals), amount_text(to_come, decimals), amount_text(difference, decimals)
  FROM (SELECT section, CASE section WHEN 'customers' THEN 'with_customers' WHEN 'transit' THEN 'in_transit' ELSE site.code END AS item,
               cup_type.code AS cup_type, cups, refund_value, required, held, to_come, held - required AS difference,
               0 AS part, 0 AS kind
          FROM cover JOIN cup_type ON cup_type.id = cup_type LEFT JOIN site ON site.id = owner
        UNION ALL
        SELECT 'funding', item, NULL, NULL, NULL, required, held, to_come, difference, part, kind FROM funding) AS line, of_scheme
 ORDER BY part, array_position(ARRAY['customers', 'stock', 'transit', 'funding'], section), kind, item COLLATE "C", cup_type COLLATE "C"
