# SPDX-License-Identifier: ISC
"""A ledger of many schemes under load. The events are spread over the sites of a number of schemes, and are about as
many sites however many schemes they are of. Scheme n has the sites site-n-0, site-n-1 …; as many as the widest spread
that includes the scheme asks for."""
import threading
from contextlib import contextmanager
from datetime import timedelta

import network
import psycopg2
from harness import Service, at_once, wait_until
from ledger import CUPS, DAY, HALF_DAY, TERMS, Ledger

SITES = 700
SPREADS = (1, 10, 70, 300, 700)  # over so many schemes
STALLED = 700  # one scheme more, with one site
STALLED_CLIENTS = 8
PACED = 100, 98  # connections, and the milliseconds that each pauses: 1,000 events a second
TRADING_SITES = 5  # of a scheme, on each day of a night
YEAR_MINUTES = 365 * 24 * 60


# {others}: of each other scheme its number, and how many sites it has.
COPIES = """
SET session_replication_role = replica;
CREATE TEMPORARY TABLE other AS
SELECT (o -> 0)::integer AS n, (o -> 1)::integer AS sites FROM jsonb_array_elements('{others}'::jsonb) AS o;
INSERT INTO scheme SELECT (jsonb_populate_record(s, jsonb_build_object('id', id + n, 'code', 'bay-' || n))).*
  FROM scheme s, other;
INSERT INTO scheme_head SELECT (jsonb_populate_record(h, jsonb_build_object('scheme', scheme + n))).*
  FROM scheme_head h, other;
INSERT INTO terms SELECT (jsonb_populate_record(t, jsonb_build_object('scheme', scheme + n))).* FROM terms t, other;
INSERT INTO refund_value SELECT (jsonb_populate_record(v, jsonb_build_object('scheme', scheme + n))).*
  FROM refund_value v, other;
INSERT INTO business_day SELECT (jsonb_populate_record(d, jsonb_build_object('scheme', scheme + n))).*
  FROM business_day d, other;
INSERT INTO site
SELECT (jsonb_populate_record(s, jsonb_build_object('id', 10000 + row_number() OVER (), 'scheme', scheme + n,
                                                    'code', format('site-%s-%s', n, i)))).*
  FROM site s, other, generate_series(0, sites - 1) AS i WHERE s.code = 'site-0-0';
UPDATE network_head SET reference_version = reference_version + 1;
"""


def sites_in_each(spread):
    return SITES // spread


def sites_of(number):
    return 1 if number == STALLED else max(sites_in_each(s) for s in SPREADS if s > number)


class ManySchemes(Ledger):
    closed_through = None  # the last day of the last night

    def spread(self, schemes, seconds, **more):
        """As `post` does. The events are spread evenly over the first so many schemes, and over their sites."""
        self.sites = f"{schemes}x{sites_in_each(schemes)}"
        return self.post(seconds, **more)

    def paced(self, schemes, seconds):
        """The 99th percentile at 1,000 events a second."""
        connections, pause_ms = PACED
        return self.spread(schemes, seconds, connections=connections, pause_ms=pause_ms)["p99_ms"]

    # Nights: of the first schemes, closed by the clock of another instance. The others wait for a year.

    def trade(self, schemes):
        """Some events of each scheme on each day that has ended."""
        self.database.run(f"UPDATE scheme SET close_after_minutes = {YEAR_MINUTES}")
        self._record(
            [
                network.event("issue", f"site-{n}-{i}", self.time_in(day), issued=network.cups(cup_300=1 + i))
                for day in self.days[:-1]
                for n in range(schemes)
                for i in range(min(sites_of(n), TRADING_SITES))
            ]
        )

    def night(self, schemes, days, seconds, **settings):
        """Lets the first so many days fall due, and posts meanwhile. Returns the seconds from the first close to the
        last, and the 99th percentile of the posts."""
        waited = (
            len(self.days) - 1 - days
        ) * DAY + HALF_DAY  # since the last of these days ended, by the last full hour
        self.database.run(
            f"UPDATE scheme SET close_after_minutes = {waited // timedelta(minutes=1)}"
            f" WHERE id IN (SELECT id FROM scheme ORDER BY id LIMIT {schemes})"
        )
        clock = Service(self.database, close_by_clock="yes", **settings)
        try:
            _, p99_ms = at_once(clock.start, lambda: self.paced(schemes, seconds))
            wait_until(lambda: self._closed(self.days[days - 1]) == schemes, "all are closed")
        finally:
            clock.stop()
        [(span,)] = self.database.rows(
            "SELECT extract(epoch FROM max(closed_at) - min(closed_at))::float FROM settlement WHERE closed_at >= ("
            " SELECT min(closed_at) FROM settlement WHERE business_date > coalesce(%s::date, '-infinity'))",
            self.closed_through,
        )
        self.closed_through = self.days[days - 1]
        return span, p99_ms

    def _closed(self, day):
        return self.database.rows("SELECT count(*) FROM settlement WHERE business_date = %s", day)[0][0]

    def group(self, groups):
        """Deals the schemes out to so many groups."""
        self.database.run(
            f"UPDATE scheme SET posting_group = id % {groups} + 1;"
            " UPDATE network_head SET reference_version = reference_version + 1;"
        )

    def _load(self, participants):
        """The first scheme is loaded. The others are copies of its rows, because loading them would take minutes."""
        cut_off = (self.hour - HALF_DAY).strftime("%H:%M")
        scheme = network.scheme("bay-0", self.days[0], CUPS, time_zone="UTC", terms=[TERMS], cut_off=cut_off)
        sites = {f"site-0-{i}": ("bay-0", f"member-{i % participants}") for i in range(sites_of(0))}
        self.service.admin.load(network.reference([scheme], sites))
        self.database.run(COPIES.format(others=[[n, sites_of(n)] for n in range(1, STALLED + 1)]))
        when, codes = self.time_in(self.days[0]), [c for c, in self.database.rows("SELECT code FROM site ORDER BY id")]
        self._record(
            [network.event("supply", s, when, cups=network.cups(cup_300=900000, cup_450=900000)) for s in codes]
        )
        self._record(
            [network.event("issue", s, when, issued=network.cups(cup_300=100000, cup_450=100000)) for s in codes]
        )

    def account(self):
        """As in one scheme. Every entry here is of an event, or of a close."""
        [(self.in_ledger, heads)] = self.database.rows(
            "SELECT (SELECT count(*) FROM event_id), (SELECT sum(last_entry) FROM scheme_head)"
            " - (SELECT count(*) FROM entry WHERE event IS NULL)"
        )
        assert heads == self.in_ledger, (heads, self.in_ledger)
        assert (
            self.acknowledged <= self.in_ledger <= self.acknowledged + self.unanswered
        ), f"{self.in_ledger} events in the ledgers; {self.acknowledged} acknowledged, {self.unanswered} not answered"

    @contextmanager
    def stalled(self):
        """Somebody holds the head of a scheme, and tills of that scheme wait for it in vain."""
        ended, recorded = threading.Event(), []
        tills = [threading.Thread(target=self._wait_in_vain, args=(ended, recorded)) for _ in range(STALLED_CLIENTS)]
        holder = psycopg2.connect(self.database.owner_dsn)
        try:
            cursor = holder.cursor()
            cursor.execute("SELECT FROM scheme_head WHERE scheme = (SELECT max(id) FROM scheme) FOR UPDATE")
            for till in tills:
                till.start()
            yield
        finally:
            ended.set()
            holder.close()
            for till in tills:
                till.join()
        self.acknowledged += len(recorded)
        self.account()

    def _wait_in_vain(self, ended, recorded):
        client = self.service.client(self.service.admin_key)
        site, when = f"site-{STALLED}-0", self.time_in(self.days[-1])
        while not ended.is_set():
            event = network.event("issue", site, when, issued=network.cups(cup_300=1))
            answer = client.send("POST", "/v1/events", event)
            assert answer.status in (201, 503), answer.body
            if answer.status == 201:
                recorded.append(event)
