-- Makes or changes kinds of sites from a date on; a row where nothing changes stays as it is. Arrays, with an element
-- for each: $1 the site's code, $2 effective_date, $3 kind. Gives the places, from 0, of those that differ.
WITH given AS MATERIALIZED (
    SELECT g.place, s.id AS site, g.effective_date, g.kind
      FROM unnest($1::text[], $2::date[], $3::text[]) WITH ORDINALITY AS g(site, effective_date, kind, place)
      JOIN site s ON s.code = g.site),
put AS (
    INSERT INTO site_kind AS held (site, effective_date, kind)
    SELECT site, effective_date, kind FROM given ORDER BY place
    ON CONFLICT (site, effective_date) DO UPDATE SET kind = excluded.kind WHERE held.kind <> excluded.kind
    RETURNING site, effective_date)
SELECT given.place - 1 FROM put JOIN given USING (site, effective_date) ORDER BY given.place
