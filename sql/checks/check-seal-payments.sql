-- The payments that a seal is over, in the order of their ids; a party of 0 is the pool. $1 scheme, $2 business day.
SELECT payment_id, coalesce(payer, 0), coalesce(payee, 0), amount
  FROM payment
 WHERE scheme = $1::integer AND business_date = $2::date
 ORDER BY payment_id COLLATE "C"
