-- The business days of the schemes $1, in the order of the schemes: the open and closing days, and $2 days before the
-- first of them. $2 is null: all days.
SELECT a.scheme, d.business_date, instant_us(d.starts_at), instant_us(d.ends_at), d.state
  FROM unnest($1::integer[]) WITH ORDINALITY AS a(scheme, place)
  LEFT JOIN LATERAL (SELECT o.business_date - $2::integer AS begins FROM business_day o
                      WHERE o.scheme = a.scheme AND o.state <> 'closed' ORDER BY o.business_date LIMIT 1) open ON true
 CROSS JOIN LATERAL (SELECT * FROM business_day d
                      WHERE d.scheme = a.scheme AND d.business_date >= coalesce(open.begins, '-infinity')
                      ORDER BY d.business_date) d
 ORDER BY a.place, d.business_date
