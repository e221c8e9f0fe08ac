-- Keeps requests for shipments of scheme $1, in their order: ids $2, digests $3, senders $4, receivers $5, days $6,
-- notes $7, bearers $8; asked for at $9 by key $10. The caller holds the head of the scheme, so numbers have no gaps.
INSERT INTO shipment_request (scheme, number, shipment, digest, sender, receiver, wanted_on, note, bearer, requested_at, requested_by)
SELECT $1::integer, coalesce((SELECT max(number) FROM shipment_request WHERE scheme = $1), 0) + s.place, s.shipment, s.digest,
       s.sender, s.receiver, s.wanted_on, s.note, s.bearer, $9::timestamptz, $10::integer
  FROM unnest($2::uuid[], $3::bytea[], $4::integer[], $5::integer[], $6::date[], $7::text[], $8::text[])
       WITH ORDINALITY AS s(shipment, digest, sender, receiver, wanted_on, note, bearer, place)
