-- Makes or changes sites; a row where nothing changes stays as it is. Arrays, with an element for each: $1 code, $2 the
-- scheme's code, $3 the participant's, $4 name, $5 kind, $6 opened_on, $7 whether closed_on is given, and $8 the day,
-- $9 latitude, $10 longitude, $11 gln, $12 whether count_days is given, and $13 the days. Par stock, of all: $14 the
-- place of the site, from 1, $15 the cup type, and $16 the quantity. Gives the places, from 0, of those that differ.
WITH stock AS MATERIALIZED (
    SELECT u.place, jsonb_agg(jsonb_build_object('cup_type', u.cup_type, 'quantity', u.quantity) ORDER BY u.position) AS par_stock
      FROM unnest($14::bigint[], $15::text[], $16::bigint[]) WITH ORDINALITY AS u(place, cup_type, quantity, position)
     GROUP BY u.place),
given AS MATERIALIZED (
    SELECT g.place, g.code, s.id AS scheme, p.id AS participant, g.name, g.kind, g.opened_on,
           CASE WHEN g.has_closed_on THEN g.closed_on END AS closed_on, g.latitude::double precision AS latitude,
           g.longitude::double precision AS longitude, g.gln, t.par_stock,
           CASE WHEN g.has_count_days THEN g.count_days END AS count_days, held.id AS held,
           (SELECT coalesce(max(id), 0) FROM site) + row_number() OVER (PARTITION BY held.id IS NULL ORDER BY g.place) AS next
      FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::text[], $6::date[], $7::boolean[], $8::date[],
                  $9::text[], $10::text[], $11::text[], $12::boolean[], $13::bigint[]) WITH ORDINALITY
           AS g(code, scheme, participant, name, kind, opened_on, has_closed_on, closed_on, latitude, longitude, gln,
                has_count_days, count_days, place)
      JOIN scheme s ON s.code = g.scheme
      JOIN participant p ON p.code = g.participant
      LEFT JOIN stock t ON t.place = g.place
      LEFT JOIN site held ON held.code = g.code),
put AS (
    INSERT INTO site AS held (id, code, scheme, participant, name, kind, opened_on, closed_on, latitude, longitude, gln,
                              par_stock, count_days)
    SELECT coalesce(held, next), code, scheme, participant, name, kind, opened_on, closed_on, latitude, longitude, gln,
           par_stock, count_days
      FROM given ORDER BY place
    ON CONFLICT (code) DO UPDATE
       SET scheme = excluded.scheme, participant = excluded.participant, name = excluded.name, kind = excluded.kind,
           opened_on = excluded.opened_on, closed_on = excluded.closed_on, latitude = excluded.latitude,
           longitude = excluded.longitude, gln = excluded.gln, par_stock = excluded.par_stock, count_days = excluded.count_days
     WHERE (held.scheme, held.participant, held.name, held.kind, held.opened_on, held.closed_on, held.latitude,
            held.longitude, held.gln, held.par_stock, held.count_days)
           IS DISTINCT FROM (excluded.scheme, excluded.participant, excluded.name, excluded.kind, excluded.opened_on,
                             excluded.closed_on, excluded.latitude, excluded.longitude, excluded.gln, excluded.par_stock,
                             excluded.count_days)
    RETURNING code)
SELECT given.place - 1 FROM put JOIN given ON given.code = put.code::text ORDER BY given.place
