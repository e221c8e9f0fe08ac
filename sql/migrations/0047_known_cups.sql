-- What the follower of named cups needs is kept as it goes on, so that it counts no cups and reads no old entries again.

-- The cups of a type that a scheme was supplied or opened with, less those of them that were named, by the entries that
-- were looked at. So many cups of the type may turn up that nobody has supplied by name.
CREATE TABLE cup_supply (
    scheme   integer NOT NULL,
    cup_type integer NOT NULL,
    unnamed  bigint NOT NULL,
    entry    bigint NOT NULL, -- the last one that changed it
    PRIMARY KEY (scheme, cup_type)
);
CREATE INDEX ON cup_supply (cup_type);

-- The cups that turned up so (strangers), of all schemes: those among that number, and those beyond it.
CREATE TABLE stranger_sum (
    cup_type integer PRIMARY KEY,
    covered  bigint NOT NULL,
    beyond   bigint NOT NULL
);
ALTER TABLE cup ADD COLUMN stranger_beyond boolean NOT NULL DEFAULT false; -- a stranger that is an exception
DROP INDEX cup_stranger_of_idx;
CREATE INDEX ON cup (stranger_of, stranger_beyond, cup) WHERE stranger_of IS NOT NULL;
DROP INDEX sighting_came_from_idx;

-- The stretches of 512 entries in which cups left a place of the scheme without all being named: an account that is
-- neither of a site nor of the road. Only there can an entry explain that a cup is no longer where it was.
CREATE TABLE unnamed_stretch (
    scheme      integer NOT NULL,
    account     bigint NOT NULL,
    stretch     bigint NOT NULL,      -- entry / 512
    first_entry bigint NOT NULL,      -- the first and the last such entry
    last_entry  bigint NOT NULL,
    first_at    timestamptz NOT NULL, -- the span in which they occurred
    last_at     timestamptz NOT NULL,
    PRIMARY KEY (scheme, account, stretch)
);
CREATE INDEX ON unnamed_stretch (scheme, account, last_at);

INSERT INTO cup_supply
SELECT m.scheme, m.cup_type, sum(m.cups), max(p.entry)
  FROM (SELECT c.id AS scheme, t.id AS cup_type, -balance_through(c.id, account_of(32, 0, t.id), 'infinity') AS cups
          FROM scheme c CROSS JOIN cup_type t
        UNION ALL
        SELECT c.id, account_cup_type(l.account), l.amount
          FROM scheme c
          LEFT JOIN sighting_place p ON p.scheme = c.id
          JOIN entry e ON e.scheme = c.id AND e.entry > coalesce(p.entry, 0)
         CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
         WHERE account_kind_of(l.account) = 32
        UNION ALL
        SELECT s.scheme, account_cup_type(s.came_from), -1
          FROM sighting s WHERE account_kind_of(s.came_from) = 32 AND s.reversed_by IS NULL) AS m
  JOIN sighting_place p ON p.scheme = m.scheme
 GROUP BY 1, 2 HAVING sum(m.cups) <> 0;

UPDATE cup c SET stranger_beyond = true
 WHERE c.stranger_of IS NOT NULL
   AND EXISTS (SELECT FROM cup_finding f WHERE f.cup = c.cup AND NOT f.ended AND f.kind = 'cup_never_supplied');
INSERT INTO stranger_sum
SELECT stranger_of, count(*) FILTER (WHERE NOT stranger_beyond), count(*) FILTER (WHERE stranger_beyond)
  FROM cup WHERE stranger_of IS NOT NULL GROUP BY 1;

INSERT INTO unnamed_stretch
SELECT m.scheme, m.account, m.entry / 512, min(m.entry), max(m.entry), min(m.occurred_at), max(m.occurred_at)
  FROM (SELECT e.scheme, e.entry, e.occurred_at, l.account, -sum(l.amount) AS cups
          FROM sighting_place p
          JOIN entry e ON e.scheme = p.scheme AND e.entry <= p.entry
         CROSS JOIN LATERAL unnest(e.accounts, e.amounts) AS l(account, amount)
         WHERE e.kind NOT IN (11, 28) AND l.amount < 0 AND account_unit(l.account) <> 0
           AND account_kind_of(l.account) NOT IN (32, 33, 34, 35)
         GROUP BY 1, 2, 3, 4) AS m
  LEFT JOIN (SELECT scheme, entry, came_from AS account, count(*) AS cups
               FROM sighting WHERE went_to <> came_from GROUP BY 1, 2, 3) AS n USING (scheme, entry, account)
 WHERE m.cups > coalesce(n.cups, 0)
 GROUP BY 1, 2, 3;

GRANT SELECT, INSERT ON cup_supply, stranger_sum, unnamed_stretch TO depositd_service;
GRANT UPDATE (unnamed, entry) ON cup_supply TO depositd_service;
GRANT UPDATE (covered, beyond) ON stranger_sum TO depositd_service;
GRANT UPDATE (first_entry, last_entry, first_at, last_at) ON unnamed_stretch TO depositd_service;
GRANT UPDATE (stranger_beyond) ON cup TO depositd_service;
