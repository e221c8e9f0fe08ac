-- Makes or changes a site; touches no row when nothing changes. $1: code, $2: the scheme's code, $3: the participant's,
-- $4: name, $5: kind, $6: opened_on, $7: closed_on, $8: latitude, $9: longitude, $10: gln; par stock: $11 cup types,
-- $12 their quantities; $13: count_days.
MERGE INTO site AS held
USING (SELECT (SELECT coalesce(max(id), 0) + 1 FROM site) AS id, $1::text AS code, s.id AS scheme, p.id AS participant, $4::text AS name, $5::text AS kind,
              $6::date AS opened_on, $7::date AS closed_on, $8::double precision AS latitude,
              $9::double precision AS longitude, $10::text AS gln,
              (SELECT jsonb_agg(jsonb_build_object('cup_type', u.cup_type, 'quantity', u.quantity) ORDER BY u.position)
                 FROM unnest($11::text[], $12::bigint[]) WITH ORDINALITY AS u(cup_type, quantity, position)) AS par_stock,
              $13::integer AS count_days
         FROM scheme s, participant p WHERE s.code = $2::text AND p.code = $3::text) AS given
   ON held.code = given.code
 WHEN MATCHED AND (held.scheme, held.participant, held.name, held.kind, held.opened_on, held.closed_on, held.latitude,
                   held.longitude, held.gln, held.par_stock, held.count_days)
      IS DISTINCT FROM (given.scheme, given.participant, given.name, given.kind, given.opened_on, given.closed_on,
                        given.latitude, given.longitude, given.gln, given.par_stock, given.count_days) THEN
      UPDATE SET scheme = given.scheme, participant = given.participant, name = given.name, kind = given.kind,
                 opened_on = given.opened_on, closed_on = given.closed_on, latitude = given.latitude,
                 longitude = given.longitude, gln = given.gln, par_stock = given.par_stock, count_days = given.count_days
 WHEN NOT MATCHED THEN
      INSERT (id, code, scheme, participant, name, kind, opened_on, closed_on, latitude, longitude, gln, par_stock,
              count_days)
      VALUES (given.id, given.code, given.scheme, given.participant, given.name, given.kind, given.opened_on, given.closed_on,
              given.latitude, given.longitude, given.gln, given.par_stock, given.count_days)
