-- Schemes at a glance, each as JSON and with its code, in the order in which they are asked for. $1 schemes,
-- $2 whether for their operator; else $3 the participant whose money to show (0: none); $4 whether to show the cups out
-- at the end of each of the last four weeks' closed days. A scheme costs some probes of indexes, and one more for each
-- account of arrears; tables hold the sums over many rows.
SELECT json_strip_nulls(json_build_object(
           'scheme', s.code, 'currency', s.currency, 'business_date', today.business_date,
           'days_to_close', (SELECT count(*) FROM business_day d WHERE d.scheme = s.id AND d.state <> 'closed' AND d.ends_at <= now()),
           'last_closed', CASE WHEN closed.business_date IS NOT NULL THEN json_build_object(
               'date', closed.business_date, 'closed_at', instant_text(closed.closed_at),
               'payments', CASE WHEN shows_money THEN coalesce(made.payments, 0) END,
               'paid', CASE WHEN shows_money THEN amount_text(coalesce(made.paid, 0), s.decimals) END) END,
           'exceptions_open', CASE WHEN $2::boolean THEN (SELECT count(*) FROM exception_open x WHERE x.scheme = s.id) END,
           'payments_waiting', CASE WHEN shows_money THEN json_build_object(
               'count', waiting.payments, 'amount', amount_text(waiting.amount, s.decimals)) END,
           'arrears', CASE WHEN shows_money THEN json_build_object(
               'owed', amount_text(coalesce(due.owed, 0), s.decimals), 'owing', amount_text(coalesce(due.owing, 0), s.decimals)) END,
           'seal', CASE WHEN $2 THEN encode(closed.seal, 'hex') END,
           'cover', CASE WHEN $2 THEN (
               SELECT json_build_object('required', amount_text(c.required, s.decimals), 'held', amount_text(c.held, s.decimals),
                                        'difference', amount_text(c.held - c.required, s.decimals))
                 FROM cover_through(s.id, today.business_date) AS c) END,
           'checks', CASE WHEN $2 AND checked.scheme IS NOT NULL THEN json_build_object(
               'verdict', CASE WHEN checked.broken = 0 THEN 'holds' ELSE 'broken' END, 'broken', checked.broken,
               'checked_at', instant_text(checked.checked_at)) END,
           'return_rate', CASE WHEN $2 AND back.issued > 0 THEN json_build_object(
               'from', back.first_day, 'to', back.last_day, 'as_of', back.through, 'issued', back.issued, 'returned', back.returned,
               'rate', round(back.returned::numeric / back.issued, 4)::text,
               'state', CASE WHEN back.last_day + 30 <= back.through THEN 'whole' ELSE 'running' END) END,
           'cups_out', CASE WHEN $2 THEN (
               SELECT coalesce(sum(k.amount), 0) FROM kinds_through(s.id, 'infinity') AS k WHERE k.kind = :account_with_customers) END,
           'cups_out_by_day', CASE WHEN $2 AND $4::boolean THEN (
               SELECT json_agg(json_build_object('date', w.business_date, 'cups', w.cups) ORDER BY w.business_date)
                 FROM (SELECT d.business_date, d.state,
                              coalesce(stands.amount, 0)
                              - coalesce(sum(moved.amount) OVER (ORDER BY d.business_date DESC
                                                                 ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0) AS cups
                         FROM business_day d
                        CROSS JOIN (SELECT sum(k.amount) AS amount FROM kind_balance k
                                     WHERE k.scheme = s.id AND k.kind = :account_with_customers) AS stands
                         LEFT JOIN (SELECT m.business_date, sum(m.movement) AS amount FROM kind_movement m
                                     WHERE m.scheme = s.id AND m.kind = :account_with_customers
                                       AND m.business_date > closed.business_date - 28
                                     GROUP BY m.business_date) AS moved ON moved.business_date = d.business_date
                        WHERE d.scheme = s.id AND d.business_date > closed.business_date - 28) AS w
                WHERE w.state = 'closed') END)),
       s.code
  FROM unnest($1::integer[]) WITH ORDINALITY AS asked(id, place)
  JOIN scheme s ON s.id = asked.id
 CROSS JOIN (SELECT $2::boolean OR $3::integer > 0 AS shows_money) AS reader
 CROSS JOIN LATERAL ( -- the day that contains now, or else the latest day; days follow each other without a gap
       SELECT coalesce((SELECT d.business_date FROM business_day d
                         WHERE d.scheme = s.id AND d.starts_at <= now() ORDER BY d.business_date DESC LIMIT 1),
                       (SELECT max(d.business_date) FROM business_day d WHERE d.scheme = s.id),
                       current_date) AS business_date
       OFFSET 0) AS today
  LEFT JOIN LATERAL (
       SELECT t.business_date, t.closed_at, t.seal FROM settlement t WHERE t.scheme = s.id ORDER BY t.business_date DESC LIMIT 1) AS closed ON true
  LEFT JOIN check_run checked ON checked.scheme = s.id
  LEFT JOIN return_rate_kept back ON back.scheme = s.id
  LEFT JOIN payment_day made ON made.scheme = s.id AND made.business_date = closed.business_date
                            AND made.participant = CASE WHEN $2 THEN 0 ELSE nullif($3, 0) END
 CROSS JOIN LATERAL (
       SELECT count(*) AS payments, coalesce(sum(p.amount), 0) AS amount
         FROM (SELECT p.amount FROM payment p
                WHERE p.scheme = s.id AND p.status NOT IN ('confirmed', 'failed') AND shows_money AND ($2 OR $3 IN (p.payer, p.payee))
               UNION ALL
               SELECT p.amount FROM pool_payment p
                WHERE p.scheme = s.id AND p.status IN ('computed', 'approved', 'instructed') AND shows_money AND $2) AS p) AS waiting
 CROSS JOIN LATERAL (
       SELECT sum(greatest(b.amount, 0)) AS owed, sum(greatest(-b.amount, 0)) AS owing
         FROM balances_between(s.id, account_of(:account_arrears, CASE WHEN $2 THEN 0 ELSE $3 END, 0),
                               CASE WHEN $2 THEN account_of(:account_bank, 0, 0) - 1
                                    ELSE account_of(:account_arrears, $3, 0) END, 'infinity') AS b
        WHERE shows_money) AS due
 ORDER BY asked.place
