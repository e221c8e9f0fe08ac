-- A slice of a scheme's batches, each as JSON, with its number. $1 scheme, beyond number $2, at most $3.
SELECT json_strip_nulls(json_build_object(
           'batch', b.code, 'scheme', s.code, 'site', t.code, 'sent_on', b.sent_on, 'remaker', b.remaker,
           'weight_g', b.weight_g, 'cups', remaking_batch_lines(b.scheme, b.number),
           'recorded_at', instant_text(b.recorded_at), 'recorded_by', k.name,
           'withdrawn', CASE WHEN w.number IS NOT NULL THEN json_build_object(
               'at', instant_text(w.withdrawn_at), 'by', x.name, 'reason', w.reason) END)),
       b.number
  FROM remaking_batch b
  JOIN scheme s ON s.id = b.scheme
  JOIN site t ON t.id = b.site
  LEFT JOIN api_key k ON k.id = b.recorded_by
  LEFT JOIN remaking_batch_withdrawal w ON w.scheme = b.scheme AND w.number = b.number
  LEFT JOIN api_key x ON x.id = w.withdrawn_by
 WHERE b.scheme = $1::integer AND b.number :beyond $2::bigint
 ORDER BY b.number :onward LIMIT $3::integer
