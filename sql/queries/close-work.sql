-- What the clock has to do at $1: the schemes whose calendar does not reach beyond $2, and the first day of each scheme that is to
-- be closed or whose close was broken off.
SELECT s.id, s.code,
       EXISTS (SELECT FROM terms t WHERE t.scheme = s.id)
           AND coalesce((SELECT d.ends_at FROM business_day d WHERE d.scheme = s.id
                          ORDER BY d.business_date DESC LIMIT 1) <= $2::timestamptz, true),
       (SELECT CASE WHEN d.state = 'closing'
                      OR d.ends_at + make_interval(mins => s.close_after_minutes) <= $1::timestamptz
                    THEN d.business_date END
          FROM business_day d WHERE d.scheme = s.id AND d.state <> 'closed' ORDER BY d.business_date LIMIT 1)
  FROM scheme s ORDER BY s.id
