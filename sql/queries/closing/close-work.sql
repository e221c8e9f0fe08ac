-- The work of the clock at $1: the schemes whose calendar does not reach beyond $2, and the first day of each scheme
-- that is to be closed or whose close was broken off; none while an opening waits for a second person. And how it
-- stands: since when that day, or the next to be closed, is due; how many days are not closed; when the last one was.
SELECT s.id, s.code,
       EXISTS (SELECT FROM terms t WHERE t.scheme = s.id)
           AND coalesce((SELECT d.ends_at FROM business_day d WHERE d.scheme = s.id
                          ORDER BY d.business_date DESC LIMIT 1) <= $2::timestamptz, true),
       CASE WHEN (next.state = 'closing' OR next.due_at <= $1::timestamptz)
             AND NOT EXISTS (SELECT FROM proposed_event p
                              WHERE p.scheme = s.id AND p.kind = :kind_opening AND p.status = 'open') THEN next.business_date END,
       instant_us(next.due_at),
       (SELECT count(*) FROM business_day d WHERE d.scheme = s.id AND d.state <> 'closed'),
       (SELECT instant_us(t.closed_at) FROM settlement t WHERE t.scheme = s.id ORDER BY t.business_date DESC LIMIT 1)
  FROM scheme s
  LEFT JOIN LATERAL (
       SELECT d.business_date, d.state, d.ends_at + make_interval(mins => s.close_after_minutes) AS due_at
         FROM business_day d WHERE d.scheme = s.id AND d.state <> 'closed' ORDER BY d.business_date LIMIT 1) next ON true
 ORDER BY s.id
