-- The approved payments of day $2 of scheme $1 that are collections ($3) or payouts, with the other party as the bank
-- is to know it; and, first, whether the day is closed. Then: whether a payout's account is another than the one at
-- the close, by which it was or was not held; and whether a collection is the first under its mandate, among those
-- that did not fail. A payout may be to another scheme's pool, whose operator is the other party. Last, the amount as
-- it is instructed, and its currency: of a payment to another pool, those that were agreed.
SELECT t.scheme IS NOT NULL, p.payment_id, p.amount, p.due_on, q.code, q.name,
       q.bank_account->>'iban', q.bank_account->>'account', q.bank_account->>'bank_code', q.bic,
       q.mandate->>'id', q.mandate->>'signed_on',
       p.payer IS NULL AND p.bank_account IS NOT NULL AND p.bank_account IS DISTINCT FROM q.bank_account,
       NOT EXISTS (SELECT FROM payment_in_file f JOIN payment o ON (o.scheme, o.payment_id) = (f.scheme, f.payment_id)
                    WHERE f.scheme = p.scheme AND o.payer = p.payer AND f.mandate = q.mandate->>'id' AND o.status <> 'failed'),
       p.instructed, p.currency
  FROM (VALUES ($1::integer, $2::date)) AS asked(scheme, business_date)
  LEFT JOIN settlement t USING (scheme, business_date)
  LEFT JOIN (SELECT scheme, business_date, payment_id, status, payer, payee, amount, due_on, bank_account, NULL::integer AS host,
                    amount AS instructed, s.currency
               FROM payment JOIN scheme s ON s.id = scheme
             UNION ALL
             SELECT o.scheme, business_date, payment_id, status, NULL, 0, amount, due_on, NULL, host, agreed, c.currency
               FROM pool_payment o JOIN scheme c ON c.id = CASE WHEN o.in_host_currency THEN o.host ELSE o.scheme END) AS p
         ON (p.scheme, p.business_date) = (asked.scheme, asked.business_date) AND p.status = 'approved'
                     AND CASE WHEN $3::boolean THEN p.payee IS NULL ELSE p.payer IS NULL END
  LEFT JOIN LATERAL (
       SELECT code, name, bank_account, bic, mandate FROM participant WHERE id = coalesce(p.payer, p.payee)
       UNION ALL
       SELECT 'pool/' || code, coalesce(operator->>'name', code), operator->'bank_account', operator->>'bic', NULL
         FROM scheme WHERE id = p.host) AS q ON true
 ORDER BY p.payment_id COLLATE "C"
