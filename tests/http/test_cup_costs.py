# SPDX-License-Identifier: ISC
"""The cost of a look at named cups does not grow with the cups that are known, with the strangers among them, or with
the entries since a cup was last seen. As in test_costs.py, PostgreSQL counts the pages."""
from datetime import timedelta

import psycopg2
import pytest

from network import at, business_day, reference, scheme
from statements import SQL, statement_text
from test_cups import SITES, SMALL, TYPES

CUPS = 20_000  # that are known, each supplied by an entry of its own; and so many named returns after them
STRANGERS = 5000  # as many as were supplied without names
PAGES_MAX = 200  # for a look at one entry with one cup
DAY = business_day() - timedelta(days=1)

# Cup 1 goes out, all others come back by name, and some strangers with them. Then an entry that the test looks at, and
# one of another stranger. Rows of the tables that the follower reads, and no others: the ledger is not tested here.
FILL = f"""
SET session_replication_role = replica;
CREATE TABLE site_of AS SELECT s.id AS site, s.scheme, t.id AS cup_type, account_of(32, 0, t.id) AS supply,
                               account_of(33, s.id, t.id) AS stock, account_of(36, 0, t.id) AS out
                          FROM site s, cup_type t WHERE s.code = 'anchor' AND t.code = 'cup-300';
INSERT INTO cup (id) SELECT '{SMALL}' || n FROM generate_series(1, {CUPS}) AS n ORDER BY n;
INSERT INTO cup (id, stranger_of)
SELECT '{SMALL}S' || n, cup_type FROM generate_series(1, {STRANGERS} + 1) AS n, site_of ORDER BY n;
CREATE TABLE known AS SELECT row_number() OVER (ORDER BY cup) AS n, cup FROM cup;
CREATE TABLE move AS
SELECT n AS entry, 4 AS kind, supply AS came_from, stock AS went_to, n AS cup
  FROM site_of, generate_series(1, {CUPS}) AS n
UNION ALL SELECT {CUPS} + 1, 1, stock, out, 1 FROM site_of
UNION ALL SELECT {CUPS} + n, 2, out, stock, n FROM site_of, generate_series(2, {CUPS}) AS n
UNION ALL SELECT 2 * {CUPS} + 1, 1, stock, out, 1 FROM site_of
UNION ALL SELECT 2 * {CUPS} + 2, 2, out, stock, {CUPS} + {STRANGERS} + 1 FROM site_of;
INSERT INTO entry (scheme, entry, business_date, kind, late, site, occurred_at, recorded_at, hash, event, accounts,
                   amounts)
SELECT o.scheme, m.entry, '{DAY}', m.kind, false, o.site,
       timestamptz '{at(DAY, "06:00")}' + m.entry * interval '1 second', now(), sha256('leaf'), NULL,
       ARRAY[m.came_from, m.went_to], '{{-1,1}}'
  FROM move m, site_of o ORDER BY m.entry;
INSERT INTO sighting (scheme, entry, position, cup, business_date, occurred_at, kind, site, came_from, went_to, brought)
SELECT e.scheme, e.entry, 1, k.cup, e.business_date, e.occurred_at, e.kind, e.site, m.came_from, m.went_to, false
  FROM move m JOIN entry e USING (entry) JOIN known k ON k.n = m.cup ORDER BY m.entry;
INSERT INTO sighting (scheme, entry, position, cup, business_date, occurred_at, kind, site, came_from, went_to, brought)
SELECT s.scheme, s.entry, 2, k.cup, s.business_date, s.occurred_at, s.kind, s.site, s.came_from, s.went_to, false
  FROM generate_series(1, {STRANGERS}) AS stranger
  JOIN sighting s ON s.entry = {CUPS} + 1 + stranger JOIN known k ON k.n = {CUPS} + stranger
 WHERE s.position = 1;
UPDATE business_day SET first_entry = 1, last_entry = 2 * {CUPS} + 2 WHERE business_date = '{DAY}';
DELETE FROM sighting_place;
INSERT INTO sighting_place SELECT scheme, 2 * {CUPS} + 2 FROM site_of;
UPDATE cup SET stranger_of = NULL WHERE cup = (SELECT max(cup) FROM cup);
INSERT INTO cup_supply SELECT scheme, cup_type, {STRANGERS}, 0 FROM site_of;
INSERT INTO stranger_sum SELECT cup_type, {STRANGERS}, 0 FROM site_of;
DROP TABLE move, known, site_of;
SET session_replication_role = origin;
ANALYZE;
"""


@pytest.fixture(scope="module")
def asked(shared):
    shared.admin.load(
        reference([scheme("tern-bay", DAY, {"cup-300": "2.50", "cup-450": "3.50"})], SITES, cup_types=TYPES)
    )
    shared.stop()  # it would follow
    shared.database.run(FILL)
    connection = psycopg2.connect(shared.database.owner_dsn)
    cursor = connection.cursor()
    cursor.execute("SET jit = off; SET TimeZone = 'UTC'; SET max_parallel_workers_per_gather = 0")
    yield cursor
    connection.close()


def look(asked, entry, mode, before="SELECT"):
    """The pages that a look at the entry reads, and the kinds of its findings. `before` is done first. All of it is
    taken back."""
    asked.execute(f"DEALLOCATE ALL; SET plan_cache_mode = {mode}")
    asked.execute("PREPARE look AS " + statement_text(SQL / "queries/cups/cups-findings.sql"))
    asked.execute("SELECT scheme FROM site WHERE code = 'anchor'")
    call = f"EXECUTE look ({asked.fetchone()[0]}, {entry - 1}, {entry}, now())"
    asked.execute("SAVEPOINT one; " + before + "; SAVEPOINT two; " + call)
    asked.execute("SELECT kind FROM cup_finding ORDER BY number")
    kinds = [kind for kind, in asked.fetchall()]
    asked.execute("ROLLBACK TO two; EXPLAIN (ANALYZE, BUFFERS, TIMING off, FORMAT JSON) " + call)
    plan = asked.fetchone()[0][0]["Plan"]
    asked.execute("ROLLBACK TO one")
    return plan["Shared Hit Blocks"] + plan["Shared Read Blocks"], kinds


UNNAMED = f"""INSERT INTO unnamed_stretch
    SELECT scheme, account_of(36, 0, (SELECT id FROM cup_type WHERE code = 'cup-300')), entry / 512, entry, entry,
           occurred_at, occurred_at FROM entry
     WHERE entry = {CUPS} + 9000; DELETE FROM sighting WHERE entry = {CUPS} + 9000"""
REVERSED = f"""UPDATE cup_supply SET unnamed = unnamed - 2, entry = 2 * {CUPS} + 2;
    DELETE FROM sighting WHERE entry = 2 * {CUPS} + 2"""
LOOKS = {
    "a cup that is issued while it is out": (2 * CUPS + 1, "SELECT", ["cup_issued_elsewhere"]),
    "a cup that may have come back without a name": (2 * CUPS + 1, UNNAMED, ["gap"]),
    "a stranger": (2 * CUPS + 2, "SELECT", ["cup_never_supplied"]),
    "a stranger for whom there is room": (2 * CUPS + 2, "UPDATE cup_supply SET unnamed = unnamed + 1", []),
    "a reversal that leaves room for two strangers fewer": (2 * CUPS + 2, REVERSED, 2 * ["cup_never_supplied"]),
}


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
@pytest.mark.parametrize("name", LOOKS)
def test_a_look_reads_no_more_however_many_cups_are_known(asked, name, mode):
    entry, before, found = LOOKS[name]
    pages, kinds = look(asked, entry, mode, before)
    print(f"{name}, {mode}: {pages} pages")
    assert kinds == found and pages <= PAGES_MAX
