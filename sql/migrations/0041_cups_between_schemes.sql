-- Cups with identity that come back in another scheme than the one that issued them.
ALTER TABLE sighting ADD COLUMN home integer; -- of a cup that came back: the scheme whose deposit it carries, if not this one

DROP VIEW seen;
CREATE VIEW seen AS
    SELECT s.*, c.code AS scheme_code,
           row_number() OVER (PARTITION BY s.cup ORDER BY s.occurred_at, c.code COLLATE "C", s.entry, s.position) AS place
      FROM sighting s JOIN scheme c ON c.id = s.scheme
     WHERE s.reversed_by IS NULL;
GRANT SELECT ON seen TO depositd_service;
