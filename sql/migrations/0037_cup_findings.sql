-- What comes to light of cups with identity. An exception of a cup stands among the others, beside the entry at which it
-- was found; its position begins with 1000, and its day is the one on which it came to light, not the entry's.
CREATE INDEX ON exception (scheme, business_date, entry, position) WHERE position >= 1000;

-- A sighting that does not follow from the sighting before it. It is an exception, or a gap, which is only counted. A
-- finding that was explained later has ended.
CREATE TABLE cup_finding (
    number       bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    cup          bigint NOT NULL,
    scheme       integer NOT NULL, -- the sighting …
    entry        bigint NOT NULL,
    position     integer NOT NULL,
    kind         text NOT NULL,    -- of the exception, or gap
    other_scheme integer,          -- … and the one before it; null: there is none
    other_entry  bigint,
    left_from    bigint,           -- the account of cups where it was before, as far as known
    exception    smallint,         -- its position among the exceptions of the entry; null: a gap, or one too many
    ended        boolean NOT NULL DEFAULT false
);
CREATE UNIQUE INDEX ON cup_finding (scheme, entry, position, kind) WHERE NOT ended;
CREATE INDEX ON cup_finding (cup) WHERE NOT ended;
CREATE INDEX ON cup_finding (scheme, entry, exception);
CREATE INDEX ON cup_finding (left_from) WHERE NOT ended AND kind <> 'gap';

-- The cup type of a cup that was named before anybody supplied it; null: it was supplied, or its first sighting is none.
ALTER TABLE cup ADD COLUMN stranger_of integer;
CREATE INDEX ON cup (stranger_of) WHERE stranger_of IS NOT NULL;

GRANT UPDATE (stranger_of) ON cup TO depositd_service;
GRANT SELECT, INSERT ON cup_finding TO depositd_service;
GRANT UPDATE (ended) ON cup_finding TO depositd_service;
