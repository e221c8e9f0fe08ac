-- The facts that a new value from a business day on depends on. $1: the scheme's code; $2: the cup type's, null for
-- terms; $3: the day. Exactly one row: whether scheme and cup type are known; the scheme's decimals; whether anything
-- is posted; whether anything is posted or closed; whether the day begins more than 5 minutes from now; whether the
-- value is the cup type's first and the day not yet closing; whether the day is more than 10000 days ago; whether it
-- lies before the first day made. An opening that is proposed counts as posted.
SELECT s.id IS NOT NULL,
       c.id IS NOT NULL,
       s.decimals,
       coalesce(h.last_entry > 0 OR opening.waits, false),
       coalesce(h.last_entry > 0 OR opening.waits
                OR EXISTS (SELECT FROM business_day d WHERE d.scheme = s.id AND d.state <> 'open'), false),
       coalesce(day_start($3::date, s.cut_off, s.time_zone) > clock_timestamp() + interval '5 minutes', false),
       NOT EXISTS (SELECT FROM refund_value v WHERE v.scheme = s.id AND v.cup_type = c.id AND v.effective_date <= $3::date)
           AND NOT EXISTS (SELECT FROM business_day d
                            WHERE d.scheme = s.id AND d.business_date >= $3::date AND d.state <> 'open'),
       $3::date < current_date - 10000,
       coalesce($3::date < (SELECT min(business_date) FROM business_day d WHERE d.scheme = s.id), false)
  FROM (SELECT $1::text AS scheme, $2::text AS cup_type) AS given
  LEFT JOIN scheme s ON s.code = given.scheme
  LEFT JOIN scheme_head h ON h.scheme = s.id
  LEFT JOIN cup_type c ON c.code = given.cup_type
 CROSS JOIN LATERAL (SELECT EXISTS (SELECT FROM proposed_event p WHERE p.scheme = s.id AND p.kind = :kind_opening AND p.status = 'open') AS waits) AS opening
