-- How many cups of each type $3 were retired at site $2 of scheme $1 and are in no batch, in the order of the types.
SELECT coalesce(r.retired - r.batched, 0)
  FROM unnest($3::integer[]) WITH ORDINALITY AS asked(cup_type, place)
  LEFT JOIN retired_cups($1::integer, $2::integer) AS r ON r.cup_type = asked.cup_type
 ORDER BY asked.place
