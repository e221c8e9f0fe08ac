-- Creates the days of the schemes $1 (null: of all) that are missing: from a scheme's first terms, or its last day,
-- through the one that contains the instant $2; and says that its calendar has changed. Bounds are computed here, once,
-- under the head row. The first of them starts where the last day ends, even if the zone's rules have changed since
-- that was made.
WITH of_scheme AS MATERIALIZED ( -- so that the first day is looked up once, not for each day
    SELECT s.id, s.cut_off, s.time_zone, l.ends_at AS last_ends_at,
           coalesce(l.business_date + 1,
                    (SELECT min(t.effective_date) FROM terms t WHERE t.scheme = s.id)) AS first
      FROM scheme s
      LEFT JOIN LATERAL (SELECT d.business_date, d.ends_at FROM business_day d WHERE d.scheme = s.id
                          ORDER BY d.business_date DESC LIMIT 1) l ON true
     WHERE $1::integer[] IS NULL OR s.id = ANY ($1::integer[])),
bounds AS MATERIALIZED (
    SELECT s.id, d.day::date AS business_date,
           CASE WHEN d.day::date = s.first THEN s.last_ends_at END AS last_ends_at,
           day_start(d.day::date, s.cut_off, s.time_zone) AS starts_at,
           day_start(d.day::date + 1, s.cut_off, s.time_zone) AS ends_at
      FROM of_scheme s, generate_series(s.first, $2::timestamptz::date + 2, interval '1 day') AS d(day)),
added AS (
    INSERT INTO business_day (scheme, business_date, starts_at, ends_at)
    SELECT id, business_date, coalesce(last_ends_at, starts_at), greatest(ends_at, last_ends_at)
      FROM bounds
     WHERE coalesce(last_ends_at, starts_at) <= $2::timestamptz
    RETURNING scheme)
UPDATE scheme_head SET calendar_version = calendar_version + 1 WHERE scheme IN (SELECT scheme FROM added)
