-- How many cups with identity made how many trips, by cup type: of the cups that were issued on business days $2
-- through $3 of scheme $1, trips that began on these days. $4 cup type (null: all). trips_of says what a trip is.
WITH each AS (
    SELECT cup_type, cup, count(hours) AS trips
      FROM trips_of($1::integer, $2::date, $3::date, $4::integer) GROUP BY 1, 2)
SELECT t.code, e.trips, count(*), round(count(*) / sum(count(*)) OVER (PARTITION BY t.code), 4)
  FROM each e JOIN cup_type t ON t.id = e.cup_type
 GROUP BY t.code, e.trips
 ORDER BY t.code COLLATE "C", e.trips
