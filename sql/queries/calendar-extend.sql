-- Creates the days of scheme $1 that are missing: from its first terms, or its last day, through the one that contains
-- the instant $2. Bounds are computed here, once. A day starts where the one before it ended.
WITH scheme AS (
    SELECT id, cut_off, time_zone,
           coalesce((SELECT max(business_date) + 1 FROM business_day WHERE scheme = $1::integer),
                    (SELECT min(effective_date) FROM terms WHERE scheme = $1::integer)) AS first
      FROM scheme WHERE id = $1::integer)
INSERT INTO business_day (scheme, business_date, starts_at, ends_at)
SELECT s.id, d.day::date, day_start(d.day::date, s.cut_off, s.time_zone),
       day_start(d.day::date + 1, s.cut_off, s.time_zone)
  FROM scheme s, generate_series(s.first, $2::timestamptz::date + 2, interval '1 day') AS d(day)
 WHERE day_start(d.day::date, s.cut_off, s.time_zone) <= $2::timestamptz
