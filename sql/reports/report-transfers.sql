-- Dispatches that are not squared at the end of a day: cups on the road, and cups that came without having
-- been sent. $1 scheme, $2 business day. The transfers say how it stands now; the statement takes off the
-- receipts, losses and reversals of later days again, so that it costs as much as there are of these. Clocks
-- differ: a receipt may be of an earlier day than its dispatch.
WITH later AS ( -- each entry of a later day that changed a transfer, its cups, and whether a reversal took them back
    SELECT coalesce(h.number, d.entry, o.entry) AS dispatch, o.kind, c.id AS cup_type, (line ->> 'condition') IS NOT NULL AS damaged,
           (line ->> 'quantity')::bigint * CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS cups
      FROM entry e
     CROSS JOIN LATERAL (
           SELECT e.entry, e.kind, e.event WHERE e.kind <> :kind_reversal
           UNION ALL
           SELECT r.entry, r.kind, r.event FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
            WHERE e.kind = :kind_reversal AND f.scheme = e.scheme AND f.entry = e.entry) AS o(entry, kind, event)
     CROSS JOIN LATERAL ( -- an opening has shipments, each with cups of its own
           SELECT o.event::json ->> 'dispatch' AS dispatch, o.event::json -> 'cups' AS cups WHERE o.kind <> :kind_opening
           UNION ALL
           SELECT sent ->> 'dispatch', sent -> 'cups' FROM json_array_elements(o.event::json -> 'shipments') AS sent
            WHERE o.kind = :kind_opening) AS stated
      LEFT JOIN event_id d ON d.scheme = e.scheme AND d.event_id = stated.dispatch::uuid
      LEFT JOIN shipment h ON h.scheme = d.scheme AND h.event_id = d.event_id
     CROSS JOIN LATERAL json_array_elements(stated.cups) AS line
      JOIN cup_type c ON c.code = line ->> 'cup_type'
     WHERE e.scheme = $1::integer AND e.kind > :kind_exchange
       AND e.kind IN (:kind_dispatch, :kind_receipt, :kind_transit_loss, :kind_reversal, :kind_opening)
       AND o.kind IN (:kind_dispatch, :kind_receipt, :kind_transit_loss, :kind_opening)
       AND e.business_date > $2::date
       AND e.entry >= (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date > $2)),
undone AS (
    SELECT dispatch, cup_type, damaged, coalesce(sum(cups) FILTER (WHERE kind IN (:kind_dispatch, :kind_opening)), 0) AS sent,
           coalesce(sum(cups) FILTER (WHERE kind = :kind_receipt), 0) AS received,
           coalesce(sum(cups) FILTER (WHERE kind = :kind_transit_loss), 0) AS lost
      FROM later GROUP BY 1, 2, 3),
stood AS (
    SELECT t.dispatch, t.cup_type, t.damaged, t.business_date, t.sender, t.receiver, t.sent - coalesce(u.sent, 0) AS sent,
           t.received - coalesce(u.received, 0) AS received, t.lost - coalesce(u.lost, 0) AS lost
      FROM transfer t LEFT JOIN undone u USING (dispatch, cup_type, damaged)
     WHERE t.scheme = $1::integer AND (t.sent <> t.received + t.lost OR t.dispatch IN (SELECT dispatch FROM undone)))
SELECT stood.business_date, greatest($2::date - stood.business_date, 0), e.entry, coalesce(h.event_id::text, e.event::json ->> 'event_id'), s.code, r.code, c.code,
       CASE WHEN damaged THEN 'damaged' ELSE 'sound' END, sent, received, lost, greatest(sent - received - lost, 0),
       greatest(received + lost - sent, 0),
       CASE WHEN received + lost > sent THEN 'over' WHEN received + lost > 0 THEN 'short' ELSE 'in_transit' END
  FROM stood
  LEFT JOIN shipment h ON h.scheme = $1::integer AND h.number = dispatch
  JOIN entry e ON e.scheme = $1::integer AND e.entry = coalesce(h.entry, dispatch)
  JOIN site s ON s.id = sender
  JOIN site r ON r.id = receiver
  JOIN cup_type c ON c.id = stood.cup_type
 WHERE sent <> received + lost
 ORDER BY e.entry, abs(dispatch), c.code COLLATE "C", damaged
