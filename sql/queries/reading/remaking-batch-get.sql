-- Batch $2 of scheme $1 as JSON, with the new cups that were supplied for it.
SELECT json_strip_nulls(json_build_object(
           'batch', b.code, 'scheme', s.code, 'site', t.code, 'sent_on', b.sent_on, 'remaker', b.remaker,
           'weight_g', b.weight_g, 'cups', remaking_batch_lines(b.scheme, b.number),
           'remade', (SELECT json_agg(json_build_object('cup_type', c.code, 'quantity', r.cups) ORDER BY c.code COLLATE "C")
                        FROM remade_cups(b.scheme, b.code) AS r JOIN cup_type c ON c.id = r.cup_type),
           'recorded_at', instant_text(b.recorded_at), 'recorded_by', k.name,
           'withdrawn', CASE WHEN w.number IS NOT NULL THEN json_build_object(
               'at', instant_text(w.withdrawn_at), 'by', x.name, 'reason', w.reason) END))
  FROM remaking_batch b
  JOIN scheme s ON s.id = b.scheme
  JOIN site t ON t.id = b.site
  LEFT JOIN api_key k ON k.id = b.recorded_by
  LEFT JOIN remaking_batch_withdrawal w ON w.scheme = b.scheme AND w.number = b.number
  LEFT JOIN api_key x ON x.id = w.withdrawn_by
 WHERE b.scheme = $1::integer AND b.code = $2::text
