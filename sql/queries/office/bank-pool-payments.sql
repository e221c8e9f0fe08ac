-- The payments of other pools to host $1 among the ids $2, by id: the home, the status, the agreed amount, whether
-- that is in the host's currency, that currency, what the host has in its books for the same returns, and how much of
-- both lines of its bank have paid.
SELECT p.payment_id, p.scheme, p.status, p.agreed, h.currency = k.currency OR p.in_host_currency, c.currency, p.host_booked,
       paid.agreed, paid.booked
  FROM pool_payment p
  JOIN scheme h ON h.id = p.scheme
  JOIN scheme k ON k.id = p.host
  JOIN scheme c ON c.id = CASE WHEN p.in_host_currency THEN p.host ELSE p.scheme END
 CROSS JOIN LATERAL (SELECT coalesce(sum(b.agreed), 0)::bigint AS agreed, coalesce(sum(b.booked), 0)::bigint AS booked
                       FROM between_booked b WHERE b.payment_id = p.payment_id AND b.home = p.scheme AND b.scheme = p.host) AS paid
 WHERE p.host = $1::integer AND p.payment_id = ANY ($2::text[])
 ORDER BY p.payment_id COLLATE "C"
