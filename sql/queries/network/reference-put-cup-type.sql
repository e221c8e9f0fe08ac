-- Makes or changes cup types; a row where nothing changes stays as it is. Arrays, with an element for each: $1 code, $2
-- name, $3 volume_ml, $4 mass_g, $5 grai. Gives the places, from 0, of those that differ.
WITH given AS MATERIALIZED (
    SELECT g.*, held.id AS held,
           (SELECT coalesce(max(id), 0) FROM cup_type) + row_number() OVER (PARTITION BY held.id IS NULL ORDER BY g.place) AS next
      FROM unnest($1::text[], $2::text[], $3::bigint[], $4::bigint[], $5::text[]) WITH ORDINALITY
           AS g(code, name, volume_ml, mass_g, grai, place)
      LEFT JOIN cup_type held ON held.code = g.code),
put AS (
    INSERT INTO cup_type AS held (id, code, name, volume_ml, mass_g, grai)
    SELECT coalesce(held, next), code, name, volume_ml, mass_g, grai FROM given ORDER BY place
    ON CONFLICT (code) DO UPDATE
       SET name = excluded.name, volume_ml = excluded.volume_ml, mass_g = excluded.mass_g, grai = excluded.grai
     WHERE (held.name, held.volume_ml, held.mass_g, held.grai)
           IS DISTINCT FROM (excluded.name, excluded.volume_ml, excluded.mass_g, excluded.grai)
    RETURNING code)
SELECT given.place - 1 FROM put JOIN given ON given.code = put.code::text ORDER BY given.place
