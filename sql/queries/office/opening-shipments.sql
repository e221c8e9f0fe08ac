-- Takes the shipments of the opening with entry $2 of scheme $1 up as transfers: their ids, for ever, and what they
-- sent. Shipments are numbered downwards from -1, where other transfers have the entry of their dispatch.
WITH opening AS (
    SELECT e.scheme, e.entry, e.business_date, e.event::json -> 'shipments' AS shipments, i.digest
      FROM entry e JOIN event_id i ON i.scheme = e.scheme AND i.event_id = (e.event::json ->> 'event_id')::uuid
     WHERE e.scheme = $1::integer AND e.entry = $2::bigint),
stated AS (
    SELECT o.scheme, o.entry, o.business_date, o.digest,
           coalesce((SELECT min(s.number) FROM shipment s WHERE s.scheme = o.scheme), 0) - s.place AS number,
           (s.stated ->> 'dispatch')::uuid AS event_id, sender.id AS sender, receiver.id AS receiver, s.stated -> 'cups' AS cups
      FROM opening o
     CROSS JOIN LATERAL json_array_elements(o.shipments) WITH ORDINALITY AS s(stated, place)
      JOIN site sender ON sender.code = s.stated ->> 'site'
      JOIN site receiver ON receiver.code = s.stated ->> 'to'),
named AS (
    INSERT INTO event_id (scheme, event_id, digest, entry) SELECT scheme, event_id, digest, entry FROM stated),
numbered AS (
    INSERT INTO shipment (scheme, number, event_id, entry) SELECT scheme, number, event_id, entry FROM stated)
INSERT INTO transfer (scheme, dispatch, cup_type, damaged, business_date, sender, receiver, sent)
SELECT s.scheme, s.number, c.id, line ->> 'condition' IS NOT NULL, s.business_date, s.sender, s.receiver, (line ->> 'quantity')::bigint
  FROM stated s CROSS JOIN LATERAL json_array_elements(s.cups) AS line JOIN cup_type c ON c.code = line ->> 'cup_type'
