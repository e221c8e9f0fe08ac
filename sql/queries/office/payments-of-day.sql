-- The payments of day $2 of scheme $1 that nobody has approved yet, in the order of their ids; and, first, whether the
-- day is closed.
SELECT t.scheme IS NOT NULL, p.payment_id
  FROM (VALUES ($1::integer, $2::date)) AS asked(scheme, business_date)
  LEFT JOIN settlement t USING (scheme, business_date)
  LEFT JOIN (SELECT scheme, business_date, payment_id, status FROM payment
             UNION ALL SELECT scheme, business_date, payment_id, status FROM pool_payment) AS p ON (p.scheme, p.business_date) = (asked.scheme, asked.business_date) AND p.status = 'computed'
 ORDER BY p.payment_id COLLATE "C"
