-- Check: the fees of each site and closed day are what its cups and months come to by the terms; the kept lines name
-- the rows of the terms that gave them; and the cups that reversals took back of earlier days are kept as the events
-- have it. $1 scheme. A reversal counts by the terms of the day to which the reversed event was posted, and by what
-- site and participant were on that day. Another check compares the cups of a site's day with its events, so the events
-- are read here only if a fee depends on the type of a cup. Of days that were closed before lines were kept, nothing
-- tells whether a participant was registered for tax: the tax on its handling fee may be there or not.
WITH rule AS (SELECT coalesce(max(through), '-infinity') AS older FROM older_fee_rule WHERE scheme = $1::integer),
lines AS (SELECT coalesce(max(through), '-infinity') AS older FROM older_fee_lines WHERE scheme = $1::integer),
typed AS (SELECT EXISTS (SELECT FROM fee_row WHERE scheme = $1::integer AND cup_type IS NOT NULL) AS by_type),
kept AS (SELECT d.* FROM reversed_day d, rule WHERE d.scheme = $1::integer AND d.business_date > rule.older),
cups AS (
    SELECT d.business_date, d.site, d.business_date AS fee_date, NULL::integer AS cup_type,
           d.issued + coalesce(k.issued, 0) AS issued, d.returned + coalesce(k.returned, 0) AS returned
      FROM site_day d
      LEFT JOIN (SELECT business_date, site, sum(issued) AS issued, sum(returned) AS returned FROM kept GROUP BY 1, 2) k
          USING (business_date, site)
     WHERE d.scheme = $1::integer AND NOT (SELECT by_type FROM typed)
    UNION ALL
    SELECT business_date, site, original_date, NULL, -issued, -returned FROM kept WHERE NOT (SELECT by_type FROM typed)
    UNION ALL
    SELECT e.business_date, e.site,
           CASE WHEN e.business_date > (SELECT older FROM rule) THEN coalesce(o.business_date, e.business_date) ELSE e.business_date END,
           (SELECT c.id FROM cup_type c WHERE c.code = stated.line ->> 'cup_type'),
           stated.sign * stated.issued * (stated.line ->> 'quantity')::bigint,
           stated.sign * (1 - stated.issued) * (stated.line ->> 'quantity')::bigint
      FROM entry e
      LEFT JOIN event_id i ON e.kind = :kind_reversal AND i.scheme = e.scheme AND i.event_id = (e.event::json ->> 'reverses')::uuid
      LEFT JOIN entry o ON o.scheme = i.scheme AND o.entry = i.entry
     CROSS JOIN LATERAL (
           SELECT l AS line, 1 AS issued, CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS sign
             FROM json_array_elements(coalesce(o.event, e.event)::json -> 'issued') l
           UNION ALL
           SELECT l, 0, CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END
             FROM json_array_elements(coalesce(o.event, e.event)::json -> 'returned') l) stated
     WHERE e.scheme = $1::integer AND coalesce(o.kind, e.kind) IN (:kinds_counter) AND (SELECT by_type FROM typed)),
-- A site's last day and the first, and the scheme's last day, are as the changes tell that the close found.
months AS (
    SELECT t.business_date, s.id AS site
      FROM settlement t CROSS JOIN lines JOIN site s ON s.scheme = t.scheme
     CROSS JOIN LATERAL (SELECT c.after FROM reference_change c
                          WHERE c.of_what = 'site' AND c.subject = s.id AND c.number <= t.last_change
                          ORDER BY c.number DESC LIMIT 1) at_close
      LEFT JOIN LATERAL (SELECT c.after FROM reference_change c
                          WHERE c.of_what = 'scheme' AND c.subject = t.scheme AND c.number <= t.last_change
                          ORDER BY c.number DESC LIMIT 1) scheme_at_close ON true
     WHERE t.scheme = $1::integer AND t.business_date > lines.older AND extract(day FROM t.business_date) = 1
       AND (at_close.after ->> 'opened_on')::date <= t.business_date
       AND coalesce((at_close.after ->> 'closed_on')::date > t.business_date, true)
       AND coalesce((scheme_at_close.after ->> 'closed_on')::date > t.business_date, true)),
due AS (
    SELECT c.business_date, c.site, c.fee_date, c.cup_type, what.fee, sum(what.quantity) AS quantity
      FROM cups c JOIN settlement s ON s.scheme = $1::integer AND s.business_date = c.business_date
     CROSS JOIN LATERAL (VALUES ('service', c.issued), ('handling', c.returned)) AS what(fee, quantity)
     GROUP BY 1, 2, 3, 4, 5
    UNION ALL
    SELECT business_date, site, business_date, NULL, 'standing', 1 FROM months),
wanted_line AS (
    SELECT d.business_date, d.site, d.fee, t.effective_date AS terms_date, coalesce(r.position, 0) AS fee_row,
           CASE WHEN d.fee <> 'handling' OR d.business_date <= (SELECT older FROM lines)
                     OR tax_registered_on(s.participant, d.fee_date) THEN t.tax_rate_ppm ELSE 0 END AS tax_rate_ppm,
           coalesce(r.fee, CASE d.fee WHEN 'service' THEN t.service_fee WHEN 'handling' THEN t.handling_fee
                                      ELSE coalesce(t.monthly_fee, 0) END) AS each,
           sum(d.quantity) AS quantity
      FROM due d
      JOIN site s ON s.id = d.site
     CROSS JOIN LATERAL (SELECT t.* FROM terms t WHERE t.scheme = $1::integer AND t.effective_date <= d.fee_date
                          ORDER BY t.effective_date DESC LIMIT 1) t
      LEFT JOIN LATERAL (
           SELECT f.position, own.fee
             FROM fee_row f
            CROSS JOIN LATERAL (SELECT CASE d.fee WHEN 'service' THEN f.service_fee WHEN 'handling' THEN f.handling_fee
                                                  ELSE f.monthly_fee END AS fee) own
            WHERE t.fees IS NOT NULL AND f.scheme = $1::integer AND f.effective_date = t.effective_date AND own.fee IS NOT NULL
              AND coalesce(f.participant = s.participant, true) AND coalesce(f.site_kind = site_kind_on(s.id, d.fee_date), true)
              AND (f.cup_type IS NULL OR f.cup_type = d.cup_type)
            ORDER BY f.participant IS NOT NULL DESC, f.site_kind IS NOT NULL DESC, f.cup_type IS NOT NULL DESC LIMIT 1) r ON true
     WHERE d.fee <> 'standing' OR r.position IS NOT NULL OR t.monthly_fee > 0 -- else the terms have no standing fee
     GROUP BY 1, 2, 3, 4, 5, 6, 7
    HAVING sum(d.quantity) <> 0),
wanted AS (
    SELECT business_date, site,
           coalesce(sum(quantity * each) FILTER (WHERE fee IN ('service', 'standing')), 0) AS service_fee,
           coalesce(sum(quantity * each) FILTER (WHERE fee = 'handling'), 0) AS handling_fee,
           round_half_even(coalesce(sum(quantity * each * tax_rate_ppm) FILTER (WHERE fee = 'service'), 0) * 0.000001)
           + round_half_even(coalesce(sum(quantity * each * tax_rate_ppm) FILTER (WHERE fee = 'standing'), 0) * 0.000001) AS service_tax,
           round_half_even(coalesce(sum(quantity * each * tax_rate_ppm) FILTER (WHERE fee = 'handling'), 0) * 0.000001) AS handling_tax
      FROM wanted_line GROUP BY 1, 2),
charged AS (
    SELECT e.business_date, e.site,
           -coalesce(sum(amount) FILTER (WHERE account_kind_of(account) = :account_service_fees), 0) AS service_fee,
           coalesce(sum(amount) FILTER (WHERE account_kind_of(account) = :account_handling_fees), 0) AS handling_fee,
           -coalesce(sum(amount) FILTER (WHERE account_kind_of(account) = :account_tax), 0) AS tax
      FROM entry e CROSS JOIN unnest(e.accounts, e.amounts) AS leg(account, amount)
     WHERE e.scheme = $1::integer AND e.kind = :kind_fees GROUP BY 1, 2),
stated AS (
    SELECT e.business_date, o.site, o.business_date AS original_date, sum(line.issued) AS issued, sum(line.returned) AS returned
      FROM rule CROSS JOIN entry e
      JOIN event_id i ON i.scheme = e.scheme AND i.event_id = (e.event::json ->> 'reverses')::uuid
      JOIN entry o ON o.scheme = i.scheme AND o.entry = i.entry
     CROSS JOIN LATERAL (
           SELECT (SELECT coalesce(sum((l ->> 'quantity')::bigint), 0) FROM json_array_elements(o.event::json -> 'issued') l) AS issued,
                  (SELECT coalesce(sum((l ->> 'quantity')::bigint), 0) FROM json_array_elements(o.event::json -> 'returned') l) AS returned
           ) line
     WHERE e.scheme = $1::integer AND e.kind = :kind_reversal AND o.kind IN (:kinds_counter)
       AND e.business_date > rule.older AND o.business_date <> e.business_date
     GROUP BY 1, 2, 3),
examined AS (
    SELECT business_date, site, 'the fees of %s on %s are not what its cups and the terms come to' AS what,
           coalesce(w.service_fee, 0) <> coalesce(c.service_fee, 0) OR coalesce(w.handling_fee, 0) <> coalesce(c.handling_fee, 0)
           OR coalesce(c.tax, 0) <> coalesce(w.service_tax - w.handling_tax, 0)
              AND (business_date > lines.older OR coalesce(c.tax, 0) <> coalesce(w.service_tax, 0)) AS is_broken
      FROM wanted w FULL JOIN charged c USING (business_date, site) CROSS JOIN lines
    UNION ALL
    SELECT business_date, site, 'the lines of the fees of %s on %s are not what its cups and the terms come to',
           (w.quantity, w.each) IS DISTINCT FROM (l.quantity, l.each)
      FROM (SELECT wanted_line.* FROM wanted_line, lines WHERE business_date > lines.older) w
      FULL JOIN (SELECT * FROM fee_line WHERE scheme = $1::integer) l
           USING (business_date, site, fee, terms_date, fee_row, tax_rate_ppm)
    UNION ALL
    SELECT business_date, site, 'what was reversed at %s on %s is not what events say',
           (s.issued, s.returned) IS DISTINCT FROM (d.issued, d.returned)
      FROM stated s
      FULL JOIN (SELECT * FROM reversed_day WHERE scheme = $1::integer) d USING (business_date, site, original_date))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format(what, coalesce(s.code, 'no site'), business_date)
                             ORDER BY business_date, s.code, what) FILTER (WHERE is_broken))
  FROM examined LEFT JOIN site s ON s.id = site
