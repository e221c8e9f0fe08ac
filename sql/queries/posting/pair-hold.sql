-- Holds what goes from scheme $1 to its home $2, to the commit. False: another transaction holds it; nobody waits here. Before the first cups there is nothing to hold, and only the holder of scheme $1's head makes it.
WITH held AS MATERIALIZED (
    SELECT home FROM following_place WHERE home = $2::integer AND host = $1::integer FOR NO KEY UPDATE SKIP LOCKED)
SELECT EXISTS (SELECT FROM held)
       OR NOT EXISTS (SELECT FROM following_place WHERE home = $2 AND host = $1)
