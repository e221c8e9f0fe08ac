-- The business day that contains now (the latest one where there is none, and the calendar's today before the first),
-- and the scheme's first. $1 scheme. Days follow each other without a gap: the last one that has begun is found from
-- the end.
SELECT coalesce(
    (SELECT business_date FROM business_day
      WHERE scheme = $1::integer AND starts_at <= now() ORDER BY business_date DESC LIMIT 1),
    max(business_date),
    current_date),
    coalesce(min(business_date), current_date)
  FROM business_day WHERE scheme = $1::integer
