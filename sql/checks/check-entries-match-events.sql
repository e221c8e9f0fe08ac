-- Check: the columns beside an entry's leaf follow from its event, or for entries of a close from its legs, and
-- from the calendar: site, instant, whether it is late; its key is one that there is; and no exception is of an
-- entry that is not there, or of another day than the entry unless it is of a cup with identity. $1 scheme.
WITH stated AS (
    SELECT e.entry, e.business_date, e.kind, e.late, e.site, e.occurred_at, d.starts_at, d.ends_at, e.event IS NULL AS by_service,
           (e.event::json ->> 'occurred_at')::timestamptz AS stated_at, e.event::json ->> 'site' AS code,
           (e.event::json ->> 'reverses')::uuid AS reverses,
           k.id IS NULL AND (e.event IS NOT NULL OR e.api_key IS NOT NULL) AS has_no_key,
           CASE WHEN e.event IS NULL THEN (
               SELECT min(account_owner(a)) FROM unnest(e.accounts) a
                WHERE account_kind_of(a) IN (:account_stock_deposits, :account_site_clearing, :account_site_stock, :account_damaged)
               ) END AS leg_site
      FROM entry e
      LEFT JOIN business_day d USING (scheme, business_date)
      LEFT JOIN api_key k ON k.id = e.api_key
     WHERE e.scheme = $1::integer),
-- A reversal occurs no earlier than on the day of the entry that it reverses.
dated AS (
    SELECT s.*, r.business_date AS reversed_on
      FROM stated s
      LEFT JOIN event_id i ON i.scheme = $1::integer AND i.event_id = s.reverses
      LEFT JOIN entry r ON r.scheme = i.scheme AND r.entry = i.entry),
compared AS (
    SELECT d.entry, d.business_date, d.site IS DISTINCT FROM coalesce(s.id, leg_site) AS other_site,
           occurred_at IS DISTINCT FROM CASE WHEN NOT by_service THEN stated_at
                                             WHEN d.kind IN (:kind_fees, :kind_settle) THEN ends_at - interval '1 microsecond'
                                             WHEN d.kind = :kind_remeasurement THEN starts_at ELSE occurred_at END AS other_instant,
           late IS DISTINCT FROM (NOT by_service AND NOT (stated_at < ends_at AND (stated_at >= starts_at
                                      OR reversed_on IS NOT DISTINCT FROM d.business_date))) AS other_lateness,
           has_no_key
      FROM dated d LEFT JOIN site s ON s.code = d.code),
examined AS (
    SELECT entry, format('entry %s of %s has not the %s that its event, its legs and the calendar say', entry, business_date,
                         concat_ws(', ', CASE WHEN other_site THEN 'site' END, CASE WHEN other_instant THEN 'instant' END,
                                   CASE WHEN other_lateness THEN 'lateness' END, CASE WHEN has_no_key THEN 'key' END)) AS what,
           other_site OR other_instant OR other_lateness OR has_no_key AS is_broken
      FROM compared
    UNION ALL
    SELECT x.entry, format('exception %s of entry %s is of no entry of %s', x.position, x.entry, x.business_date),
           (e.business_date = x.business_date OR x.position >= 1000) IS NOT TRUE
      FROM exception x LEFT JOIN entry e USING (scheme, entry)
     WHERE x.scheme = $1::integer)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY entry, what) FILTER (WHERE is_broken))
  FROM examined
