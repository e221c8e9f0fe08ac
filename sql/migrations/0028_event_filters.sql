-- What a person looks for in the list of events: late entries of a scheme, and entries of one kind while most are issues,
-- returns and exchanges. An index of each, so that a list reads no more than it shows.
CREATE INDEX ON entry (scheme, entry) WHERE late;
CREATE INDEX ON entry (scheme, kind, entry) WHERE kind > 3;
CREATE INDEX ON entry (site, kind, entry) WHERE kind > 3;
