-- The facts that the close of day $2 of scheme $1 fixed of its payments, besides those under its seal.
SELECT string_agg(json_build_array(payment_id, due_on, held, bank_account)::text, E'\n' ORDER BY payment_id COLLATE "C")
  FROM (SELECT payment_id, due_on, held, bank_account FROM payment WHERE scheme = $1::integer AND business_date = $2::date
        UNION ALL
        SELECT payment_id, due_on, coalesce(agreed_through, host_booked)::text, NULL FROM pool_payment
         WHERE scheme = $1::integer AND business_date = $2::date) AS p
