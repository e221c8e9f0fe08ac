-- A slice of the events that were proposed in a scheme, each as JSON, with its number. $1 scheme, beyond number $2, at
-- most $3, with status $4: journals if $5, else openings and their reversals; $6: only those that the holder of key $7
-- has proposed, or only others' (null: all).
SELECT json_strip_nulls(json_build_object(
           'event_id', p.event_id, 'scheme', s.code, 'status', p.status, 'proposed_at', instant_text(p.proposed_at),
           'proposed_by', k.name, 'decided_at', instant_text(p.decided_at), 'decided_by', d.name, 'note', p.note, 'entry', p.entry,
           'event', p.event::json)),
       p.number
  FROM proposed_event p
  JOIN scheme s ON s.id = p.scheme
  LEFT JOIN api_key k ON k.id = p.proposed_by
  LEFT JOIN api_key d ON d.id = p.decided_by
 WHERE p.scheme = $1::integer AND p.number :beyond $2::bigint AND p.status = $4::text AND (p.kind = :kind_journal) = $5::boolean
   AND ($6::boolean IS NULL OR (k.holder = (SELECT holder FROM api_key WHERE id = $7::integer)) = $6)
 ORDER BY p.number :onward LIMIT $3::integer
