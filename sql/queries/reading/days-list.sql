-- A slice of a scheme's business days, each as JSON, with its number. $1 scheme, beyond day $2 (days since 1970), at
-- most $3; $4 only days that miss something: close, a day that should be closed and is not; statement, a day of the
-- bank (Monday to Friday, no holiday) that is over, after the closing balance of the last statement that was read.
-- Two of the three parts read nothing.
WITH slice AS (
    (SELECT d.business_date FROM business_day d
      WHERE $4::text IS NULL AND d.scheme = $1::integer AND d.business_date :beyond date '1970-01-01' + least($2::bigint, 1000000)::integer
      ORDER BY d.business_date :onward LIMIT $3::integer)
    UNION ALL
    (SELECT d.business_date FROM business_day d JOIN scheme s ON s.id = $1::integer
      WHERE $4::text = 'close' AND d.scheme = $1::integer AND d.state <> 'closed'
        AND d.ends_at + make_interval(mins => s.close_after_minutes) <= now()
        AND d.business_date :beyond date '1970-01-01' + least($2::bigint, 1000000)::integer
      ORDER BY d.business_date :onward LIMIT $3::integer)
    UNION ALL
    (SELECT d.business_date
       FROM scheme s
      CROSS JOIN LATERAL (
            SELECT t.last_day AS day FROM bank_statement t
             WHERE t.scheme = $1::integer AND t.closing IS NOT NULL ORDER BY t.last_day DESC LIMIT 1) AS told
       JOIN business_day d ON d.scheme = $1::integer AND d.business_date > told.day
                          AND d.business_date :beyond date '1970-01-01' + least($2::bigint, 1000000)::integer
      WHERE $4::text = 'statement' AND s.id = $1::integer AND d.business_date < (now() AT TIME ZONE s.time_zone)::date
        AND extract(isodow FROM d.business_date) < 6 AND d.business_date <> ALL (s.holidays)
      ORDER BY d.business_date :onward LIMIT $3::integer))
SELECT json_strip_nulls(json_build_object(
           'date', business_date, 'state', state, 'starts_at', instant_text(starts_at), 'ends_at', instant_text(ends_at),
           'entries', entries, 'events', events, 'late_events', late_events)),
       business_date - date '1970-01-01'
  FROM slice JOIN business_day d USING (business_date)
 WHERE d.scheme = $1::integer
 ORDER BY business_date :onward
