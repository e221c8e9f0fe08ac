-- Makes or changes a cup type; touches no row when nothing changes. $1: code, $2: name, $3: volume_ml, $4: mass_g, $5:
-- grai.
MERGE INTO cup_type AS held
USING (SELECT (SELECT coalesce(max(id), 0) + 1 FROM cup_type) AS id, $1::text AS code, $2::text AS name, $3::integer AS volume_ml, $4::integer AS mass_g, $5::text AS grai) AS given
   ON held.code = given.code
 WHEN MATCHED AND (held.name, held.volume_ml, held.mass_g, held.grai)
      IS DISTINCT FROM (given.name, given.volume_ml, given.mass_g, given.grai) THEN
      UPDATE SET name = given.name, volume_ml = given.volume_ml, mass_g = given.mass_g, grai = given.grai
 WHEN NOT MATCHED THEN
      INSERT (id, code, name, volume_ml, mass_g, grai)
      VALUES (given.id, given.code, given.name, given.volume_ml, given.mass_g, given.grai)
