-- The packing list of the requested shipments with id $1 as JSON: both sites, and the cups that were asked for and that
-- are still to be sent. $2 scheme (null: all), $3 the sites of the reader (null: all).
WITH line AS (
    SELECT r.scheme, r.number, l.cup_type, l.damaged, l.cups,
           CASE WHEN w.number IS NULL
                THEN greatest(l.cups - (SELECT coalesce(sum(g.sent), 0) FROM shipment_sent g
                                         WHERE g.scheme = l.scheme AND g.number = l.number
                                           AND g.cup_type = l.cup_type AND g.damaged = l.damaged), 0) ELSE 0 END AS to_send
      FROM shipment_request r
      JOIN shipment_line l ON l.scheme = r.scheme AND l.number = r.number
      LEFT JOIN shipment_withdrawal w ON w.scheme = r.scheme AND w.number = r.number
     WHERE r.shipment = $1::uuid)
SELECT json_strip_nulls(json_build_object(
           'shipment', r.shipment, 'scheme', c.code, 'wanted_on', r.wanted_on, 'note', r.note,
           'requested_at', instant_text(r.requested_at), 'requested_by', k.name,
           'sender', party.sender, 'receiver', party.receiver,
           'cups', (SELECT json_agg(json_build_object(
                               'cup_type', u.code, 'name', u.name, 'condition', CASE WHEN l.damaged THEN 'damaged' ELSE 'sound' END,
                               'requested', l.cups, 'to_send', l.to_send) ORDER BY u.volume_ml, u.code COLLATE "C", l.damaged)
                      FROM line l JOIN cup_type u ON u.id = l.cup_type
                     WHERE l.scheme = r.scheme AND l.number = r.number),
           'total', (SELECT sum(l.to_send) FROM line l WHERE l.scheme = r.scheme AND l.number = r.number)))
  FROM shipment_request r
  JOIN scheme c ON c.id = r.scheme
  JOIN api_key k ON k.id = r.requested_by
 CROSS JOIN LATERAL (
       SELECT max(json_build_object('site', s.code, 'name', s.name, 'participant_name', p.name,
                                    'latitude', s.latitude, 'longitude', s.longitude)::text)
                  FILTER (WHERE s.id = r.sender)::json AS sender,
              max(json_build_object('site', s.code, 'name', s.name, 'participant_name', p.name,
                                    'latitude', s.latitude, 'longitude', s.longitude)::text)
                  FILTER (WHERE s.id = r.receiver)::json AS receiver
         FROM site s JOIN participant p ON p.id = s.participant
        WHERE s.id IN (r.sender, r.receiver)) AS party
 WHERE r.shipment = $1 AND ($2::integer IS NULL OR r.scheme = $2)
   AND ($3::integer[] IS NULL OR r.sender = ANY ($3) OR r.receiver = ANY ($3))
 ORDER BY c.code COLLATE "C"
