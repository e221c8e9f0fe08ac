-- For each scheme the first sealed day whose particulars are not kept, the digest that they follow (null:
-- none), its seal, and a range of entries that holds those of the day, in bounds even if the rows are wrong;
-- and whether changes, lines of fees, and fee notes were kept when it was closed.
SELECT s.id, next.business_date, last.digest, next.seal, greatest(d.first_entry, 1), greatest(d.last_entry, 0),
       next.last_change IS NOT NULL,
       next.business_date > coalesce((SELECT through FROM older_fee_lines o WHERE o.scheme = s.id), '-infinity'),
       next.business_date > coalesce((SELECT through FROM older_fee_notes o WHERE o.scheme = s.id), '-infinity')
  FROM scheme s
  LEFT JOIN LATERAL (SELECT business_date, digest FROM particulars p WHERE p.scheme = s.id
                      ORDER BY business_date DESC LIMIT 1) last ON true
 CROSS JOIN LATERAL (SELECT business_date, seal, last_change FROM settlement t
                      WHERE t.scheme = s.id AND t.business_date > coalesce(last.business_date, '-infinity')
                      ORDER BY business_date LIMIT 1) next
  JOIN business_day d ON (d.scheme, d.business_date) = (s.id, next.business_date)
 ORDER BY s.id
