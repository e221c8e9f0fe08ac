-- The scheme of payment $1.
SELECT scheme FROM (SELECT scheme FROM payment WHERE payment_id = $1::text
                    UNION ALL SELECT scheme FROM pool_payment WHERE payment_id = $1::text) AS p LIMIT 1
