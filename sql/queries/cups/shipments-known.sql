-- Which of the shipments $2 scheme $1 has: each with its place in $2, and its digest.
SELECT w.place, r.digest
  FROM unnest($2::uuid[]) WITH ORDINALITY AS w(shipment, place)
  JOIN shipment_request r ON r.scheme = $1::integer AND r.shipment = w.shipment
 ORDER BY w.place
