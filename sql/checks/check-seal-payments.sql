-- The payments that a seal is over, in the order of their ids; a party of 0 is the pool. $1 scheme, $2 business day.
SELECT payment_id, coalesce(f.id, 0), coalesce(t.id, 0), amount
  FROM payment LEFT JOIN participant f ON f.id = payer LEFT JOIN participant t ON t.id = payee
 WHERE scheme = $1::integer AND business_date = $2::date
 ORDER BY payment_id COLLATE "C"
