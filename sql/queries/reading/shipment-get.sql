-- The requested shipments with id $1 as JSON. $2 scheme (null: all), $3 the sites of the reader (null: all); it may see
-- the events of its own sites.
SELECT json_strip_nulls(json_build_object(
           'shipment', r.shipment, 'scheme', c.code, 'site', s.code, 'to', t.code, 'state', stood.state, 'waits_for', stood.waits_for,
           'wanted_on', r.wanted_on, 'note', r.note, 'bearer', r.bearer,
           'requested_at', instant_text(r.requested_at), 'requested_by', k.name,
           'withdrawn_at', instant_text(w.withdrawn_at), 'withdrawn_by', n.name, 'why', w.why,
           'cups', (SELECT json_agg(json_build_object(
                               'cup_type', u.code, 'condition', CASE WHEN l.damaged THEN 'damaged' ELSE 'sound' END,
                               'requested', l.requested, 'dispatched', l.sent, 'received', l.received, 'lost', l.lost,
                               'missing', l.missing,
                               'to_send', CASE WHEN w.number IS NULL THEN greatest(l.requested - l.sent, 0) ELSE 0 END)
                               ORDER BY u.code COLLATE "C", l.damaged)
                      FROM (SELECT cup_type, damaged, sum(cups) AS requested, sum(sent) AS sent, sum(received) AS received,
                                   sum(lost) AS lost, sum(missing) AS missing
                              FROM (SELECT q.cup_type, q.damaged, q.cups, 0 AS sent, 0 AS received, 0 AS lost, 0 AS missing
                                      FROM shipment_line q WHERE q.scheme = r.scheme AND q.number = r.number
                                    UNION ALL
                                    SELECT g.cup_type, g.damaged, 0, g.sent, g.received, g.lost, g.missing
                                      FROM shipment_sent g WHERE g.scheme = r.scheme AND g.number = r.number) AS counted
                             GROUP BY cup_type, damaged) AS l
                      JOIN cup_type u ON u.id = l.cup_type),
           'events', (SELECT coalesce(json_agg(json_build_object(
                                          'event_id', e.event::json ->> 'event_id', 'kind', (SELECT word FROM entry_kind WHERE kind = e.kind),
                                          'entry', e.entry, 'business_date', e.business_date,
                                          'occurred_at', instant_text(e.occurred_at), 'site', (SELECT code FROM site WHERE id = e.site),
                                          'cup_type', line ->> 'cup_type', 'condition', coalesce(line ->> 'condition', 'sound'),
                                          'quantity', (line ->> 'quantity')::bigint,
                                          'reversed_by', (SELECT v.event::json ->> 'event_id'
                                                            FROM entry_reference f JOIN entry v ON v.scheme = f.scheme AND v.entry = f.entry
                                                           WHERE f.scheme = e.scheme AND f.referred = e.entry AND f.kind = :kind_reversal))
                                          ORDER BY e.scheme <> d.scheme, e.entry, place), '[]')
                        FROM shipment_dispatch d
                       CROSS JOIN LATERAL (
                             SELECT d.scheme, d.dispatch AS entry
                             UNION ALL
                             SELECT f.scheme, f.entry FROM entry_reference f
                              WHERE f.scheme = d.scheme AND f.referred = d.dispatch AND f.kind <> :kind_reversal
                             UNION ALL
                             SELECT h.scheme, h.entry FROM host_dispatch h WHERE h.host = d.scheme AND h.dispatch = d.dispatch) AS o
                        JOIN entry e ON e.scheme = o.scheme AND e.entry = o.entry
                       CROSS JOIN LATERAL json_array_elements(e.event::json -> 'cups') WITH ORDINALITY AS lines(line, place)
                       WHERE d.scheme = r.scheme AND d.shipment = r.shipment
                         AND EXISTS (SELECT FROM transfer t WHERE t.scheme = d.scheme AND t.dispatch = d.dispatch
                                                              AND t.sender = r.sender AND t.receiver = r.receiver)
                         AND ($3::integer[] IS NULL OR e.site = ANY ($3)))))
  FROM shipment_request r
  JOIN scheme c ON c.id = r.scheme
  JOIN site s ON s.id = r.sender
  JOIN site t ON t.id = r.receiver
  JOIN api_key k ON k.id = r.requested_by
  LEFT JOIN shipment_withdrawal w ON w.scheme = r.scheme AND w.number = r.number
  LEFT JOIN api_key n ON n.id = w.withdrawn_by
 CROSS JOIN LATERAL (
       SELECT max(l.list) FILTER (WHERE l.list IN ('requested', 'in_transit', 'short', 'arrived', 'withdrawn')) AS state,
              json_agg(l.list ORDER BY l.list DESC) FILTER (WHERE l.list IN ('sender', 'receiver', 'accountant')) AS waits_for
         FROM shipment_listed l WHERE l.scheme = r.scheme AND l.number = r.number AND l.site = 0) AS stood
 WHERE r.shipment = $1::uuid AND ($2::integer IS NULL OR r.scheme = $2)
   AND ($3::integer[] IS NULL OR r.sender = ANY ($3) OR r.receiver = ANY ($3))
 ORDER BY c.code COLLATE "C"
