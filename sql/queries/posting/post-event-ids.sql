-- Takes the ids $2 of scheme $1 for ever.
INSERT INTO event_id (scheme, event_id, digest, entry)
SELECT $1::integer, e.event_id, e.digest, e.entry
  FROM unnest($2::uuid[], $3::bytea[], $4::bigint[]) AS e(event_id, digest, entry)
