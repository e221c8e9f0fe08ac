-- Check: every cup that the events supplied, or that visits, is somewhere; the cups that returns brought from other
-- schemes, less those sent home, are those that visit; and the cups forfeited less those reinstated are the cups that
-- can still be reinstated. $1 scheme. Reversals take away.
WITH stated AS (
    SELECT line ->> 'cup_type' AS code, coalesce(o.kind, e.kind) AS kind,
           (line ->> 'quantity')::bigint * CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS cups
      FROM entry e
      LEFT JOIN event_id i ON e.kind = :kind_reversal AND i.scheme = e.scheme AND i.event_id = (e.event::json ->> 'reverses')::uuid
      LEFT JOIN entry o ON o.scheme = i.scheme AND o.entry = i.entry
     CROSS JOIN json_array_elements(coalesce(o.event, e.event)::json -> 'cups') AS line
     WHERE e.scheme = $1::integer AND coalesce(o.kind, e.kind) IN (:kind_supply, :kind_forfeit, :kind_reinstate)),
-- An opening supplies all its cups. Unaccounted cups count as forfeited.
opened AS (
    SELECT e.event::json AS event, CASE WHEN r.entry IS NULL THEN 1 ELSE 0 END AS stands
      FROM entry e
      LEFT JOIN entry_reference r ON r.scheme = e.scheme AND r.referred = e.entry AND r.kind = :kind_reversal
     WHERE e.scheme = $1::integer AND e.kind = :kind_opening),
opened_cups AS (
    SELECT line ->> 'cup_type' AS code, line ->> 'place' AS place, (line ->> 'quantity')::bigint * stands AS cups
      FROM opened CROSS JOIN json_array_elements(event -> 'places') AS line
    UNION ALL
    SELECT line ->> 'cup_type', 'road', (line ->> 'quantity')::bigint * stands
      FROM opened CROSS JOIN json_array_elements(event -> 'shipments') AS shipment
     CROSS JOIN json_array_elements(shipment -> 'cups') AS line),
supplied AS (
    SELECT code, sum(cups) AS cups
      FROM (SELECT code, cups FROM stated WHERE kind = :kind_supply UNION ALL SELECT code, cups FROM opened_cups) AS part GROUP BY 1),
withdrawn AS (
    SELECT code, sum(cups) AS cups
      FROM (SELECT code, CASE kind WHEN :kind_forfeit THEN cups ELSE -cups END AS cups FROM stated WHERE kind <> :kind_supply
            UNION ALL
            SELECT code, cups FROM opened_cups WHERE place = 'unaccounted') AS part
     GROUP BY 1),
somewhere AS (
    SELECT c.code, sum(amount) AS cups
      FROM leg JOIN cup_type c ON c.id = account_unit(account)
     WHERE scheme = $1::integer AND account_kind_of(account) NOT IN (:account_supply, :account_visiting)
     GROUP BY 1),
kept AS (SELECT c.code, f.cups FROM forfeited f JOIN cup_type c ON c.id = f.cup_type WHERE f.scheme = $1::integer),
visits AS ( -- by the events; and by the account
    SELECT line ->> 'cup_type' AS code, (line ->> 'quantity')::bigint * CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS cups
      FROM agreed_amount a -- has each entry that concerns another scheme
      JOIN entry e ON e.scheme = a.scheme AND e.entry = a.entry
      JOIN scheme h ON h.id = a.home
      LEFT JOIN entry_reference r ON e.kind = :kind_reversal AND r.scheme = e.scheme AND r.entry = e.entry
      LEFT JOIN entry o ON o.scheme = r.scheme AND o.entry = r.referred
     CROSS JOIN json_array_elements(coalesce(o.event, e.event)::json -> 'returned') AS line
     WHERE a.scheme = $1::integer AND a.host = $1 AND line ->> 'home' = h.code
    UNION ALL -- less those that were sent home
    SELECT line ->> 'cup_type', -(line ->> 'quantity')::bigint * CASE WHEN u.entry IS NULL THEN 1 ELSE 0 END
      FROM entry e
      JOIN site r ON r.code = e.event::json ->> 'to' AND r.scheme <> e.scheme
      LEFT JOIN entry_reference u ON u.scheme = e.scheme AND u.referred = e.entry AND u.kind = :kind_reversal
     CROSS JOIN json_array_elements(e.event::json -> 'cups') AS line
     WHERE e.scheme = $1::integer AND e.kind = :kind_dispatch),
visiting AS (
    SELECT c.code, -sum(amount) AS cups
      FROM leg JOIN cup_type c ON c.id = account_unit(account)
     WHERE scheme = $1::integer AND account_kind_of(account) = :account_visiting
     GROUP BY 1),
compared AS (
    SELECT code, 'supplied or visit' AS what, coalesce(a.cups, 0) + coalesce(v.cups, 0) AS stated, coalesce(b.cups, 0) AS found
      FROM supplied a FULL JOIN visiting v USING (code) FULL JOIN somewhere b USING (code)
    UNION ALL
    SELECT code, 'brought from other schemes and not sent home', coalesce(a.cups, 0), coalesce(b.cups, 0)
      FROM (SELECT code, sum(cups) AS cups FROM visits GROUP BY 1) a FULL JOIN visiting b USING (code)
    UNION ALL
    SELECT code, 'forfeited', coalesce(a.cups, 0), coalesce(b.cups, 0)
      FROM withdrawn a FULL JOIN kept b USING (code))
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(format('%s: %s were %s, %s are found', code, stated, what, found)
                             ORDER BY code, what) FILTER (WHERE is_broken))
  FROM (SELECT *, stated <> found AS is_broken FROM compared) AS examined
