-- The counters and the Merkle frontiers of the days $2 of the schemes $1, in their order.
SELECT a.scheme, d.business_date, d.entries, d.events, d.late_events, d.first_entry, d.last_entry, d.frontier
  FROM unnest($1::integer[], $2::date[]) WITH ORDINALITY AS a(scheme, business_date, place)
 CROSS JOIN LATERAL (SELECT * FROM business_day d
                      WHERE d.scheme = a.scheme AND d.business_date = a.business_date LIMIT 1) d
 ORDER BY a.place
