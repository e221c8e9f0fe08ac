-- The scheme of payment $1.
SELECT scheme FROM payment WHERE payment_id = $1::text LIMIT 1
