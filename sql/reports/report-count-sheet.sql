-- The cup types to count at each open site: those with a refund value today. The book says nothing here, so that
-- people count what they see. $1 scheme, $2 site (null: all), $3 the sites to show (null: all).
SELECT t.code, t.name, c.code, c.name, c.volume_ml
  FROM site t
 CROSS JOIN LATERAL (SELECT d.business_date FROM business_day d WHERE d.scheme = $1::integer AND d.starts_at <= now()
                      ORDER BY d.business_date DESC LIMIT 1) AS today
  JOIN cup_type c ON EXISTS (SELECT FROM refund_value v
                              WHERE v.scheme = $1::integer AND v.cup_type = c.id AND v.effective_date <= today.business_date)
 WHERE t.scheme = $1::integer AND ($2::integer IS NULL OR t.id = $2) AND ($3::integer[] IS NULL OR t.id = ANY ($3))
   AND t.opened_on <= today.business_date AND (t.closed_on IS NULL OR t.closed_on >= today.business_date)
 ORDER BY t.code COLLATE "C", c.code COLLATE "C"
