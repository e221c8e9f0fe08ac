-- Check: the home's entries follow the host's one for one and in its order, up to the place that is kept; each names
-- the host's event and the hash of its leaf, and moves as many cups; a reversal refers to the entry that followed the
-- reversed one; and no entry waits for longer than five minutes. $1 scheme, as home.
WITH pair AS (SELECT home, host, entry AS place FROM following_place WHERE home = $1::integer),
wanted AS (
    SELECT a.home, a.host, a.entry AS host_entry, a.amount, a.in_host_currency, a.rate_e12, e.hash, e.kind, e.recorded_at,
           (e.event::json ->> 'event_id')::uuid AS event_id, p.place, r.referred,
           row_number() OVER (PARTITION BY a.host ORDER BY a.entry) AS nth
      FROM pair p
      JOIN agreed_amount a ON a.scheme = p.host AND a.home = p.home AND a.host = p.host
      JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry
      LEFT JOIN entry_reference r ON e.kind = :kind_reversal AND r.scheme = e.scheme AND r.entry = e.entry),
found AS (
    SELECT f.scheme AS home, f.host, f.host_entry, f.entry, f.event_id, f.hash, e.kind, a.amount, a.in_host_currency, a.rate_e12,
           r.referred, row_number() OVER (PARTITION BY f.host ORDER BY f.entry) AS nth
      FROM followed_entry f
      LEFT JOIN entry e ON e.scheme = f.scheme AND e.entry = f.entry
      LEFT JOIN agreed_amount a ON (a.scheme, a.entry, a.home, a.host) = (f.scheme, f.entry, f.scheme, f.host)
      LEFT JOIN entry_reference r ON r.scheme = f.scheme AND r.entry = f.entry AND r.kind = :kind_reversal_abroad
     WHERE f.scheme = $1),
kinds AS ( -- entries that must follow
    SELECT e.entry FROM entry e WHERE e.scheme = $1 AND e.kind IN (:kind_return_abroad, :kind_reversal_abroad)),
examined AS (
    SELECT format('entry %s of %s is not followed as it was recorded', coalesce(w.host_entry, f.host_entry), k.code) AS what,
           CASE WHEN w.host_entry <= w.place OR w.host_entry IS NULL
                THEN (w.hash = f.hash AND w.event_id = f.event_id AND w.nth = f.nth AND w.amount = f.amount
                      AND w.in_host_currency = f.in_host_currency AND w.rate_e12 = f.rate_e12
                      AND (f.kind = :kind_reversal_abroad AND w.kind = :kind_reversal OR f.kind = :kind_return_abroad AND w.kind <> :kind_reversal)
                      AND f.referred IS NOT DISTINCT FROM
                          (SELECT o.entry FROM found o WHERE o.host = w.host AND o.host_entry = w.referred)
                      AND NOT EXISTS (
                          SELECT FROM (SELECT account_cup_type(l.account) AS cup_type, -sum(l.amount) AS cups FROM leg l
                                        WHERE l.scheme = w.host AND l.entry = w.host_entry
                                          AND account_kind_of(l.account) = :account_visiting AND account_owner(l.account) = w.home
                                        GROUP BY 1) AS there
                            FULL JOIN (SELECT account_cup_type(l.account) AS cup_type, sum(l.amount) AS cups FROM leg l
                                        WHERE l.scheme = w.home AND l.entry = f.entry
                                          AND account_kind_of(l.account) = :account_abroad AND account_owner(l.account) = w.host
                                        GROUP BY 1) AS here USING (cup_type)
                           WHERE there.cups IS DISTINCT FROM here.cups)) IS NOT TRUE
                ELSE f.entry IS NOT NULL END AS is_broken
      FROM wanted w FULL JOIN found f USING (home, host, host_entry) LEFT JOIN scheme k ON k.id = coalesce(w.host, f.host)
    UNION ALL
    SELECT format('entry %s of %s waits for longer than five minutes', w.host_entry, k.code),
           w.host_entry > w.place AND w.recorded_at < now() - interval '5 minutes'
      FROM wanted w JOIN scheme k ON k.id = w.host
    UNION ALL
    SELECT format('entry %s follows no entry of a host', entry), NOT EXISTS (SELECT FROM found f WHERE f.entry = kinds.entry)
      FROM kinds)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
