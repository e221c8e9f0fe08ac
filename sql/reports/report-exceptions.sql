-- Facts that a person should look at, and who did, in entry order. $1 scheme, $2 first and $3 last business day, $4 site (null: all), $5 1
-- for open ones, 2 for resolved ones (null: all).
SELECT format('%s.%s.%s', scheme.code, x.entry, x.position), x.business_date, x.entry,
       (SELECT e.event::json ->> 'event_id' FROM entry e WHERE e.scheme = x.scheme AND e.entry = x.entry),
       x.kind, s.code, c.code, x.quantity, amount_text(x.amount, decimals),
       CASE WHEN z.entry IS NULL THEN 'open' ELSE 'resolved' END, instant_text(z.resolved_at), k.name, z.by_entry, z.note
  FROM exception x
  JOIN scheme ON scheme.id = x.scheme
  LEFT JOIN site s ON s.id = x.site
  LEFT JOIN cup_type c ON c.id = x.cup_type
  LEFT JOIN exception_resolution z ON (z.scheme, z.entry, z.position) = (x.scheme, x.entry, x.position)
  LEFT JOIN api_key k ON k.id = z.resolved_by
 WHERE x.scheme = $1::integer AND x.business_date BETWEEN $2::date AND $3::date
   AND x.entry BETWEEN (SELECT min(first_entry) FROM business_day WHERE scheme = $1::integer AND business_date BETWEEN $2 AND $3)
                   AND (SELECT max(last_entry) FROM business_day WHERE scheme = $1::integer AND business_date BETWEEN $2 AND $3)
   AND ($4::integer IS NULL OR x.site = $4)
   AND ($5::integer IS NULL OR (z.entry IS NULL) = ($5 = 1))
 ORDER BY x.entry, x.position
