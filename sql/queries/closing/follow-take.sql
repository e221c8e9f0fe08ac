-- Takes the place of home $1 at host $2, and holds it to the commit. No row: another transaction holds it, and nobody
-- waits for it here, because the home's head is held meanwhile.
SELECT entry FROM following_place
 WHERE home = $1::integer AND host = $2::integer
   FOR NO KEY UPDATE SKIP LOCKED
