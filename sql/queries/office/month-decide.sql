-- Closes the months of scheme $1 through the one that begins on $2, if $3, or else reopens those from it on; by
-- approval of proposal $4, at $5, by key $6. Months that stand so already stay as they are.
INSERT INTO month_decision (scheme, month, position, closed, proposal, decided_at, decided_by)
SELECT $1::integer, m.month, coalesce(l.position, 0) + 1, $3::boolean, $4::bigint, $5::timestamptz, $6::integer
  FROM (SELECT DISTINCT month_of(d.business_date) AS month FROM business_day d WHERE d.scheme = $1::integer) AS m
  LEFT JOIN LATERAL (SELECT p.position, p.closed FROM month_decision p
                      WHERE p.scheme = $1::integer AND p.month = m.month ORDER BY p.position DESC LIMIT 1) AS l ON true
 WHERE coalesce(l.closed, false) <> $3::boolean
   AND CASE WHEN $3::boolean THEN m.month <= $2::date ELSE m.month >= $2::date END
 ORDER BY m.month
