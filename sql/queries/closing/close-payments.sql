-- The payments of day $2 of scheme $1. A party of 0 is the pool.
INSERT INTO payment (scheme, payment_id, business_date, payer, payee, amount, due_on, status, held, bank_account)
SELECT $1::integer, p.payment_id, $2::date, nullif(p.payer, 0), nullif(p.payee, 0), p.amount, $3::date, 'computed',
       p.held, (SELECT bank_account FROM participant WHERE id = p.payee)
  FROM unnest($4::text[], $5::integer[], $6::integer[], $7::bigint[], $8::text[]) AS p(payment_id, payer, payee, amount, held)
