-- Brings the counters and the Merkle frontier of day $2 of scheme $1 up to date.
UPDATE business_day
   SET entries = $3::bigint, events = $4::bigint, late_events = $5::bigint, first_entry = $6::bigint,
       last_entry = $7::bigint, frontier = $8::bytea
 WHERE scheme = $1::integer AND business_date = $2::date
