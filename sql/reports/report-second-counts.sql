-- The counts that wait for a second one, the oldest first. $1 scheme.
SELECT n.business_date, t.code, c.code, n.entry, e.event::json ->> 'event_id', n.quantity,
       amount_text(abs(n.quantity)::numeric * (SELECT v.amount FROM refund_value v
                               WHERE v.scheme = $1::integer AND v.cup_type = n.cup_type AND v.effective_date <= n.business_date
                               ORDER BY v.effective_date DESC LIMIT 1), s.decimals),
       today.business_date - n.business_date, format('%s.%s.%s', s.code, n.entry, n.position)
  FROM second_counts($1::integer) AS n
  JOIN scheme s ON s.id = $1::integer
  JOIN site t ON t.id = n.site
  JOIN cup_type c ON c.id = n.cup_type
  JOIN entry e ON e.scheme = $1::integer AND e.entry = n.entry
 CROSS JOIN LATERAL (SELECT d.business_date FROM business_day d WHERE d.scheme = $1::integer AND d.starts_at <= now()
                      ORDER BY d.business_date DESC LIMIT 1) AS today
 ORDER BY n.entry, n.position
