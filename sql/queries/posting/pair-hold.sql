-- Holds the row of scheme $1 and its home $2 to the commit. False: another transaction holds it; nobody waits here.
-- Before the first cups there is no row, and only the holder of the head of scheme $1 makes it.
WITH held AS MATERIALIZED (
    SELECT home FROM following_place WHERE home = $2::integer AND host = $1::integer FOR NO KEY UPDATE SKIP LOCKED)
SELECT EXISTS (SELECT FROM held)
       OR NOT EXISTS (SELECT FROM following_place WHERE home = $2 AND host = $1)
