-- Makes or changes the kind of a site from a date on; touches no row when nothing changes. $1: the site's code,
-- $2: effective_date, $3: kind.
MERGE INTO site_kind AS held
USING (SELECT id AS site, $2::date AS effective_date, $3::text AS kind FROM site WHERE code = $1::text) AS given
   ON held.site = given.site AND held.effective_date = given.effective_date
 WHEN MATCHED AND held.kind <> given.kind THEN
      UPDATE SET kind = given.kind
 WHEN NOT MATCHED THEN
      INSERT (site, effective_date, kind) VALUES (given.site, given.effective_date, given.kind)
