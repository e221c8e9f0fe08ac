-- Creates the days of scheme $1 (0: of all) that are missing: from its first terms, or its last day, through the one that
-- contains the instant $2; and says that its calendar has changed. Bounds are computed here, once, under the head row.
WITH of_scheme AS (
    SELECT s.id, s.cut_off, s.time_zone,
           coalesce((SELECT max(d.business_date) + 1 FROM business_day d WHERE d.scheme = s.id),
                    (SELECT min(t.effective_date) FROM terms t WHERE t.scheme = s.id)) AS first
      FROM scheme s WHERE $1::integer IN (0, s.id)),
added AS (
    INSERT INTO business_day (scheme, business_date, starts_at, ends_at)
    SELECT s.id, d.day::date, day_start(d.day::date, s.cut_off, s.time_zone),
           day_start(d.day::date + 1, s.cut_off, s.time_zone)
      FROM of_scheme s, generate_series(s.first, $2::timestamptz::date + 2, interval '1 day') AS d(day)
     WHERE day_start(d.day::date, s.cut_off, s.time_zone) <= $2::timestamptz
    RETURNING scheme)
UPDATE scheme_head SET calendar_version = calendar_version + 1 WHERE scheme IN (SELECT scheme FROM added)
