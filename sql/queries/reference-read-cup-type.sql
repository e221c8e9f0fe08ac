-- Cup types as JSON, each with the key that pages go by. $1: {code} or {null} for all; $2: the key to begin after; $3: the
-- most rows; null: no such bound.
SELECT json_strip_nulls(json_build_object(
           'cup_type', code, 'name', name, 'volume_ml', volume_ml, 'mass_g', mass_g, 'grai', grai)),
       code
  FROM cup_type
 WHERE (($1::text[])[1] IS NULL OR code = ($1::text[])[1])
   AND code COLLATE "C" > coalesce($2::text, '')
 ORDER BY code COLLATE "C" LIMIT $3::bigint
