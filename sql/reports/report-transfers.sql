-- Dispatches that are not squared at the end of a day: cups on the road, and cups that came without having
-- been sent. $1 scheme, $2 business day, $3 only those in a state: 1 in_transit, 2 short, 3 over, 4 late, which
-- have had cups on the road for longer than a day (null: all), $4 order 1: the newest first, 2: the oldest (null: the
-- same). The transfers say how it stands now; the statement takes off the receipts, losses and reversals of later days
-- again, so that it costs as much as there are of these. Clocks differ: a receipt may be of an earlier day than its
-- dispatch. Cups that go from one scheme to another stand in both: they are in neither's in_transit, and only their
-- home can do something about them, so only there are they late.
WITH linked AS ( -- the scheme, and those that it sends cups to or that send it some
    SELECT $1::integer AS scheme
    UNION ALL
    SELECT home FROM following_place WHERE host = $1
    UNION
    SELECT host FROM following_place WHERE home = $1),
later AS ( -- each entry of a later day that changed a transfer, its cups, and whether a reversal took them back
    SELECT moved.*
      FROM linked k
     CROSS JOIN LATERAL (
           SELECT coalesce(f.host, e.scheme) AS sent_in,
                  CASE WHEN f.entry IS NOT NULL THEN f.dispatch
                       WHEN d.entry IS NULL THEN o.entry
                       ELSE coalesce((SELECT s.number FROM shipment s -- not looked for in a scheme without any
                                       WHERE (SELECT EXISTS (SELECT FROM shipment WHERE scheme = $1::integer))
                                         AND s.scheme = d.scheme AND s.event_id = d.event_id), d.entry) END AS dispatch,
                  o.kind, c.id AS cup_type, (line ->> 'condition') IS NOT NULL AS damaged,
                  (line ->> 'quantity')::bigint * CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS cups
             FROM entry e
            CROSS JOIN LATERAL (
                  SELECT e.entry, e.kind, e.event WHERE e.kind <> :kind_reversal
                  UNION ALL
                  SELECT r.entry, r.kind, r.event FROM entry_reference f JOIN entry r ON r.scheme = f.scheme AND r.entry = f.referred
                   WHERE e.kind = :kind_reversal AND f.scheme = e.scheme AND f.entry = e.entry) AS o(entry, kind, event)
             LEFT JOIN host_dispatch f ON f.scheme = e.scheme AND f.entry = o.entry
             LEFT JOIN event_id d ON d.scheme = e.scheme AND d.event_id = (o.event::json ->> 'dispatch')::uuid
            CROSS JOIN LATERAL json_array_elements(o.event::json -> 'cups') AS line
             JOIN cup_type c ON c.code = line ->> 'cup_type'
            WHERE e.scheme = k.scheme AND e.kind > :kind_exchange
              AND e.kind IN (:kind_dispatch, :kind_receipt, :kind_transit_loss, :kind_reversal)
              AND o.kind IN (:kind_dispatch, :kind_receipt, :kind_transit_loss)
              AND e.business_date > $2::date
              AND e.entry >= (SELECT min(first_entry) FROM business_day WHERE scheme = k.scheme AND business_date > $2)
           OFFSET 0) AS moved),
opened_later AS ( -- the shipments of an opening of a later day, and of one that was reversed on a later day
    SELECT $1::integer AS sent_in, s.number AS dispatch, :kind_dispatch AS kind, c.id AS cup_type, (line ->> 'condition') IS NOT NULL AS damaged,
           (line ->> 'quantity')::bigint * CASE e.kind WHEN :kind_reversal THEN -1 ELSE 1 END AS cups
      FROM (SELECT DISTINCT entry FROM shipment WHERE scheme = $1::integer) AS opening
      JOIN entry o ON o.scheme = $1::integer AND o.entry = opening.entry
     CROSS JOIN LATERAL (
           SELECT o.entry AS entry
           UNION ALL
           SELECT r.entry FROM entry_reference r WHERE r.scheme = o.scheme AND r.referred = o.entry) AS by
      JOIN entry e ON e.scheme = $1::integer AND e.entry = by.entry AND e.business_date > $2::date
     CROSS JOIN LATERAL json_array_elements(o.event::json -> 'shipments') AS sent
      JOIN shipment s ON s.scheme = $1::integer AND s.event_id = (sent ->> 'dispatch')::uuid
     CROSS JOIN LATERAL json_array_elements(sent -> 'cups') AS line
      JOIN cup_type c ON c.code = line ->> 'cup_type'),
undone AS (
    SELECT sent_in, dispatch, cup_type, damaged, coalesce(sum(cups) FILTER (WHERE kind = :kind_dispatch), 0) AS sent,
           coalesce(sum(cups) FILTER (WHERE kind = :kind_receipt), 0) AS received,
           coalesce(sum(cups) FILTER (WHERE kind = :kind_transit_loss), 0) AS lost
      FROM (SELECT * FROM later UNION ALL SELECT * FROM opened_later) AS moved GROUP BY 1, 2, 3, 4),
stood AS (
    SELECT t.scheme AS sent_in, t.home, t.dispatch, t.cup_type, t.damaged, t.business_date, t.sender, t.receiver, t.sent - coalesce(u.sent, 0) AS sent,
           t.received - coalesce(u.received, 0) AS received, t.lost - coalesce(u.lost, 0) AS lost
      FROM (SELECT * FROM transfer WHERE scheme = $1::integer UNION ALL SELECT * FROM transfer WHERE home = $1) t
      LEFT JOIN undone u ON (u.sent_in, u.dispatch, u.cup_type, u.damaged) = (t.scheme, t.dispatch, t.cup_type, t.damaged)
     WHERE t.sent <> t.received + t.lost OR (t.scheme, t.dispatch) IN (SELECT sent_in, dispatch FROM undone))
SELECT stood.business_date, greatest($2::date - stood.business_date, 0), e.entry,
       CASE WHEN dispatch > 0 THEN e.event::json ->> 'event_id'
            ELSE (SELECT n.event_id::text FROM shipment n WHERE n.scheme = $1::integer AND n.number = dispatch) END, s.code, r.code, c.code,
       CASE WHEN damaged THEN 'damaged' ELSE 'sound' END, sent, received, lost,
       CASE WHEN home IS NULL THEN greatest(sent - received - lost, 0) END, greatest(received + lost - sent, 0),
       CASE WHEN received + lost > sent THEN 'over' WHEN received + lost > 0 THEN 'short' ELSE 'in_transit' END,
       CASE WHEN home IS NOT NULL THEN greatest(sent - received - lost, 0) END,
       (SELECT code FROM scheme WHERE id = sent_in), (SELECT code FROM scheme WHERE id = coalesce(home, sent_in))
  FROM stood
  JOIN entry e ON e.scheme = sent_in
              AND e.entry = CASE WHEN dispatch > 0 THEN dispatch
                                 ELSE (SELECT n.entry FROM shipment n WHERE n.scheme = $1::integer AND n.number = dispatch) END
  JOIN site s ON s.id = sender
  JOIN site r ON r.id = receiver
  JOIN cup_type c ON c.id = stood.cup_type
 WHERE sent <> received + lost
   AND CASE $3::integer WHEN 1 THEN received + lost = 0 WHEN 2 THEN received + lost BETWEEN 1 AND sent - 1
                        WHEN 3 THEN received + lost > sent
                        WHEN 4 THEN received + lost < sent AND $2::date - stood.business_date > 1 AND coalesce(home, $1) = $1 ELSE true END
 ORDER BY sent_in <> $1, CASE $4::integer WHEN 1 THEN -e.entry ELSE e.entry END, abs(dispatch), c.code COLLATE "C", damaged
