-- Moves the place of home $1 at host $2 to entry $3 of the host.
UPDATE following_place SET entry = $3::bigint WHERE home = $1::integer AND host = $2::integer
