-- The facts that values from days on depend on, for participants or for sites. Arrays, with an element for each: $1 the
-- participant's code, or $2 the site's, the other '', $3 the day. A row for each, in their order: whether it is known;
-- whether the day has begun, or begins within 5 minutes, in a scheme of its sites with entries or days that are closed
-- or close.
WITH given AS MATERIALIZED (
    SELECT g.place, g.day, p.id AS participant, s.id AS site
      FROM unnest($1::text[], $2::text[], $3::date[]) WITH ORDINALITY AS g(participant, site, day, place)
      LEFT JOIN participant p ON p.code = g.participant
      LEFT JOIN site s ON s.code = g.site),
used AS MATERIALIZED (
    SELECT c.id, c.cut_off, c.time_zone
      FROM scheme c JOIN scheme_head h ON h.scheme = c.id
     WHERE h.last_entry > 0 OR EXISTS (SELECT FROM business_day d WHERE d.scheme = c.id AND d.state <> 'open')),
begun AS MATERIALIZED (
    SELECT DISTINCT g.place
      FROM given g
      JOIN site s ON s.participant = g.participant OR s.id = g.site
      JOIN used c ON c.id = s.scheme
     WHERE day_start(g.day, c.cut_off, c.time_zone) <= clock_timestamp() + interval '5 minutes')
SELECT g.participant IS NOT NULL OR g.site IS NOT NULL, b.place IS NOT NULL
  FROM given g LEFT JOIN begun b USING (place)
 ORDER BY g.place
