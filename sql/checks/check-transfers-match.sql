-- Check: the cups sent, received and lost of each transfer follow from the events, and the rest of them is in
-- transit, unless they were sent home; the shipment that a dispatch fulfils is the one that its event names; and a
-- receipt or a loss of cups that another scheme sent home is noted with the dispatch that its event names. $1 scheme.
-- Reversals take away.
WITH stated AS (
    SELECT coalesce(h.number, d.entry, case_of.entry) AS dispatch, c.id AS cup_type, (line ->> 'condition') IS NOT NULL AS damaged,
           case_of.kind, (line ->> 'quantity')::bigint * sign AS cups
      FROM (SELECT coalesce(o.entry, e.entry) AS entry, coalesce(o.kind, e.kind) AS kind, coalesce(o.event, e.event)::json AS event,
                   CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS sign
              FROM entry e
              LEFT JOIN event_id i ON e.kind = :kind_reversal AND i.scheme = e.scheme
                                     AND i.event_id = (e.event::json ->> 'reverses')::uuid
              LEFT JOIN entry o ON o.scheme = i.scheme AND o.entry = i.entry
             WHERE e.scheme = $1::integer
               AND coalesce(o.kind, e.kind) IN (:kind_dispatch, :kind_receipt, :kind_transit_loss)) AS case_of
      LEFT JOIN event_id d ON d.scheme = $1::integer AND d.event_id = (event ->> 'dispatch')::uuid
      LEFT JOIN shipment h ON h.scheme = d.scheme AND h.event_id = d.event_id
     CROSS JOIN json_array_elements(event -> 'cups') AS line
      JOIN cup_type c ON c.code = line ->> 'cup_type'
     WHERE event ->> 'host' IS NULL
    UNION ALL -- and by the entries of other schemes, the homes of the cups
    SELECT f.dispatch, c.id, (line ->> 'condition') IS NOT NULL, e.kind,
           (line ->> 'quantity')::bigint * CASE WHEN u.entry IS NULL THEN 1 ELSE 0 END
      FROM host_dispatch f
      JOIN entry e ON e.scheme = f.scheme AND e.entry = f.entry
      LEFT JOIN entry_reference u ON u.scheme = f.scheme AND u.referred = f.entry AND u.kind = :kind_reversal
     CROSS JOIN json_array_elements(e.event::json -> 'cups') AS line
      JOIN cup_type c ON c.code = line ->> 'cup_type'
     WHERE f.host = $1::integer),
shipped AS ( -- the shipments of an opening, and nothing of one that is reversed
    SELECT h.number AS dispatch, c.id AS cup_type, (line ->> 'condition') IS NOT NULL AS damaged, :kind_dispatch AS kind,
           (line ->> 'quantity')::bigint * CASE WHEN r.entry IS NULL THEN 1 ELSE 0 END AS cups,
           sent.stated ->> 'site' AS sender, sent.stated ->> 'to' AS receiver
      FROM entry e
      LEFT JOIN entry_reference r ON r.scheme = e.scheme AND r.referred = e.entry AND r.kind = :kind_reversal
     CROSS JOIN json_array_elements(e.event::json -> 'shipments') AS sent(stated)
     CROSS JOIN json_array_elements(sent.stated -> 'cups') AS line
      LEFT JOIN shipment h ON h.scheme = e.scheme AND h.event_id = (sent.stated ->> 'dispatch')::uuid
      JOIN cup_type c ON c.code = line ->> 'cup_type'
     WHERE e.scheme = $1::integer AND e.kind = :kind_opening),
computed AS (
    SELECT dispatch, cup_type, damaged, coalesce(sum(cups) FILTER (WHERE kind = :kind_dispatch), 0) AS sent,
           coalesce(sum(cups) FILTER (WHERE kind = :kind_receipt), 0) AS received,
           coalesce(sum(cups) FILTER (WHERE kind = :kind_transit_loss), 0) AS lost
      FROM (SELECT dispatch, cup_type, damaged, kind, cups FROM stated
            UNION ALL
            SELECT dispatch, cup_type, damaged, kind, cups FROM shipped) AS moved
     GROUP BY 1, 2, 3),
kept AS (SELECT * FROM transfer WHERE scheme = $1::integer),
road AS (
    SELECT account_unit(account) AS cup_type, sum(amount) AS cups
      FROM leg WHERE scheme = $1::integer AND account_kind_of(account) = :account_in_transit GROUP BY 1),
examined AS (
    SELECT format('the dispatch of entry %s', dispatch) AS what,
           (coalesce(c.sent, 0), coalesce(c.received, 0), coalesce(c.lost, 0))
           <> (coalesce(k.sent, 0), coalesce(k.received, 0), coalesce(k.lost, 0)) AS is_broken
      FROM computed c FULL JOIN kept k USING (dispatch, cup_type, damaged)
    UNION ALL
    SELECT format('the dispatch of entry %s is another site''s, or of another day', k.dispatch),
           (k.business_date, k.sender, k.receiver, k.home)
           IS DISTINCT FROM (e.business_date, coalesce(e.site, (SELECT id FROM site WHERE code = s.sender)),
                             (SELECT id FROM site WHERE code = coalesce(s.receiver, e.event::json ->> 'to')),
                             nullif((SELECT scheme FROM site WHERE code = coalesce(s.receiver, e.event::json ->> 'to')), $1::integer))
      FROM kept k
      LEFT JOIN shipment h ON (h.scheme, h.number) = ($1::integer, k.dispatch)
      LEFT JOIN entry e ON (e.scheme, e.entry) = ($1::integer, coalesce(h.entry, k.dispatch))
      LEFT JOIN (SELECT DISTINCT dispatch, sender, receiver FROM shipped) s ON s.dispatch = k.dispatch
    UNION ALL
    SELECT format('the shipment that the dispatch of entry %s fulfils', dispatch), n.shipment IS DISTINCT FROM k.shipment
      FROM (SELECT entry AS dispatch, (event::json ->> 'shipment')::uuid AS shipment FROM entry
             WHERE scheme = $1::integer AND kind = :kind_dispatch AND event::json ->> 'shipment' IS NOT NULL) n
      FULL JOIN (SELECT dispatch, shipment FROM shipment_dispatch WHERE scheme = $1::integer) k USING (dispatch)
    UNION ALL
    SELECT format('the dispatch of another scheme that entry %s is about', entry),
           (n.host, n.dispatch, n.kind) IS DISTINCT FROM (k.host, k.dispatch, k.kind::integer)
      FROM (SELECT e.entry, e.kind::integer AS kind, s.id AS host, i.entry AS dispatch
              FROM entry e
              LEFT JOIN scheme s ON s.code = e.event::json ->> 'host'
              LEFT JOIN event_id i ON i.scheme = s.id AND i.event_id = (e.event::json ->> 'dispatch')::uuid
             WHERE e.scheme = $1::integer AND e.kind IN (:kind_receipt, :kind_transit_loss) AND e.event::json ->> 'host' IS NOT NULL) n
      FULL JOIN (SELECT * FROM host_dispatch WHERE scheme = $1::integer) k USING (entry)
    UNION ALL
    SELECT format('what is in transit of %s', t.code), coalesce(road.cups, 0) <> coalesce(k.cups, 0)
      FROM road
      FULL JOIN (SELECT cup_type, sum(sent::numeric - received - lost) AS cups FROM kept WHERE home IS NULL GROUP BY 1) k USING (cup_type)
      LEFT JOIN cup_type t ON t.id = cup_type)
SELECT count(*), count(*) FILTER (WHERE is_broken),
       first_lines(array_agg(what ORDER BY what) FILTER (WHERE is_broken))
  FROM examined
