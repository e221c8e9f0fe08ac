-- Check: the fees of each site and closed day are what its cups come to by the terms; and the cups that
-- reversals took back of earlier days are kept as the events have it. $1 scheme. A reversal counts by the
-- terms of the day to which the reversed event was posted. Another check compares the cups of a site's day
-- with its events. Whether a participant is registered for tax is not kept by date: the tax on its handling
-- fee may be there or not.
WITH rule AS (SELECT coalesce(max(through), '-infinity') AS older FROM older_fee_rule WHERE scheme = $1::integer),
kept AS (SELECT d.* FROM reversed_day d, rule WHERE d.scheme = $1::integer AND d.business_date > rule.older),
cups AS (
    SELECT d.business_date, d.site, d.business_date AS fee_date, d.issued + coalesce(k.issued, 0) AS issued,
           d.returned + coalesce(k.returned, 0) AS returned
      FROM site_day d
      LEFT JOIN (SELECT business_date, site, sum(issued) AS issued, sum(returned) AS returned FROM kept GROUP BY 1, 2) k
          USING (business_date, site)
     WHERE d.scheme = $1::integer
    UNION ALL
    SELECT business_date, site, original_date, -issued, -returned FROM kept),
wanted AS (
    SELECT c.business_date, c.site, sum(c.issued * t.service_fee) AS service_fee, sum(c.returned * t.handling_fee) AS handling_fee,
           round_half_even(sum(c.issued * t.service_fee * t.tax_rate_ppm) * 0.000001) AS service_tax,
           round_half_even(sum(c.returned * t.handling_fee * t.tax_rate_ppm) * 0.000001) AS handling_tax
      FROM cups c
      JOIN settlement s ON s.scheme = $1::integer AND s.business_date = c.business_date
     CROSS JOIN LATERAL (SELECT t.service_fee::numeric, t.handling_fee::numeric, t.tax_rate_ppm FROM terms t
                          WHERE t.scheme = $1::integer AND t.effective_date <= c.fee_date
                          ORDER BY t.effective_date DESC LIMIT 1) t
     GROUP BY 1, 2),
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
           OR coalesce(c.tax, 0) NOT IN (coalesce(w.service_tax, 0), coalesce(w.service_tax - w.handling_tax, 0)) AS is_broken
      FROM wanted w FULL JOIN charged c USING (business_date, site)
    UNION ALL
    SELECT business_date, site, 'what was reversed at %s on %s is not what events say',
           (s.issued, s.returned) IS DISTINCT FROM (d.issued, d.returned)
      FROM stated s
      FULL JOIN (SELECT * FROM reversed_day WHERE scheme = $1::integer) d USING (business_date, site, original_date))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format(what, coalesce(s.code, 'no site'), business_date)
                             ORDER BY business_date, s.code, what) FILTER (WHERE is_broken))
  FROM examined LEFT JOIN site s ON s.id = site
