-- The shipments of the opening with entry $2 of scheme $1 were never sent.
UPDATE transfer t SET sent = 0
  FROM shipment s
 WHERE s.scheme = $1::integer AND s.entry = $2::bigint AND t.scheme = s.scheme AND t.dispatch = s.number
