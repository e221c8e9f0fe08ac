-- Holds what goes from one of the schemes $1 and $2 to the other. Always in the same order: nobody waits in a circle.
SELECT FROM following_place
 WHERE home IN ($1::integer, $2::integer) AND host IN ($1, $2)
 ORDER BY home, host
   FOR NO KEY UPDATE
