# SPDX-License-Identifier: ISC
"""A week of networks around the world at a compressed pace. The service's time of day is moved in quarters of an hour
(moved_clock.c); in each, the tills of all sites that are open post what they would, and the clock closes days wherever
the cut-off has passed. Then all checks run, and the feed of each scheme is posted into an empty ledger, which must end
with the same balances."""
import tempfile
import threading
import time
from datetime import timedelta
from pathlib import Path
from random import Random

from clocks import MovedClock
from harness import Database, Service, at_once, new_service, wait_until
from ledger import peak_memory_mb, size_bytes
from world import CURRENCIES, DAYS, TICK, World, arrays

GROUPS = 4
ARRAY = 500
POSTERS = 3
SINGLES_PAUSE = 0.02  # seconds between the single events whose time is taken
AFTER = timedelta(hours=2)  # since the last cut-off, until when everything is due
REPLAYERS = 4
UNBOUND = {"key_rate": 0, "max_connections_per_address": 0}

# The database's own clock takes the times of closes, because the service's is moved.
WATCH_CLOSES = """
CREATE TABLE close_time (scheme integer, business_date date, what text, at timestamptz);
CREATE FUNCTION note_close_time() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
BEGIN
    INSERT INTO close_time VALUES (NEW.scheme, NEW.business_date, TG_TABLE_NAME, clock_timestamp());
    RETURN NULL;
END $$;
CREATE TRIGGER note_close_time AFTER INSERT ON day_cut FOR EACH ROW EXECUTE FUNCTION note_close_time();
CREATE TRIGGER note_close_time AFTER INSERT ON settlement FOR EACH ROW EXECUTE FUNCTION note_close_time();
"""
CLOSE_TIMES = """
SELECT extract(epoch FROM s.at - c.at)::float * 1000
  FROM close_time s JOIN close_time c USING (scheme, business_date)
 WHERE s.what = 'settlement' AND c.what = 'day_cut' ORDER BY 1
"""
LATEST_CLOSE = """
SELECT max(extract(epoch FROM t.closed_at - d.ends_at) / 60 - c.close_after_minutes)::float
  FROM settlement t JOIN business_day d USING (scheme, business_date) JOIN scheme c ON c.id = t.scheme
"""


class Week:
    def __init__(self, stack, random, scale):
        self.random = Random(random.getrandbits(64))
        self.scale, self.world = scale, World(random, scale.week_sites, GROUPS, scale.week_events)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        self.clock, self.database = MovedClock(folder), Database()
        stack.callback(self.database.drop)
        self.service = Service(self.database, close_by_clock="yes", **UNBOUND)
        self.service.environment.update(self.clock.environment)
        self.key = self.service.create_key("first-admin", "admin")
        self.now = self.world.begins
        self.clock.set(self.now)
        self.service.start().contract = None
        stack.callback(self.service.stop)
        self.client = self.service.client(self.key)
        self.world.load(self.client)
        self.database.run(WATCH_CLOSES)
        self.posted, self.array_ms, self.single_ms = 0, [], []

    def live(self):
        """Returns the seconds that it took."""
        started, over = time.monotonic(), threading.Event()

        def live_on():
            try:
                while self.now < self.world.ends + AFTER:
                    self._live_a_quarter()
                wait_until(self._all_closed, self._closes_left, pause=0.1)
            finally:
                over.set()

        at_once(live_on, lambda: self._post_singles(over))
        return time.monotonic() - started

    def _live_a_quarter(self):
        next_at = time.monotonic() + self.scale.week_tick
        self.clock.set(self.now)
        bodies = list(arrays(self.world.trade(self.now), ARRAY))
        at_once(*(lambda n=n: self._post(bodies[n::POSTERS]) for n in range(POSTERS)))
        time.sleep(max(0, next_at - time.monotonic()))
        self.now += TICK

    def _post(self, bodies):
        client = self.service.client(self.key)
        for count, body in bodies:
            started = time.monotonic()
            answer = client.send("POST", "/v1/events", body)
            self.array_ms.append((time.monotonic() - started) * 1000)
            assert answer.status == 200, answer.body[:1000]
            assert answer.json["recorded"] == count, [r for r in answer.json["results"] if r["status"] == "rejected"]
            self.posted += count

    def _post_singles(self, over):
        client = self.service.client(self.key)
        while not over.wait(SINGLES_PAUSE):
            if event := self.world.one(self.now - TICK, self.random):
                started = time.monotonic()
                answer = client.send("POST", "/v1/events", event)
                self.single_ms.append((time.monotonic() - started) * 1000)
                assert answer.status == 201, answer.body[:1000]

    def _all_closed(self):
        return self.closes() == DAYS * len(self.world.schemes)

    def _closes_left(self):
        return f"all days are closed, but {self.closes()} of {DAYS * len(self.world.schemes)} are"

    def closes(self):
        """Of the week: the first zone's next day may end before the last one's."""
        of_week = "SELECT count(*) FROM settlement WHERE business_date <= %s"
        return self.database.rows(of_week, self.world.last_day)[0][0]

    def prove(self):
        """All checks hold, and the ledger has what was posted, once."""
        [(events,)] = self.database.rows("SELECT count(*) FROM event_id")
        assert events == self.posted + len(self.single_ms), (events, self.posted, len(self.single_ms))
        self.service.run("check", patience=3600)
        return events


def replay(stack, week):
    """Posts the feeds into an empty ledger, and closes each day at its cut. Returns the seconds that it took."""
    database = Database()
    stack.callback(database.drop)
    service = new_service(database, **UNBOUND)
    stack.callback(service.stop)
    service.contract = None
    week.world.load(service.admin)
    started, schemes = time.monotonic(), week.world.schemes
    at_once(
        *(lambda n=n: [replay_scheme(week, service, s.code) for s in schemes[n::REPLAYERS]] for n in range(REPLAYERS))
    )
    return time.monotonic() - started


def replay_scheme(week, service, code):
    feed, copy, waiting = week.service.client(week.key), service.client(service.admin_key), []

    def post():
        for first in range(0, len(waiting), 1000):
            items = waiting[first : first + 1000]
            for item, result in zip(items, copy.post_many([i["event"] for i in items])):
                assert (result["status"], result["business_date"]) == ("recorded", item["business_date"]), (
                    item,
                    result,
                )
        waiting.clear()

    for item in feed.feed_with_cuts(code):
        if "event" in item:
            waiting.append(item)
        elif item["kind"] == "day_cut":
            post()
            copy.close(code, item["business_date"])
    post()
    assert copy.accounts(code) == feed.accounts(code), f"the replay of {code} ends with other balances"


def percentile(values, percent):
    return sorted(values)[len(values) * percent // 100]


def measure(stack, random, scale, note):
    """{name of the figure: value}"""
    week = Week(stack, random, scale)
    seconds = week.live()
    memory = peak_memory_mb(week.service)
    [(lateness,)] = week.database.rows(LATEST_CLOSE)
    closes = [ms for ms, in week.database.rows(CLOSE_TIMES)]
    events, size = week.prove(), size_bytes(week.database)
    note(
        f"{scale.week_sites:,} sites in {len(CURRENCIES)} countries, {len(week.world.schemes)} schemes:"
        f" {events:,} events and {len(closes):,} closes in {seconds:.0f} s; all checks hold"
    )
    note(
        f"a close takes {percentile(closes, 50):.0f} ms, p99 {percentile(closes, 99):.0f} ms; the latest was"
        f" {lateness:.0f} minutes of the week after it fell due"
    )
    for what, times in ("single events", week.single_ms), (f"posts of up to {ARRAY}", week.array_ms):
        note(f"{len(times):,} {what}: {percentile(times, 50):.1f} ms, p99 {percentile(times, 99):.1f} ms")
    note(f"database {size / 1e6:,.0f} MB, {size / events:,.0f} bytes an event; peak memory {memory:.1f} MB")
    note(f"the feed was replayed in {replay(stack, week):.0f} s, and gave the same balances")
    return {
        "week-close": percentile(closes, 99),
        "week-posting": percentile(week.single_ms, 99),
        "week-memory": memory,
        "week-bytes": size / events,
    }
