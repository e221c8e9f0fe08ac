-- Batch $2 of scheme $1 as JSON, with the new cups that were supplied for it.
SELECT jsonb_build_object('batch', b.code, 'scheme', s.code) || remaking_batch_state(b, w)
       || coalesce((SELECT jsonb_build_object('remade', jsonb_agg(jsonb_build_object('cup_type', c.code, 'quantity', r.cups)
                                                                  ORDER BY c.code COLLATE "C"))
                      FROM remade_cups(b.scheme, b.code) AS r JOIN cup_type c ON c.id = r.cup_type HAVING count(*) > 0), '{}')
  FROM remaking_batch b
  JOIN scheme s ON s.id = b.scheme
  LEFT JOIN remaking_batch_withdrawal w ON w.scheme = b.scheme AND w.number = b.number
 WHERE b.scheme = $1::integer AND b.code = $2::text
