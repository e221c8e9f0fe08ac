-- The business day that contains now; the latest one where there is none, and the calendar's today before the first.
-- $1 scheme.
SELECT coalesce(
    (SELECT business_date FROM business_day
      WHERE scheme = $1::integer AND starts_at <= now() AND now() < ends_at ORDER BY business_date DESC LIMIT 1),
    (SELECT max(business_date) FROM business_day WHERE scheme = $1::integer),
    current_date)
