-- The payments that a seal is over, in the order of their ids; a party of 0 is the pool. Then, of a payment to another
-- scheme's pool: that scheme (else 0), the amount in the agreed currency, and whether this is the host's. $1 scheme,
-- $2 business day.
SELECT payment_id, payer, payee, amount, host, agreed, in_host_currency
  FROM (SELECT payment_id, coalesce(payer, 0) AS payer, coalesce(payee, 0) AS payee, amount, 0 AS host, 0::bigint AS agreed,
               false AS in_host_currency
          FROM payment WHERE scheme = $1::integer AND business_date = $2::date
        UNION ALL
        SELECT payment_id, 0, 0, amount, host, agreed, in_host_currency
          FROM pool_payment WHERE scheme = $1::integer AND business_date = $2::date) AS p
 ORDER BY payment_id COLLATE "C"
