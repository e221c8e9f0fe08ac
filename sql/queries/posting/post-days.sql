-- Brings the counters and the Merkle frontiers of days $2 of the schemes $1 up to date.
UPDATE business_day d
   SET entries = n.entries, events = n.events, late_events = n.late_events, first_entry = n.first_entry,
       last_entry = n.last_entry, frontier = n.frontier
  FROM unnest($1::integer[], $2::date[], $3::bigint[], $4::bigint[], $5::bigint[], $6::bigint[], $7::bigint[],
              $8::bytea[])
       AS n(scheme, business_date, entries, events, late_events, first_entry, last_entry, frontier)
 WHERE d.scheme = n.scheme AND d.business_date = n.business_date
