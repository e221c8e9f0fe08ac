-- The same of the days of the schemes $1 that are not closed and have entries after $2 of their scheme, in the order of
-- the schemes.
SELECT d.scheme, d.business_date, d.entries, d.events, d.late_events, d.first_entry, d.last_entry, d.frontier
  FROM unnest($1::integer[], $2::bigint[]) AS a(scheme, since)
  JOIN business_day d ON d.scheme = a.scheme AND d.state <> 'closed' AND d.last_entry > a.since
 ORDER BY d.scheme
