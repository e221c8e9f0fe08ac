-- Check: the fees of each site and closed day follow from what its events state and the terms; and the cups that reversals
-- took back of earlier days are kept as the events have it. $1 scheme. A reversal counts by the terms of the day to which the
-- reversed event was posted. Whether a participant is registered for tax is not kept by date: the tax on its handling fee may
-- be there or not.
WITH rule AS (SELECT coalesce(max(through), '-infinity') AS older FROM older_fee_rule WHERE scheme = $1::integer),
counted AS (
    SELECT e.business_date, e.site, CASE WHEN e.business_date <= rule.older THEN e.business_date
                                         ELSE coalesce(o.business_date, e.business_date) END AS fee_date,
           CASE e.kind WHEN 11 THEN -1 ELSE 1 END AS sign, coalesce(o.event, e.event)::json AS event
      FROM rule CROSS JOIN entry e
      LEFT JOIN event_id i ON e.kind = 11 AND i.scheme = e.scheme AND i.event_id = (e.event::json ->> 'reverses')::uuid
      LEFT JOIN entry o ON o.scheme = i.scheme AND o.entry = i.entry
     WHERE e.scheme = $1::integer AND coalesce(o.kind, e.kind) IN (1, 2, 3)),
cups AS (
    SELECT business_date, site, fee_date,
           sum(sign * (SELECT coalesce(sum((line ->> 'quantity')::bigint), 0) FROM json_array_elements(event -> 'issued') AS line)) AS issued,
           sum(sign * (SELECT coalesce(sum((line ->> 'quantity')::bigint), 0) FROM json_array_elements(event -> 'returned') AS line)) AS returned
      FROM counted GROUP BY 1, 2, 3),
wanted AS (
    SELECT c.business_date, c.site, sum(c.issued * t.service_fee) AS service_fee, sum(c.returned * t.handling_fee) AS handling_fee,
           round_half_even(sum(c.issued * t.service_fee * t.tax_rate_ppm) * 0.000001) AS service_tax,
           round_half_even(sum(c.returned * t.handling_fee * t.tax_rate_ppm) * 0.000001) AS handling_tax
      FROM cups c
      JOIN settlement s ON s.scheme = $1::integer AND s.business_date = c.business_date
     CROSS JOIN LATERAL (SELECT * FROM terms t WHERE t.scheme = $1::integer AND t.effective_date <= c.fee_date
                          ORDER BY t.effective_date DESC LIMIT 1) t
     GROUP BY 1, 2),
charged AS (
    SELECT e.business_date, e.site,
           -coalesce(sum(amount) FILTER (WHERE account_kind_of(account) = 9), 0) AS service_fee,
           coalesce(sum(amount) FILTER (WHERE account_kind_of(account) = 12), 0) AS handling_fee,
           -coalesce(sum(amount) FILTER (WHERE account_kind_of(account) = 14), 0) AS tax
      FROM entry e CROSS JOIN unnest(e.accounts, e.amounts) AS leg(account, amount)
     WHERE e.scheme = $1::integer AND e.kind = 20 GROUP BY 1, 2),
examined AS (
    SELECT business_date, site, 'the fees of %s on %s are not what events and terms say' AS what,
           coalesce(w.service_fee, 0) <> coalesce(c.service_fee, 0) OR coalesce(w.handling_fee, 0) <> coalesce(c.handling_fee, 0)
           OR coalesce(c.tax, 0) NOT IN (coalesce(w.service_tax, 0), coalesce(w.service_tax - w.handling_tax, 0)) AS is_broken
      FROM wanted w FULL JOIN charged c USING (business_date, site)
    UNION ALL
    SELECT at.business_date, at.site, 'what was reversed at %s on %s is not what events say',
           (c.issued, c.returned) IS DISTINCT FROM (-d.issued, -d.returned)
      FROM (SELECT * FROM cups WHERE fee_date <> business_date) c
      FULL JOIN (SELECT * FROM reversed_day WHERE scheme = $1::integer) d
             ON (d.business_date, d.site, d.original_date) = (c.business_date, c.site, c.fee_date)
     CROSS JOIN LATERAL (SELECT coalesce(c.business_date, d.business_date) AS business_date, coalesce(c.site, d.site) AS site) at)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format(what, coalesce(s.code, 'no site'), business_date)
                             ORDER BY business_date, s.code, what) FILTER (WHERE is_broken))
  FROM examined LEFT JOIN site s ON s.id = site
