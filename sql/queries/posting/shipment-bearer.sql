-- The bearer of cups that are lost from dispatch $2 of scheme $1, as agreed for its shipment. No row: none was agreed,
-- or the dispatch names the shipment of other sites, whose agreement does not bind its own.
SELECT r.bearer
  FROM shipment_dispatch d
  JOIN shipment_request r ON r.scheme = d.scheme AND r.shipment = d.shipment
 WHERE d.scheme = $1::integer AND d.dispatch = $2::bigint AND r.bearer IS NOT NULL
   AND EXISTS (SELECT FROM transfer t WHERE t.scheme = d.scheme AND t.dispatch = d.dispatch
                                        AND t.sender = r.sender AND t.receiver = r.receiver)
