-- Cups with identity. Events name some of their cups; all of this is derived from entries after their commit, each entry
-- once, and can be derived again from them. It never changes a posting.

CREATE TABLE cup (
    cup bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    id  text COLLATE "C" NOT NULL UNIQUE -- as the events have it: 14 digits of the asset type, and the serial number
);

-- A cup that an entry names, or brings: a receipt that names none and completes its dispatch brings all of the dispatch.
CREATE TABLE sighting (
    scheme        integer NOT NULL,
    entry         bigint NOT NULL,
    position      integer NOT NULL,     -- 1, 2 … in the entry; in an exchange the cups that come back are first
    cup           bigint NOT NULL,
    business_date date NOT NULL,        -- of the entry
    occurred_at   timestamptz NOT NULL, -- of the entry
    kind          smallint NOT NULL,    -- of the entry
    site          integer,              -- where it happened; null: the entry is of the scheme
    came_from     bigint NOT NULL,      -- the account of cups that it leaves, as the entry says; of a count, the place itself
    went_to       bigint NOT NULL,      -- the account of cups where it is then
    dispatch      bigint,               -- number of the dispatch, of a cup that is sent, arrives or is lost on the road
    brought       boolean NOT NULL,     -- by a receipt that does not name it
    reversed_by   bigint,               -- the entry that reversed this one
    PRIMARY KEY (scheme, entry, position)
);
CREATE INDEX ON sighting (cup, occurred_at);
CREATE INDEX ON sighting (site, cup);
CREATE INDEX ON sighting (scheme, business_date);
CREATE INDEX ON sighting (scheme, dispatch) WHERE dispatch IS NOT NULL;
CREATE INDEX ON sighting (came_from) WHERE kind IN (4, 15); -- supplies and openings: to count the cups that are named

-- Through which entry each scheme's entries were looked at. Entries that were recorded before this version name no cups.
CREATE TABLE sighting_place (
    scheme integer PRIMARY KEY REFERENCES scheme,
    entry  bigint NOT NULL
);
INSERT INTO sighting_place SELECT scheme, last_entry FROM scheme_head;

-- The sightings that count, in the order in which they happened.
CREATE VIEW seen AS
    SELECT s.*, c.code AS scheme_code,
           row_number() OVER (PARTITION BY s.cup ORDER BY s.occurred_at, c.code COLLATE "C", s.entry, s.position) AS place
      FROM sighting s JOIN scheme c ON c.id = s.scheme
     WHERE s.reversed_by IS NULL;

GRANT SELECT, INSERT ON cup, sighting TO depositd_service;
GRANT UPDATE (reversed_by) ON sighting TO depositd_service;
GRANT SELECT, INSERT ON sighting_place TO depositd_service;
GRANT UPDATE (entry) ON sighting_place TO depositd_service;
GRANT SELECT ON seen TO depositd_service;
