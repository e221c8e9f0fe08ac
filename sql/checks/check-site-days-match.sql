-- Check: the activity of the sites in a day follows from the events and the legs. $1 scheme. A reversal takes
-- away, on its own day, the figures that the reversed entry had added; its further legs bring the cups to
-- today's value.
WITH posted AS (
    SELECT e.entry, e.business_date, e.kind, e.site, e.accounts, e.amounts, coalesce(o.kind, e.kind) AS mirrored_kind,
           coalesce(o.event, e.event)::json AS event, CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS sign,
           coalesce(cardinality(o.accounts), 0) AS mirrored
      FROM entry e
      LEFT JOIN event_id i ON e.kind = :kind_reversal AND i.scheme = e.scheme AND i.event_id = (e.event::json ->> 'reverses')::uuid
      LEFT JOIN entry o ON o.scheme = i.scheme AND o.entry = i.entry
     WHERE e.scheme = $1::integer),
stated AS (
    SELECT business_date, site,
           sign * (SELECT coalesce(sum((line ->> 'quantity')::bigint), 0) FROM json_array_elements(event -> 'issued') AS line) AS issued,
           sign * (SELECT coalesce(sum((line ->> 'quantity')::bigint), 0) FROM json_array_elements(event -> 'returned') AS line) AS returned
      FROM posted WHERE mirrored_kind IN (:kinds_counter)),
dealt AS (
    SELECT business_date, account_owner(account) AS site, amount, sign,
           CASE WHEN kind = :kind_reversal AND position > mirrored THEN kind ELSE mirrored_kind END AS kind
      FROM posted CROSS JOIN unnest(accounts, amounts) WITH ORDINALITY AS leg(account, amount, position)
     WHERE account_kind_of(account) = :account_site_clearing AND kind NOT IN (:kinds_close)),
charged AS (
    SELECT business_date, site,
           -coalesce(sum(amount) FILTER (WHERE account_kind_of(account)
                                               IN (:account_service_fees, :account_handling_fees)), 0) AS fees,
           -coalesce(sum(amount) FILTER (WHERE account_kind_of(account) = :account_tax), 0) AS tax
      FROM posted CROSS JOIN unnest(accounts, amounts) AS leg(account, amount)
     WHERE kind = :kind_fees GROUP BY 1, 2),
computed AS (
    SELECT business_date, site, sum(issued) AS issued, sum(returned) AS returned, sum(collected) AS collected,
           sum(refunded) AS refunded, sum(stock) AS stock, sum(other) AS other, sum(fees) AS fees, sum(tax) AS tax
      FROM (SELECT business_date, site, issued, returned, 0 AS collected, 0 AS refunded, 0 AS stock, 0 AS other, 0 AS fees, 0 AS tax
              FROM stated
            UNION ALL
            SELECT business_date, site, 0, 0,
                   CASE WHEN kind IN (:kinds_counter) THEN sign * greatest(sign * amount, 0) ELSE 0 END,
                   CASE WHEN kind IN (:kinds_counter) THEN sign * greatest(-sign * amount, 0) ELSE 0 END,
                   CASE WHEN kind IN (:kinds_stock) THEN amount ELSE 0 END,
                   CASE WHEN kind NOT IN (:kinds_counter, :kinds_stock) THEN amount ELSE 0 END, 0, 0
              FROM dealt
            UNION ALL
            SELECT business_date, site, 0, 0, 0, 0, 0, 0, fees, tax FROM charged) AS part
     GROUP BY 1, 2),
kept AS (
    SELECT business_date, site, sum(issued) AS issued, sum(returned) AS returned, sum(collected) AS collected,
           sum(refunded) AS refunded, sum(stock) AS stock, sum(other) AS other, sum(fees) AS fees, sum(tax) AS tax
      FROM (SELECT business_date, site, issued, returned, collected, refunded, stock, other, fees, tax
              FROM site_day WHERE scheme = $1::integer
            UNION ALL
            SELECT business_date, site, issued, returned, collected, refunded, stock, other, 0, 0
              FROM recent_site_day WHERE scheme = $1::integer) AS part
     GROUP BY 1, 2),
compared AS (
    SELECT business_date, site,
           (coalesce(c.issued, 0), coalesce(c.returned, 0), coalesce(c.collected, 0), coalesce(c.refunded, 0),
            coalesce(c.stock, 0), coalesce(c.other, 0), coalesce(c.fees, 0), coalesce(c.tax, 0))
           <> (coalesce(d.issued, 0), coalesce(d.returned, 0), coalesce(d.collected, 0), coalesce(d.refunded, 0),
               coalesce(d.stock, 0), coalesce(d.other, 0), coalesce(d.fees, 0), coalesce(d.tax, 0)) AS is_broken
      FROM computed c FULL JOIN kept d USING (business_date, site))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format('%s on %s is not what events and legs say', coalesce(s.code, 'no site'), business_date)
                             ORDER BY business_date, s.code) FILTER (WHERE is_broken))
  FROM compared LEFT JOIN site s ON s.id = site
