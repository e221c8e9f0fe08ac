-- The counters and the Merkle frontier of day $2 of scheme $1.
SELECT business_date, entries, events, late_events, first_entry, last_entry, frontier
  FROM business_day WHERE scheme = $1::integer AND business_date = $2::date
