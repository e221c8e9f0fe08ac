-- The instant at which a clock in scheme $1 shows $2, or $3 if $2 is NULL; and the time that the clock shows then.
SELECT instant_us(instant), to_char(instant AT TIME ZONE time_zone, 'YYYY-MM-DD"T"HH24:MI:SS')
  FROM scheme, LATERAL (SELECT coalesce($2::timestamp AT TIME ZONE time_zone, $3::timestamptz) AS instant) AS asked
 WHERE id = $1::integer
