-- Keeps the cups of requests of scheme $1: shipments $2, cup types $3, whether they are damaged $4, how many $5.
INSERT INTO shipment_line (scheme, number, cup_type, damaged, cups)
SELECT r.scheme, r.number, l.cup_type, l.damaged, l.cups
  FROM unnest($2::uuid[], $3::integer[], $4::boolean[], $5::bigint[]) AS l(shipment, cup_type, damaged, cups)
  JOIN shipment_request r ON r.scheme = $1::integer AND r.shipment = l.shipment
