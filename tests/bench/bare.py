# SPDX-License-Identifier: ISC
"""The limit of a post: one client of PostgreSQL that does nothing but insert the two rows of an event, of `entry` and
of `event_id`, many with one statement. Tables and indexes are those of the ledger, on a database of their own. Their
guards are off. Ids and hashes are made there, and the other content has the sizes that the ledger's rows have."""
import os
import re
import tempfile

from baseline import HOST, PGBENCH, run, sql
from harness import Database

BATCH = 2000  # events in a transaction: the most that the service's writer takes, unless set

SIZES = (
    "SELECT round(avg(length(event)))::integer, round(avg(cardinality(accounts)))::integer, count(DISTINCT site)"
    " FROM entry WHERE event IS NOT NULL AND entry > %s"
)
# Parameters of pgbench: batch, place, text, legs and sites.
INSERT = """\
WITH made AS MATERIALIZED (
    SELECT :place::bigint + n AS entry, n, gen_random_uuid() AS id FROM generate_series(1, :batch::integer) AS n),
event AS MATERIALIZED (
    SELECT m.*, rpad('{"event_id":"' || id || '"', :text::integer, ',"kind":"issue","site":"site-17"') AS event
      FROM made m),
kept AS (
    INSERT INTO entry (scheme, entry, business_date, kind, late, site, api_key, occurred_at, recorded_at, hash, event,
                       accounts, amounts)
    SELECT 1, entry, current_date, 1, false, 1 + n % :sites::integer, 1, now(), now(),
           sha256(convert_to(event, 'UTF8')), event,
           (SELECT array_agg((l::bigint << 48) + n % :sites::integer) FROM generate_series(1, :legs::integer) AS l),
           array_fill(250::bigint, ARRAY[:legs::integer])
      FROM event)
INSERT INTO event_id (scheme, event_id, digest, entry)
SELECT 1, id, substring(sha256(convert_to(event, 'UTF8')) FOR 16), entry FROM event;
\\set place :place + :batch
"""


class Bare:
    """The rows are as those of a ledger after its entry `after`."""

    def __init__(self, stack, ledger, after):
        [(self.text, self.legs, self.sites)] = ledger.database.rows(SIZES, after)
        self.database, self.place = Database(), 0
        stack.callback(self.database.drop)

    def insert(self, seconds):
        """Events a second."""
        with tempfile.NamedTemporaryFile("w", suffix=".sql") as script:
            script.write(INSERT)
            script.flush()
            defined = {n: getattr(self, n) for n in ("place", "text", "legs", "sites")}
            output = run(
                PGBENCH,
                "--client=1",
                "--protocol=prepared",
                "--no-vacuum",
                f"--time={seconds}",
                f"--file={script.name}",
                *(f"--define={name}={value}" for name, value in {**defined, "batch": BATCH}.items()),
                self.database.name,
                env=environment(),
            )
        [(count, last)] = sql("SELECT (SELECT count(*) FROM event_id), max(entry) FROM entry", self.database.name)
        assert count == last, f"{count} rows, but {last} entries"
        self.place = last
        return float(re.search(r"^tps = ([0-9.]+)", output, re.MULTILINE)[1]) * BATCH


def environment():
    """Guards are triggers, which this role of the session leaves out."""
    others = {k: v for k, v in os.environ.items() if not k.startswith("PG")}
    return {**others, "PGHOST": HOST, "PGUSER": "postgres", "PGOPTIONS": "-c session_replication_role=replica"}
