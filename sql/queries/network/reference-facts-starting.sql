-- The facts that a value from day $3 on depends on, for participant $1, or (null) for site $2. Exactly one row: whether
-- it is known; whether the day has begun, or begins within 5 minutes, in a scheme of its sites with entries or days
-- that are closed or close.
SELECT CASE WHEN $1::text IS NOT NULL THEN EXISTS (SELECT FROM participant WHERE code = $1)
            ELSE EXISTS (SELECT FROM site WHERE code = $2::text) END,
       EXISTS (SELECT FROM scheme c JOIN scheme_head h ON h.scheme = c.id
                WHERE c.id IN (SELECT s.scheme FROM site s LEFT JOIN participant p ON p.id = s.participant
                                WHERE CASE WHEN $1::text IS NOT NULL THEN p.code = $1 ELSE s.code = $2::text END)
                  AND (h.last_entry > 0 OR EXISTS (SELECT FROM business_day d WHERE d.scheme = c.id AND d.state <> 'open'))
                  AND day_start($3::date, c.cut_off, c.time_zone) <= clock_timestamp() + interval '5 minutes')
