-- The counters and the Merkle frontiers of the days of scheme $1: of day $2, or, where that is null, of those that are not closed
-- and have entries after $3.
SELECT business_date, entries, events, late_events, first_entry, last_entry, frontier
  FROM business_day
 WHERE scheme = $1::integer AND (business_date = $2::date OR $2 IS NULL AND state <> 'closed' AND last_entry > $3::bigint)
