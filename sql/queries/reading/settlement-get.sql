-- The settlement of a close. $1 scheme, $2 business day, $3 the sites to show, and their participants'
-- positions and payments (null: all). The sites are those that the close made a line for. Each part is
-- computed once, not for each participant.
WITH of_scheme AS (SELECT id, code, currency, decimals FROM scheme WHERE id = $1::integer),
own AS (SELECT DISTINCT participant FROM site WHERE id = ANY ($3::integer[])),
line AS MATERIALIZED (
    SELECT s.participant, s.code, d.*,
           coalesce(before.closing, 0) AS brought_forward
      FROM site_day d JOIN site s ON s.id = d.site
      LEFT JOIN LATERAL ( -- all days before one that is settled are closed
           SELECT b.closing FROM balance b
            WHERE b.scheme = d.scheme AND b.account = account_of(:account_site_clearing, d.site, 0)
              AND b.business_date < d.business_date
            ORDER BY b.business_date DESC LIMIT 1) AS before ON true
     WHERE d.scheme = $1::integer AND d.business_date = $2::date AND ($3::integer[] IS NULL OR d.site = ANY ($3))),
fees AS MATERIALIZED ( -- none of days that were closed before lines of fees were kept
    SELECT line.site, coalesce(service_fee, 0) AS service_fee, coalesce(service_tax, 0) AS service_tax,
           coalesce(handling_fee, 0) AS handling_fee, coalesce(handling_tax, 0) AS handling_tax,
           coalesce(standing_fee, 0) AS standing_fee, coalesce(standing_tax, 0) AS standing_tax, n.rows
      FROM line
      LEFT JOIN LATERAL (SELECT * FROM fee_day d
                          WHERE d.scheme = $1::integer AND d.business_date = $2::date AND d.site = line.site) d ON true
      LEFT JOIN LATERAL (SELECT json_agg(json_build_object(
                            'fee', l.fee, 'terms', l.terms_date, 'row', nullif(l.fee_row, 0), 'quantity', l.quantity,
                            'each', amount_text(l.each, decimals), 'amount', amount_text(l.quantity::numeric * l.each, decimals),
                            'tax_rate', rate_text(l.tax_rate_ppm))
                            ORDER BY l.fee COLLATE "C" DESC, l.terms_date DESC, l.fee_row, l.tax_rate_ppm DESC) AS rows
                   FROM fee_line l, of_scheme
                  WHERE l.scheme = $1::integer AND l.business_date = $2::date AND l.site = line.site) n ON true
     WHERE $2::date > coalesce((SELECT through FROM older_fee_lines WHERE scheme = $1::integer), '-infinity')),
site_line AS MATERIALIZED (
    SELECT participant, json_agg(json_build_object(
               'site', line.code, 'brought_forward', amount_text(brought_forward, decimals),
               'collected', amount_text(collected, decimals), 'refunded', amount_text(refunded, decimals),
               'fees', amount_text(fees, decimals), 'tax', amount_text(tax, decimals),
               'stock', amount_text(stock, decimals), 'other', amount_text(other, decimals),
               'service_fee', amount_text(f.service_fee, decimals), 'service_tax', amount_text(f.service_tax, decimals),
               'handling_fee', amount_text(f.handling_fee, decimals), 'handling_tax', amount_text(f.handling_tax, decimals),
               'standing_fee', amount_text(f.standing_fee, decimals), 'standing_tax', amount_text(f.standing_tax, decimals),
               'fee_rows', f.rows,
               'net', amount_text(brought_forward + collected - refunded + fees + tax + stock + other, decimals))
               ORDER BY line.code COLLATE "C") AS items
      FROM line CROSS JOIN of_scheme LEFT JOIN fees f USING (site) GROUP BY participant),
at_close AS MATERIALIZED (
    SELECT p.code, at.participant, amount, arrears, carried, carried_since
      FROM position at JOIN participant p ON p.id = at.participant
     WHERE at.scheme = $1::integer AND business_date = $2::date
       AND ($3::integer[] IS NULL OR at.participant IN (SELECT participant FROM own))),
paid AS MATERIALIZED (
    SELECT payment_id, coalesce(f.code, 'pool') AS payer, coalesce(t.code, 'pool') AS payee, amount, due_on, status, held, released,
           CASE WHEN status = 'computed' THEN (SELECT nullif(count(*), 0) FROM payment_change c
                 WHERE (c.scheme, c.payment_id) = (payment.scheme, payment.payment_id) AND c.change = 'approve') END AS approvals
      FROM payment LEFT JOIN participant f ON f.id = payer LEFT JOIN participant t ON t.id = payee
     WHERE scheme = $1::integer AND business_date = $2::date
       AND ($3::integer[] IS NULL OR payer IN (SELECT participant FROM own) OR payee IN (SELECT participant FROM own))),
pooled AS MATERIALIZED ( -- beside the netting; the office's alone
    SELECT p.payment_id, 'pool/' || h.code AS payee, p.amount, p.due_on, p.status, p.released,
           json_build_object('amount', amount_text(p.agreed, c.decimals), 'currency', c.currency) AS agreed,
           CASE WHEN p.status = 'computed' THEN (SELECT nullif(count(*), 0) FROM payment_change c
                 WHERE (c.scheme, c.payment_id) = (p.scheme, p.payment_id) AND c.change = 'approve') END AS approvals
      FROM pool_payment p
      JOIN scheme h ON h.id = p.host
      JOIN scheme c ON c.id = CASE WHEN p.in_host_currency THEN p.host ELSE p.scheme END
     WHERE p.scheme = $1::integer AND p.business_date = $2::date AND $3::integer[] IS NULL),
shown AS (
    SELECT payment_id, payer, payee, amount, due_on, status, approvals, held, released, NULL::json AS agreed FROM paid
    UNION ALL
    SELECT payment_id, 'pool', payee, amount, due_on, status, approvals, 'between_schemes', released, agreed FROM pooled)
SELECT json_strip_nulls(json_build_object(
    'scheme', code, 'date', s.business_date, 'currency', currency, 'closed_at', instant_text(closed_at),
    'closed_by', CASE WHEN $3::integer[] IS NULL THEN (SELECT k.name FROM api_key k WHERE k.id = s.closed_by) END,
    'approvals_needed', (SELECT CASE WHEN d.dual_control AND s.closed_by IS NULL THEN 2 ELSE 1 END FROM business_day d
                          WHERE (d.scheme, d.business_date) = (s.scheme, s.business_date)),
    'next_pay_day', CASE WHEN NOT pays_on(id, s.business_date) THEN next_pay_day(id, s.business_date) END,
    'positions', (SELECT coalesce(json_agg(json_build_object(
            'participant', at_close.code, 'amount', amount_text(amount, decimals), 'arrears', amount_text(arrears, decimals),
            'carried_forward', carried, 'carried_since', carried_since, 'sites', coalesce(items, '[]')) ORDER BY at_close.code COLLATE "C"), '[]')
        FROM at_close LEFT JOIN site_line USING (participant)),
    'carried_forward', (SELECT coalesce(json_agg(json_build_object(
            'participant', at_close.code, 'amount', amount_text(amount, decimals)) ORDER BY at_close.code COLLATE "C"), '[]')
        FROM at_close WHERE carried),
    'payments', (SELECT coalesce(json_agg(json_build_object(
            'payment_id', payment_id, 'from', payer, 'to', payee, 'amount', amount_text(amount, decimals), 'agreed', agreed, 'due_on', due_on,
            'status', status, 'approvals', approvals,
            'line', CASE WHEN $3::integer[] IS NULL THEN bank_line_of($1::integer, payment_id, false) END,
            'held', CASE WHEN held IS NOT NULL THEN json_build_object('reason', held, 'released', released) END)
            ORDER BY payer COLLATE "C", payee COLLATE "C"), '[]')
        FROM shown),
    'totals', (SELECT json_build_object(
            'owed', amount_text(coalesce(sum(greatest(amount, 0)), 0), decimals),
            'owing', amount_text(coalesce(sum(greatest(-amount, 0)), 0), decimals),
            'paid', amount_text((SELECT coalesce(sum(amount), 0) FROM paid), decimals),
            'payments', (SELECT count(*) FROM paid),
            'to_collect', amount_text(coalesce(sum(greatest(amount, 0)) FILTER (WHERE NOT carried), 0), decimals),
            'to_pay_out', amount_text(coalesce(sum(greatest(-amount, 0)) FILTER (WHERE NOT carried), 0), decimals),
            'carried_owed', amount_text(coalesce(sum(greatest(amount, 0)) FILTER (WHERE carried), 0), decimals),
            'carried_owing', amount_text(coalesce(sum(greatest(-amount, 0)) FILTER (WHERE carried), 0), decimals),
            'by_status', (SELECT json_object_agg(word, json_build_object(
                    'payments', (SELECT count(*) FROM paid WHERE status = word),
                    'amount', amount_text((SELECT coalesce(sum(amount), 0) FROM paid WHERE status = word), decimals)))
                FROM unnest(ARRAY['computed', 'approved', 'instructed', 'confirmed', 'failed']) AS word))
        FROM at_close),
    'seal', json_build_object('entries', entries, 'root', encode(root, 'hex'), 'previous', encode(previous, 'hex'),
        'seal', encode(seal, 'hex'))))
  FROM settlement s, of_scheme
 WHERE s.scheme = $1::integer AND s.business_date = $2::date
