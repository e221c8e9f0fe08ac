-- A page of a scheme's payments, each as JSON, by day and id. $1 scheme, after $2 (day/id; null: from the first), at most $3, $4 the
-- sites whose participants' payments to show (null: all); null where there is no such filter: $5 status, $6 whether it is held
-- and not released, $7 participant, $8 first and $9 last business day.
WITH own AS (SELECT participant FROM site WHERE id = ANY ($4::integer[]))
SELECT json_strip_nulls(json_build_object(
           'payment_id', p.payment_id, 'scheme', s.code, 'date', p.business_date, 'from', coalesce(f.code, 'pool'),
           'to', coalesce(t.code, 'pool'), 'amount', amount_text(p.amount, s.decimals), 'currency', s.currency, 'due_on', p.due_on,
           'status', p.status,
           'held', CASE WHEN p.held IS NOT NULL THEN json_build_object('reason', p.held, 'released', p.released) END,
           'approvals', (SELECT count(*) FROM payment_change c
                          WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id) AND c.change = 'approve'))),
       p.business_date || '/' || p.payment_id
  FROM payment p
  JOIN scheme s ON s.id = p.scheme
  LEFT JOIN participant f ON f.id = p.payer
  LEFT JOIN participant t ON t.id = p.payee
 WHERE p.scheme = $1::integer
   AND ($2::text IS NULL
        OR (p.business_date, p.payment_id COLLATE "C") > (split_part($2, '/', 1)::date, split_part($2, '/', 2)))
   AND ($4::integer[] IS NULL OR p.payer IN (SELECT participant FROM own) OR p.payee IN (SELECT participant FROM own))
   AND ($5::text IS NULL OR p.status = $5) AND ($6::boolean IS NULL OR (p.held IS NOT NULL AND NOT p.released) = $6)
   AND ($7::integer IS NULL OR $7 IN (p.payer, p.payee))
   AND p.business_date BETWEEN coalesce($8::date, '-infinity') AND coalesce($9::date, 'infinity')
 ORDER BY p.business_date, p.payment_id COLLATE "C" LIMIT $3::bigint
