-- A slice of the months of scheme $1, newest first, each as JSON, with its number (months since year 0): those before
-- number $2 (-1: from the newest), at most $3.
SELECT month_shown($1::integer, m.first), extract(year FROM m.first)::integer * 12 + extract(month FROM m.first)::integer
  FROM (SELECT month_of(min(d.business_date)) AS begins, max(d.business_date) AS ends FROM business_day d
         WHERE d.scheme = $1::integer) AS span
 CROSS JOIN LATERAL (
       SELECT g.first::date AS first
         FROM generate_series(month_of(least(span.ends, CASE WHEN $2::bigint > 0
                                                             THEN make_date((($2::bigint - 2) / 12)::integer,
                                                                            (($2::bigint - 2) % 12)::integer + 1, 1)
                                                             ELSE span.ends END))::timestamp,
                              span.begins::timestamp, interval '-1 month') AS g(first)
        LIMIT $3::integer) AS m
 ORDER BY m.first DESC
