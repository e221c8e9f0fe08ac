-- Payment $1 as JSON, with its history. $2 the sites whose participants' payments to show (null: all, and who did what
-- with which note, and which lines of the bank it was, which is the office's own business).
WITH own AS (SELECT participant FROM site WHERE id = ANY ($2::integer[]))
SELECT json_strip_nulls(json_build_object(
           'payment_id', p.payment_id, 'scheme', s.code, 'date', p.business_date, 'from', coalesce(f.code, 'pool'),
           'to', coalesce(t.code, 'pool/' || h.code, 'pool'), 'amount', amount_text(p.amount, s.decimals),
           'agreed', CASE WHEN h.id IS NOT NULL THEN json_build_object('amount', amount_text(p.agreed, c.decimals),
                                                                       'currency', c.currency) END, 'currency', s.currency, 'due_on', p.due_on,
           'status', p.status,
           'held', CASE WHEN p.held IS NOT NULL THEN json_build_object('reason', p.held, 'released', p.released) END,
           'approvals', (SELECT count(*) FROM payment_change c
                          WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id) AND c.change = 'approve'),
           'bank_account', p.bank_account,
           'line', CASE WHEN $2::integer[] IS NULL THEN bank_line_of(p.scheme, p.payment_id, false) END,
           'return_line', CASE WHEN $2::integer[] IS NULL THEN bank_line_of(p.scheme, p.payment_id, true) END,
           'changes', (SELECT coalesce(json_agg(json_build_object(
                               'change', c.change, 'at', instant_text(c.changed_at),
                               'by', CASE WHEN $2::integer[] IS NULL THEN k.name END,
                               'note', CASE WHEN $2::integer[] IS NULL THEN c.note END,
                               'booked', amount_text(c.booked, s.decimals), 'entry', c.entry, 'business_date', e.business_date) ORDER BY c.position), '[]')
                         FROM payment_change c
                         LEFT JOIN api_key k ON k.id = c.api_key
                         LEFT JOIN entry e ON (e.scheme, e.entry) = (c.scheme, c.entry)
                        WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id))))
  FROM (SELECT scheme, payment_id, business_date, payer, payee, amount, due_on, status, held, released, bank_account,
               NULL::integer AS host, NULL::bigint AS agreed, false AS in_host_currency
          FROM payment WHERE payment_id = $1::text
        UNION ALL
        SELECT scheme, payment_id, business_date, NULL, NULL, amount, due_on, status, 'between_schemes', released, NULL,
               host, agreed, in_host_currency
          FROM pool_payment WHERE payment_id = $1::text AND $2::integer[] IS NULL) AS p
  JOIN scheme s ON s.id = p.scheme
  LEFT JOIN scheme h ON h.id = p.host
  LEFT JOIN scheme c ON c.id = CASE WHEN p.in_host_currency THEN p.host ELSE p.scheme END
  LEFT JOIN participant f ON f.id = p.payer
  LEFT JOIN participant t ON t.id = p.payee
 WHERE p.payment_id = $1::text
   AND ($2::integer[] IS NULL OR p.payer IN (SELECT participant FROM own) OR p.payee IN (SELECT participant FROM own))
 LIMIT 1
