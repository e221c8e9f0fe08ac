-- Takes the ids $2 of the schemes $1 for ever.
INSERT INTO event_id (scheme, event_id, digest, entry)
SELECT e.scheme, e.event_id, e.digest, e.entry
  FROM unnest($1::integer[], $2::uuid[], $3::bytea[], $4::bigint[]) AS e(scheme, event_id, digest, entry)
