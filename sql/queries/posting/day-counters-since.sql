-- The same of the days of scheme $1 that are not closed and have entries after $2.
SELECT business_date, entries, events, late_events, first_entry, last_entry, frontier
  FROM business_day WHERE scheme = $1::integer AND state <> 'closed' AND last_entry > $2::bigint
