# SPDX-License-Identifier: ISC
"""A ledger that knows many cups by identity, and events that name some of them. All cups come by supplies, each line
of which names a thousand. Tills issue each cup at its own site and take it back there, so what they post follows from
what came before. Some cups that nobody has supplied by name turn up among them."""
import time
from contextlib import contextmanager

import network
import psycopg2
from baseline import sql
from harness import wait_until
from ledger import ARRAY_MAX, Ledger

# The asset type of GS1's data dictionary page of `grai` (BDT00000065, 2021-11-16), as in tests/http/test_cups.py.
ASSET_TYPE = "07300015200154"
CUP_TYPES = [{**network.CUPS[0], "grai": ASSET_TYPE}, network.CUPS[1]]
IDS_MAX = 1000  # in a line of an event
IN_ARRAY = 20  # of such events, before they are followed: the time for a look at entries is bounded
OUT = 504  # cups that are with customers at any time
STRIDE = 7919  # a prime: neighbours in time are no neighbours in the index of names
STRANGER_EVERY = 50  # events, one names a cup that nobody has supplied by name
POLL_SECONDS = 0.02

# Everything that events and cups are kept in. The polls below read the rest.
PAGES = (
    "SELECT sum(coalesce(heap_blks_read, 0) + coalesce(heap_blks_hit, 0) + coalesce(idx_blks_read, 0)"
    " + coalesce(idx_blks_hit, 0) + coalesce(toast_blks_read, 0) + coalesce(toast_blks_hit, 0))::bigint"
    " FROM pg_statio_user_tables WHERE relname <> 'sighting_place'"
)
FOLLOWED = "SELECT coalesce((SELECT entry FROM sighting_place WHERE scheme = 1), 0)"


class KnownCups(Ledger):
    cup_types = CUP_TYPES

    def __init__(self, stack, seed, known, in_play):
        """Of all that are known, those in play are spread over the whole index. Ledgers with as many in play have as
        much to read of each cup's past."""
        super().__init__(stack, seed)
        self.known, self.in_play, self.apart = known, in_play, known // in_play
        self.begun = self.turn = self.strangers = 0
        self.watch = psycopg2.connect(self.database.owner_dsn)
        stack.callback(self.watch.close)
        self.watch.autocommit = True

    def supply(self):
        """Lets the ledger know its cups. Returns the seconds that it took."""
        started = time.monotonic()
        events = []
        for site in range(self.sites):
            cups = range(site, self.known, self.sites)
            for first in range(0, len(cups), IDS_MAX):
                ids = [identity(n) for n in cups[first : first + IDS_MAX]]
                line = {"cup_type": "cup-300", "quantity": len(ids), "ids": ids}
                events.append(network.event("supply", f"site-{site}", self.time_in(self.days[0]), cups=[line]))
        for first in range(0, len(events), IN_ARRAY):
            for result in self.service.admin.post_many(events[first : first + IN_ARRAY]):
                assert result["status"] == "recorded" and not result["exceptions"], result
            self.acknowledged += len(events[first : first + IN_ARRAY])
            self.account()
            wait_until(self.has_followed, "all supplies are followed", pause=POLL_SECONDS)
        [(known,)] = self.ask("SELECT count(*) FROM cup")
        assert known == self.known, f"{known} cups are known, not {self.known}"
        return time.monotonic() - started

    def ask(self, statement, *values):
        with self.watch.cursor() as cursor:
            cursor.execute(statement, values)
            return cursor.fetchall()

    def has_followed(self):
        return self.ask(FOLLOWED)[0][0] >= self.last_entry

    @contextmanager
    def unfollowed(self):
        """Keeps every instance from following, so that the posts alone are measured."""
        self.ask("SELECT pg_advisory_lock(hashtext('depositd cups'))")
        try:
            yield
        finally:
            self.ask("SELECT pg_advisory_unlock(hashtext('depositd cups'))")

    def trade(self, seconds, connections):
        """Events a second, of single events that name a cup each. Nobody follows them."""
        goods = f"named:{ASSET_TYPE}:{self.in_play}:{self.apart}:{self.begun}"
        before = self.in_ledger
        with self.unfollowed():
            outcome = self.post(seconds, connections, goods=goods)
        self.begun += self.in_ledger - before
        return outcome["events_per_s"]

    def fill_named(self, count):
        """Posts so many events that name cups, in arrays, while nobody follows. Some name strangers."""
        with self.unfollowed():
            arrays = [self._named_array() for _ in range(count // ARRAY_MAX)]
            for array in arrays:
                assert {r["status"] for r in self.service.admin.post_many(array)} == {"recorded"}
        self.acknowledged += len(arrays) * ARRAY_MAX
        self.account()

    def _named_array(self):
        """Half of them issues, and then the same cups come back."""
        when, half = self.time_in(self.days[-1]), ARRAY_MAX // 2
        first = self.begun // 2 + OUT  # beyond those that are with customers
        turns = [first + (self.turn + n) % (self.in_play - 3 * OUT) for n in range(half)]
        numbers = [self._number(turn * STRIDE % self.in_play) for turn in turns]
        self.turn += half
        events = [
            network.event(kind, f"site-{n % self.sites}", when, **{member: named(identity(n))})
            for kind, member in (("issue", "issued"), ("return", "returned"))
            for n in numbers
        ]
        for place in range(0, half, STRANGER_EVERY):
            self.strangers += 1
            events[place] = network.event(
                "return", f"site-{place % self.sites}", when, returned=named(f"{ASSET_TYPE}S{self.strangers:07}")
            )
            events[place + half] = network.event("issue", "site-0", when, issued=network.cups(cup_450=1))
        return events

    def _number(self, n):
        return n * self.apart + n % self.apart

    def follow(self):
        """Microseconds of the follower for each entry. The first slice, with which it begins, does not count."""
        first = self.ask(FOLLOWED)[0][0]
        wait_until(lambda: self.ask(FOLLOWED)[0][0] > first, "the follower begins", pause=POLL_SECONDS)
        [(begun, started)] = self.ask(FOLLOWED + ", clock_timestamp()")
        wait_until(self.has_followed, "all entries are followed", pause=POLL_SECONDS)
        [(ended, now)] = self.ask(FOLLOWED + ", clock_timestamp()")
        return (now - started).total_seconds() * 1e6 / (ended - begun)

    def pages(self):
        """Pages of tables and indexes that were looked at so far. The service is stopped for it, because its
        connections report now and then, and when they end."""
        self.service.stop()
        [(pages,)] = sql(PAGES, self.database.name)
        self.service.start().contract = None
        return pages


def identity(number):
    return f"{ASSET_TYPE}{number:07}"


def named(*ids):
    return [{"cup_type": "cup-300", "quantity": len(ids), "ids": list(ids)}]
