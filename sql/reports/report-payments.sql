-- The payments that closes made: payer, payee, amount, due day and account. $1 scheme, $2 first and $3 last
-- business day that was closed, $4 a participant that pays or is paid (null: all), $5 the sites whose
-- participants' payments to show (null: all).
WITH own AS (SELECT participant FROM site WHERE id = ANY ($5::integer[]))
SELECT p.business_date, p.payment_id, coalesce(f.code, 'pool'), coalesce(f.name, scheme.operator ->> 'name'), coalesce(t.code, 'pool/' || k.code, 'pool'),
       coalesce(t.name, k.operator ->> 'name', scheme.operator ->> 'name'), amount_text(p.amount, scheme.decimals), p.due_on, p.status,
       CASE WHEN NOT p.released THEN p.held END, account ->> 'iban', account ->> 'account', account ->> 'bank_code',
       CASE WHEN k.id IS NOT NULL THEN k.operator ->> 'bic' WHEN p.payee IS NULL THEN scheme.operator ->> 'bic' ELSE t.bic END,
       amount_text(p.agreed, c.decimals), c.currency
  FROM (SELECT scheme, business_date, payment_id, payer, payee, amount, due_on, status, held, released, bank_account,
               NULL::integer AS host, NULL::bigint AS agreed, NULL::integer AS agreed_of
          FROM payment
        UNION ALL -- to other pools: the office's own business
        SELECT scheme, business_date, payment_id, NULL, NULL, amount, due_on, status, 'between_schemes', released, NULL, host, agreed,
               CASE WHEN in_host_currency THEN host ELSE scheme END
          FROM pool_payment WHERE $4::integer IS NULL AND $5::integer[] IS NULL) AS p
  JOIN scheme ON scheme.id = p.scheme
  LEFT JOIN scheme k ON k.id = p.host
  LEFT JOIN scheme c ON c.id = p.agreed_of
  LEFT JOIN participant f ON f.id = p.payer
  LEFT JOIN participant t ON t.id = p.payee
 CROSS JOIN LATERAL (SELECT CASE WHEN k.id IS NOT NULL THEN k.operator -> 'bank_account' WHEN p.payee IS NULL THEN scheme.operator -> 'bank_account' ELSE p.bank_account END AS account) AS payee
 WHERE p.scheme = $1::integer AND p.business_date BETWEEN $2::date AND $3::date
   AND ($4::integer IS NULL OR p.payer = $4 OR p.payee = $4)
   AND ($5::integer[] IS NULL OR p.payer IN (SELECT participant FROM own) OR p.payee IN (SELECT participant FROM own))
 ORDER BY p.business_date, coalesce(f.code, 'pool') COLLATE "C", coalesce(t.code, 'pool/' || k.code, 'pool') COLLATE "C"
