-- A slice of a scheme's batches, each as JSON, with its number. $1 scheme, beyond number $2, at most $3.
SELECT jsonb_build_object('batch', b.code, 'scheme', s.code) || remaking_batch_state(b, w), b.number
  FROM remaking_batch b
  JOIN scheme s ON s.id = b.scheme
  LEFT JOIN remaking_batch_withdrawal w ON w.scheme = b.scheme AND w.number = b.number
 WHERE b.scheme = $1::integer AND b.number :beyond $2::bigint
 ORDER BY b.number :onward LIMIT $3::integer
