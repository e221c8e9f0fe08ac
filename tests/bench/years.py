# SPDX-License-Identifier: ISC
"""A scheme that has traded for years, and the same scheme after a month: SQL makes the rows of its closed days, with as
many entries in each. Then events are posted, days are closed, and people read."""
import random
import statistics
import time
from datetime import datetime, timedelta, timezone

from crowd import Crowd
from harness import Database, new_service
from large_network import timed
from ledger import Ledger

SCHEME, DAY = "bay-0001", timedelta(days=1)

# The tables that grow most. Others grow with the days as well.
KINDS = {
    "entries": "relname = 'entry'",
    "ids of events": "relname = 'event_id'",
    "balances of days": "relname IN ('balance', 'kind_movement')",
    "figures of sites and days": "relname IN ('site_day', 'cup_day', 'till_day', 'day_total')",
}
SIZES = (
    "SELECT CASE "
    + " ".join(f"WHEN {condition} THEN '{kind}'" for kind, condition in KINDS.items())
    + " ELSE 'others' END, sum(pg_total_relation_size(c.oid))::bigint FROM pg_class c"
    " WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace GROUP BY 1 ORDER BY 2 DESC"
)


class Years(Ledger):
    """`open_days` days before today are not closed yet."""

    def __init__(self, stack, seed, closed_days, open_days, sites, a_day):
        self.stack, self.sites, self.random = stack, sites, random.Random(seed)
        self.acknowledged = self.unanswered = self.in_ledger = 0
        today = datetime.now(timezone.utc).date()
        self.last = today - (open_days + 1) * DAY  # that is closed
        self.first = self.last - (closed_days - 1) * DAY
        self.to_close = [self.last + n * DAY for n in range(1, open_days + 1)]
        self.database = Database()
        stack.callback(self.database.drop)
        self.service = self._in_service(new_service(self.database, key_rate=0, max_connections_per_address=0))
        self.service.stop()
        self.closed_days = closed_days
        self._fill(closed_days, a_day)
        self.tidy()
        self.service.start()
        self.service.contract = None
        self.client = self.service.client(self.service.admin_key)

    def _fill(self, closed_days, a_day):
        Crowd(
            schemes=2,
            sites=self.sites + 10,
            large_sites=self.sites,
            participants=self.sites // 5,
            days=closed_days,
            small_days=10,
            entries=closed_days * a_day,
            event_days=closed_days,
            exceptions=1000,  # people resolve them, so they do not grow with the age
            lines=5,
            journals=100,
            today=self.last + DAY,
        ).fill(self.database)
        # The codes that wrk posts to, counts of all sites, so many cups that no post is an exception, and nothing in
        # days that are open.
        self.database.run(
            "SET session_replication_role = replica;"
            " UPDATE site SET code = 'site-' || id - 1;"
            f" UPDATE entry SET site = 1 + (entry / 500) % {self.sites} WHERE scheme = 1 AND kind = 10;"
            " UPDATE balance SET closing = 900000 WHERE closing IS NOT NULL AND account_kind_of(account) IN (33, 36);"
            " DELETE FROM proposed_event WHERE status = 'open';"
            f" DELETE FROM entry WHERE business_date > '{self.last}';"
            " UPDATE business_day SET entries = 0, events = 0, first_entry = NULL, last_entry = NULL"
            " WHERE state = 'open';"
        )
        [(self.in_ledger, self.last_entry)] = self.database.rows(
            "SELECT count(*), max(entry) FROM entry WHERE scheme = 1"
        )
        self.acknowledged = self.in_ledger

    def close_all(self):
        """The seconds that each close took."""
        took = []
        for day in self.to_close:
            started = time.monotonic()
            answer = self.client.send("POST", f"/v1/schemes/{SCHEME}/days/{day}/close")
            took.append(time.monotonic() - started)
            assert answer.status == 200, answer.body[:1000]
        return took

    def targets(self):
        """The requests of people and tills."""
        ids = [
            self.database.rows("SELECT event::json ->> 'event_id' FROM entry WHERE scheme = 1 AND entry = %s", number)[
                0
            ][0]
            for number in (7, self.last_entry - 7)
        ]
        report, span = f"scheme={SCHEME}", f"from={self.last - 27 * DAY}&to={self.last}"
        return {
            "start page": "/",
            "deposit cover": f"/v1/reports/deposit-cover?{report}",
            "trial balance": f"/v1/reports/trial-balance?{report}",
            "stock": f"/v1/reports/stock?{report}",
            "site statement": f"/v1/reports/site-statement?{report}&site=site-7&{span}",
            "general ledger": f"/v1/reports/general-ledger?{report}&account=site_clearing(site-7)&{span}",
            "an event of the first day": f"/v1/events/{ids[0]}",
            "an event of the last day": f"/v1/events/{ids[1]}",
            "events, from the newest on": f"/v1/events?{report}&order=newest",
            "events of a site": f"/v1/events?{report}&site=site-7&limit=20",
            "feed, from its beginning": f"/v1/feed?schemes={SCHEME}&limit=100",
            "sites": "/v1/sites",
        }

    def read(self, calls):
        """{what was read: its times in ms}"""
        return {name: [timed(self.client, target) for _ in range(calls)] for name, target in self.targets().items()}

    def sizes(self):
        return self.database.rows(SIZES)


def measure(stack, wanted, scale, random, note):
    """{name of the figure: (of the old ledger, of the young one)}"""
    young, old = pair = [
        Years(stack, random.getrandbits(64), days, scale.closes + 1, scale.old_sites, scale.old_events)
        for days in scale.old_days
    ]
    for ledger in pair:
        kinds = ", ".join(f"{kind} {size / 1e6:,.0f} MB" for kind, size in ledger.sizes())
        note(f"{ledger.in_ledger:,} events in {ledger.closed_days:,} days: {kinds}")
    found = {}
    if "years-read" in wanted:
        found["years-read"] = slowest_growth(young, old, scale, note)
    for name, client in POSTS.items():
        if name in wanted:
            found[name] = posts(young, old, client, scale, note, name)
    if "years-close" in wanted:
        found["years-close"] = closes(young, old, note)
    return found


POSTS = {"years-single": {"connections": 128}, "years-array": {"connections": 8, "lines": 500}}


def posts(young, old, client, scale, note, name):
    rates = {young: [], old: []}
    for ledger in rates:
        ledger.post(2, **client)
    for n in range(scale.runs):
        for ledger in (young, old) if n % 2 == 0 else (old, young):
            rates[ledger].append(ledger.post(scale.seconds, **client)["events_per_s"])
        note(f"{name}: young {rates[young][-1]:,.0f}/s; old {rates[old][-1]:,.0f}/s")
    return rates[old], rates[young]


def closes(young, old, note):
    """The first close of each also does what only the first one does."""
    times = [ledger.close_all()[1:] for ledger in (young, old)]
    note(f"closes: young {statistics.median(times[0]):.3f} s; old {statistics.median(times[1]):.3f} s")
    return times[1], times[0]


def slowest_growth(young, old, scale, note):
    """The times of that read whose median grew most."""
    for ledger in (young, old):
        ledger.read(12)  # connections plan their statements
    of_young, of_old = young.read(scale.list_calls), old.read(scale.list_calls)
    medians = {name: [statistics.median(times[name]) for times in (of_young, of_old)] for name in of_old}
    for name, (before, after) in medians.items():
        note(f"{name:<28}{before:8.2f} ms young, {after:8.2f} ms old ({after / before:.2f})")
    most = max(medians, key=lambda name: medians[name][1] / medians[name][0])
    return of_old[most], of_young[most]
