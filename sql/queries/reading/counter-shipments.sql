-- The shipments that a site still has to send, and the dispatches that it still has to receive, as JSON: at most $2 of
-- each, the oldest first. $1 site. Cups that come home have the scheme that sent them, `host`.
WITH here AS (SELECT s.id AS site, s.scheme, c.time_zone FROM site s JOIN scheme c ON c.id = s.scheme WHERE s.id = $1::integer)
SELECT json_build_object(
    'to_send', (
        SELECT coalesce(json_agg(json_strip_nulls(json_build_object(
                   'shipment', r.shipment, 'to', t.code, 'to_name', t.name, 'wanted_on', r.wanted_on, 'note', r.note,
                   'lines', (SELECT json_agg(json_build_object(
                                        'cup_type', u.code, 'name', u.name, 'quantity', o.cups,
                                        'condition', CASE WHEN o.damaged THEN 'damaged' ELSE 'sound' END)
                                        ORDER BY u.volume_ml, u.code, o.damaged)
                               FROM (SELECT l.cup_type, l.damaged,
                                            l.cups - (SELECT coalesce(sum(g.sent), 0) FROM shipment_sent g
                                                       WHERE g.scheme = l.scheme AND g.number = l.number
                                                         AND g.cup_type = l.cup_type AND g.damaged = l.damaged) AS cups
                                       FROM shipment_line l WHERE l.scheme = r.scheme AND l.number = r.number) AS o
                               JOIN cup_type u ON u.id = o.cup_type
                              WHERE o.cups > 0))) ORDER BY n.number), '[]')
          FROM (SELECT l.scheme, l.number
                  FROM here JOIN shipment_listed l ON l.scheme = here.scheme AND l.site = here.site AND l.list = 'sender'
                  JOIN shipment_request q ON q.scheme = l.scheme AND q.number = l.number AND q.sender = here.site
                 ORDER BY l.number LIMIT $2::integer) AS n
          JOIN shipment_request r ON r.scheme = n.scheme AND r.number = n.number
          JOIN site t ON t.id = r.receiver),
    'to_receive', (
        SELECT coalesce(json_agg(json_strip_nulls(json_build_object(
                   'dispatch', sent.event_id, 'host', n.host, 'from', f.code, 'from_name', f.name,
                   'sent_on', (sent.occurred_at AT TIME ZONE n.time_zone)::date,
                   'lines', (SELECT json_agg(json_build_object(
                                        'cup_type', u.code, 'name', u.name, 'quantity', t.sent - t.received - t.lost,
                                        'condition', CASE WHEN t.damaged THEN 'damaged' ELSE 'sound' END)
                                        ORDER BY u.volume_ml, u.code, t.damaged)
                               FROM transfer t JOIN cup_type u ON u.id = t.cup_type
                              WHERE t.scheme = n.scheme AND t.dispatch = n.dispatch AND t.sent > t.received + t.lost)))
                   ORDER BY n.dispatch, n.scheme), '[]')
          FROM (SELECT DISTINCT t.scheme, t.dispatch, t.sender, here.time_zone,
                       CASE WHEN t.scheme <> here.scheme THEN (SELECT k.code FROM scheme k WHERE k.id = t.scheme) END AS host
                  FROM here JOIN transfer t ON t.receiver = here.site AND t.sent <> t.received + t.lost
                 WHERE t.sent > t.received + t.lost
                 ORDER BY t.dispatch, t.scheme LIMIT $2) AS n
          JOIN site f ON f.id = n.sender
         CROSS JOIN LATERAL (
               SELECT coalesce((SELECT h.event_id FROM shipment h WHERE h.scheme = n.scheme AND h.number = n.dispatch),
                               (e.event::json ->> 'event_id')::uuid) AS event_id, e.occurred_at
                 FROM entry e
                WHERE e.scheme = n.scheme
                  AND e.entry = CASE WHEN n.dispatch > 0 THEN n.dispatch
                                     ELSE (SELECT h.entry FROM shipment h WHERE h.scheme = n.scheme AND h.number = n.dispatch) END
                LIMIT 1) AS sent))
