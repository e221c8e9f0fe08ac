-- The requests with id $1: scheme, number, whether something is still to be sent, whether it is withdrawn, and by which
-- key and why, and the scheme of the receiver. $2 scheme (null: all).
SELECT s.scheme, s.number, s.to_send, s.withdrawn, w.withdrawn_by, w.why, (SELECT scheme FROM site WHERE id = r.receiver)
  FROM shipment_request r
  JOIN shipment_standing s ON s.scheme = r.scheme AND s.number = r.number
  LEFT JOIN shipment_withdrawal w ON w.scheme = r.scheme AND w.number = r.number
 WHERE r.shipment = $1::uuid AND ($2::integer IS NULL OR r.scheme = $2)
 ORDER BY r.scheme
