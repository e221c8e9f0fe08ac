-- At most 20 payments and participants that line $2 of scheme $1 may be for, as a JSON array; no row unless the line is
-- open. Matches of its texts come first, then matches of its amount. For the amount it looks at the 500 newest
-- payments of each status, and at 40 of these at most.
WITH line AS (
    SELECT l.amount, l.payment_id, l.end_to_end, l.reference, lower(concat_ws(' ', l.end_to_end, l.reference)) AS said
      FROM bank_line_open o JOIN bank_line l ON l.scheme = o.scheme AND l.line = o.line
     WHERE o.scheme = $1::integer AND o.line = $2::bigint),
asked AS (SELECT * FROM unnest(ARRAY['approved', 'instructed', 'confirmed', 'failed']) WITH ORDINALITY AS a(status, place)),
newest AS MATERIALIZED (
    SELECT p.payment_id
      FROM line
     CROSS JOIN asked
     CROSS JOIN LATERAL (SELECT p.payment_id, p.amount, p.business_date FROM payment p
                          WHERE p.scheme = $1::integer AND p.status = asked.status
                          ORDER BY p.business_date DESC, p.payment_id COLLATE "C" DESC LIMIT 500) AS p
     WHERE p.amount = abs(line.amount)
     ORDER BY asked.place, p.business_date DESC LIMIT 40),
wanted AS MATERIALIZED (
    SELECT n.payment_id FROM newest n
     UNION SELECT t.payment_id FROM line CROSS JOIN LATERAL (VALUES (line.payment_id), (line.end_to_end), (line.reference)) AS t(payment_id)
            WHERE t.payment_id IS NOT NULL),
paid AS MATERIALIZED ( -- as_line: the payment moves the account at the bank as the line did; otherwise its return does
    SELECT p.payment_id, p.business_date, p.due_on, p.status, p.amount, coalesce(p.payer, p.payee) AS participant,
           CASE WHEN p.payee IS NULL THEN p.amount ELSE -p.amount END * sign(line.amount) > 0 AS as_line,
           coalesce(p.payment_id IN (line.payment_id, line.end_to_end, line.reference), false) AS named, p.amount = abs(line.amount) AS fits
      FROM line
     CROSS JOIN wanted w
     CROSS JOIN LATERAL (SELECT * FROM payment p WHERE p.scheme = $1::integer AND p.payment_id = w.payment_id OFFSET 0) AS p
     WHERE (p.payer IS NULL OR p.payee IS NULL) AND p.status <> 'computed'),
taken AS MATERIALIZED ( -- a line was taken for it, or for its return
    SELECT p.payment_id, t.returned
      FROM paid p
     CROSS JOIN LATERAL (
           SELECT l.returned FROM bank_line l
            WHERE l.scheme = $1::integer AND l.payment_id = p.payment_id AND l.disposition IN ('matched', 'returned')
           UNION ALL
           SELECT r.came_back FROM bank_line_resolution r
            WHERE r.scheme = $1::integer AND r.payment_id = p.payment_id) AS t),
candidate AS (
    SELECT named, fits, participant, p.payment_id, p.business_date, p.due_on, p.status, p.amount
      FROM paid p
     WHERE (p.status <> 'failed' AND as_line OR p.status = 'confirmed' AND NOT as_line)
       AND NOT EXISTS (SELECT FROM taken t WHERE t.payment_id = p.payment_id AND t.returned = NOT as_line)
    UNION ALL -- its amount is in the participant's arrears
    SELECT named, fits, participant, NULL, p.business_date, p.due_on, p.status, p.amount
      FROM paid p WHERE p.status = 'failed' AND as_line
    UNION ALL
    SELECT true, false, q.id, NULL, NULL, NULL, NULL, NULL
      FROM line JOIN participant q ON position(lower(q.name) IN line.said) > 0
                                   OR line.said ~ ('(^|[^a-z0-9-])' || q.code || '($|[^a-z0-9-])')
     WHERE EXISTS (SELECT FROM site s WHERE s.participant = q.id AND s.scheme = $1::integer)),
best AS (
    SELECT c.*, q.code, q.name,
           row_number() OVER (ORDER BY named DESC, fits DESC, status = 'confirmed', business_date DESC NULLS LAST,
                                       c.payment_id COLLATE "C", q.code COLLATE "C") AS place
      FROM candidate c JOIN participant q ON q.id = c.participant)
SELECT (SELECT coalesce(jsonb_agg(jsonb_strip_nulls(jsonb_build_object(
                   'fits_by', to_jsonb(array_remove(ARRAY[CASE WHEN b.named THEN 'reference' END, CASE WHEN b.fits THEN 'amount' END], NULL)),
                   'participant', b.code, 'name', b.name, 'payment_id', b.payment_id, 'date', b.business_date, 'due_on', b.due_on,
                   'status', b.status, 'amount', amount_text(b.amount, s.decimals))) ORDER BY b.place), '[]')
          FROM best b WHERE b.place <= 20)
  FROM line CROSS JOIN scheme s WHERE s.id = $1::integer
