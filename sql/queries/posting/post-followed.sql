-- Notes which entry of a host ($3, $4) the entries $2 of the schemes $1 follow.
INSERT INTO followed_entry (scheme, entry, host, host_entry, event_id, hash)
SELECT f.scheme, f.entry, f.host, f.host_entry, f.event_id, f.hash
  FROM unnest($1::integer[], $2::bigint[], $3::integer[], $4::bigint[], $5::uuid[], $6::bytea[])
       AS f(scheme, entry, host, host_entry, event_id, hash)
