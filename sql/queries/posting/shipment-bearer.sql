-- The bearer of cups that are lost from dispatch $2 of scheme $1, as agreed for its shipment. No row: none was agreed.
SELECT r.bearer
  FROM shipment_dispatch d
  JOIN shipment_request r ON r.scheme = d.scheme AND r.shipment = d.shipment
 WHERE d.scheme = $1::integer AND d.dispatch = $2::bigint AND r.bearer IS NOT NULL
