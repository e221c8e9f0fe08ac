-- Cup types as JSON, each with the key that slices go by. $1: {code} or {null} for all; $2: the key to begin after; $3:
-- the most rows; null: no such bound. Codes are read in order from an index, of which one code is a range; '~' is after
-- all of them.
SELECT json_strip_nulls(json_build_object(
           'cup_type', code, 'name', name, 'volume_ml', volume_ml, 'mass_g', mass_g, 'grai', grai)),
       code
  FROM cup_type
 WHERE code COLLATE "C" BETWEEN coalesce(($1::text[])[1], '') AND coalesce(($1::text[])[1], '~')
   AND code COLLATE "C" > coalesce($2::text, '')
 ORDER BY code COLLATE "C" LIMIT $3::bigint
