-- Takes the place of home $1 at host $2, and holds it to the commit.
SELECT entry FROM following_place WHERE home = $1::integer AND host = $2::integer FOR UPDATE
