-- Trips of cups with identity, by cup type, as trips_of says what a trip is. $1 scheme, $2 first and $3 last business
-- day, $4 cup type (null: all). Of cups that were retired in the period, all trips count, from the first.
WITH trip AS MATERIALIZED (
    SELECT * FROM trips_of($1::integer, $2::date, $3::date, $4::integer)),
each AS (
    SELECT t.cup_type, t.cup, count(*) AS issues, count(hours) AS trips,
           (SELECT min(s.occurred_at) FROM sighting s WHERE s.cup = t.cup AND s.reversed_by IS NULL) AS first_seen
      FROM trip t GROUP BY 1, 2),
retired AS (
    SELECT account_cup_type(s.went_to) AS cup_type, s.cup
      FROM sighting s
     WHERE s.scheme = $1::integer AND s.business_date BETWEEN $2::date AND $3::date AND s.reversed_by IS NULL
       AND s.kind = :kind_retire AND ($4::integer IS NULL OR account_cup_type(s.went_to) = $4::integer)
     GROUP BY 1, 2),
lived AS (
    SELECT r.cup_type, count(DISTINCT r.cup) AS cups, count(*) FILTER (WHERE w.is_issue AND w.next_is_return) AS trips
      FROM retired r
      LEFT JOIN LATERAL (
           SELECT account_kind_of(s.went_to) = :account_with_customers AS is_issue,
                  lead(account_kind_of(s.went_to) <> :account_with_customers) OVER (ORDER BY s.place) AS next_is_return
             FROM seen s WHERE s.cup = r.cup AND s.kind IN (:kinds_counter)) w ON true
     GROUP BY 1),
by_type AS (
    SELECT e.cup_type, count(*) AS cups, sum(e.issues) AS issues, sum(e.trips) AS trips,
           avg(extract(epoch FROM least(d.ends_at, now()) - e.first_seen) / 86400) AS age
      FROM each e
      LEFT JOIN LATERAL (SELECT max(b.ends_at) AS ends_at FROM business_day b
                          WHERE b.scheme = $1::integer AND b.business_date <= $3::date) d ON true
     GROUP BY 1),
hours AS (
    SELECT cup_type, avg(hours) AS mean, percentile_cont(ARRAY[0.5, 0.9]) WITHIN GROUP (ORDER BY hours) AS at
      FROM trip WHERE hours IS NOT NULL GROUP BY 1)
SELECT t.code, b.cups, b.issues, b.trips, to_char(b.issues / b.cups, 'FM999999990.00'), to_char(b.trips / b.cups, 'FM999999990.00'),
       round(b.trips / nullif(b.issues, 0), 4), to_char(h.mean, 'FM999999990.0'), to_char(h.at[1], 'FM999999990.0'),
       to_char(h.at[2], 'FM999999990.0'), to_char(b.age, 'FM999999990.0'), l.cups,
       to_char(l.trips::numeric / nullif(l.cups, 0), 'FM999999990.00')
  FROM (SELECT cup_type FROM by_type UNION SELECT cup_type FROM lived) AS any_of
  JOIN cup_type t ON t.id = any_of.cup_type
  LEFT JOIN by_type b USING (cup_type)
  LEFT JOIN hours h USING (cup_type)
  LEFT JOIN lived l USING (cup_type)
 ORDER BY t.code COLLATE "C"
