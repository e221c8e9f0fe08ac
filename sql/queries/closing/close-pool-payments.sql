-- The payments to other pools of day $2 of scheme $1, due on $3: ids $4, hosts $5, amounts in the books $6 and as
-- agreed $7, whether in the host's currency $8, by the hosts' books $9.
INSERT INTO pool_payment (scheme, payment_id, business_date, host, amount, agreed, in_host_currency, host_booked, due_on, status)
SELECT $1::integer, p.payment_id, $2::date, p.host, p.amount, p.agreed, p.in_host_currency, p.host_booked, $3::date, 'computed'
  FROM unnest($4::text[], $5::integer[], $6::bigint[], $7::bigint[], $8::boolean[], $9::bigint[])
       AS p(payment_id, host, amount, agreed, in_host_currency, host_booked)
