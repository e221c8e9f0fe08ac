-- The payment of home $2 that line $3 of the bank of host $1 was: the one that the line names; or else, of the 100
-- newest, the oldest that lacks the line's amount, or of which the line takes back as much; or else the only one that
-- is not paid.
WITH line AS (
    SELECT b.amount, b.end_to_end FROM bank_line b WHERE b.scheme = $1::integer AND b.line = $3::bigint),
recent AS (
    SELECT p.payment_id, p.business_date, p.status, p.agreed, h.currency = k.currency OR p.in_host_currency AS is_own,
           (SELECT coalesce(sum(b.agreed), 0) FROM between_booked b
             WHERE b.payment_id = p.payment_id AND b.home = p.scheme AND b.scheme = p.host) AS paid
      FROM (SELECT * FROM pool_payment WHERE scheme = $2::integer AND host = $1::integer
             ORDER BY business_date DESC LIMIT 100) AS p
      JOIN scheme h ON h.id = p.scheme
      JOIN scheme k ON k.id = p.host),
candidate AS (
    SELECT p.payment_id, 1 AS place, p.business_date
      FROM line JOIN pool_payment p ON p.payment_id = line.end_to_end AND p.scheme = $2::integer AND p.host = $1::integer
    UNION ALL
    SELECT r.payment_id, 2, r.business_date FROM line, recent r
     WHERE r.is_own AND r.status NOT IN ('computed', 'failed')
       AND (line.amount = r.agreed - r.paid OR line.amount < 0 AND line.amount = -r.paid)
    UNION ALL
    SELECT min(r.payment_id), 3, min(r.business_date) FROM recent r
     WHERE r.status NOT IN ('computed', 'failed') AND r.paid <> r.agreed HAVING count(*) = 1)
SELECT payment_id FROM candidate ORDER BY place, business_date LIMIT 1
