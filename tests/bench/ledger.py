# SPDX-License-Identifier: ISC
"""A ledger under load: a database with a service on it, which is filled and posted to. After each load, the
acknowledged events are compared with the ledger. If they differ, the measurement is void."""
import http.client
import json
import random
import re
import threading
import time
from datetime import datetime, timedelta, timezone
from pathlib import Path

import network
from baseline import run, sql
from harness import Database, Service, at_once, new_service

CUPS = {"cup-300": "2.50", "cup-450": "3.50"}
TERMS = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}
ARRAY_MAX = 1000  # events in an array
SITES_MAX = 2000  # sites in each document of reference data, which is bounded in bytes
FILL_CONNECTIONS = 3  # an array is answered while another is recorded, and a third is made
READY_PER_SECOND = 25_000  # events that the client has ready for each second of a run
HEAD_BYTES = 1000
HALF_DAY, DAY = timedelta(hours=12), timedelta(days=1)


class Ledger:
    """One scheme, whose open business day began twelve hours before the last full hour."""

    cup_types = network.CUPS

    def __init__(self, stack, seed, sites=200, participants=20, past_days=0):
        self.stack, self.sites, self.random = stack, sites, random.Random(seed)
        self.acknowledged = self.unanswered = self.in_ledger = self.last_entry = 0
        self.hour = datetime.now(timezone.utc).replace(minute=0, second=0, microsecond=0)
        today = (self.hour - HALF_DAY).date()
        self.days = [today - n * DAY for n in range(past_days, -1, -1)]
        self.database = Database()
        stack.callback(self.database.drop)
        self.service = self._in_service(new_service(self.database, key_rate=0, max_connections_per_address=0))
        self._load(participants)

    def _in_service(self, service):
        self.stack.callback(service.stop)
        service.contract = None  # the tests compare answers with it; here that would cost more than the answers
        return service

    def another_instance(self):
        second = Service(self.database, key_rate=0, max_connections_per_address=0).start()
        second.admin_key = self.service.admin_key
        return self._in_service(second)

    # The network, with so many cups out and at each site that no event is an exception

    def _load(self, participants):
        scheme = network.scheme(
            "tern-bay",
            self.days[0],
            CUPS,
            time_zone="UTC",
            terms=[TERMS],
            cut_off=(self.hour - HALF_DAY).strftime("%H:%M"),
        )
        document = network.reference(
            [scheme],
            {f"site-{n}": ("tern-bay", f"member-{n % participants}") for n in range(self.sites)},
            self.cup_types,
        )
        sites, admin = document.pop("sites"), self.service.admin
        admin.load(document)
        for start in range(0, self.sites, SITES_MAX):
            admin.load({"sites": sites[start : start + SITES_MAX]})
        when, codes = self.time_in(self.days[0]), [site["site"] for site in sites]
        self._record(
            [network.event("supply", c, when, cups=network.cups(cup_300=900000, cup_450=900000)) for c in codes]
        )
        self._record(
            [network.event("issue", c, when, issued=network.cups(cup_300=100000, cup_450=100000)) for c in codes]
        )

    def _record(self, events):
        for start in range(0, len(events), ARRAY_MAX):
            for result in self.service.admin.post_many(events[start : start + ARRAY_MAX]):
                assert result["status"] == "recorded" and not result["exceptions"], result
        self.acknowledged += len(events)
        self.account()

    def time_in(self, day):
        """A time half way through a business day; for the open day, the last full hour."""
        return (self.hour - (self.days[-1] - day)).isoformat()

    def account(self):
        """Checks that every acknowledged event is in the ledger, and nothing else except events that were sent and
        never answered."""
        count, last = self.database.rows(
            "SELECT count(event), max(entry) FROM entry WHERE scheme = 1 AND entry > %s", self.last_entry
        )[0]
        self.in_ledger += count
        self.last_entry = last or self.last_entry
        assert (
            self.acknowledged <= self.in_ledger <= self.acknowledged + self.unanswered
        ), f"{self.in_ledger} events in the ledger; {self.acknowledged} acknowledged, {self.unanswered} not answered"

    # wrk

    def post(self, seconds, connections, lines=1, pause_ms=0, goods="mixed", services=None):
        """Returns wrk's figures, and events_per_s. Several services share the connections."""
        services = services or [self.service]
        each = connections // len(services)
        seeds = [self.random.getrandbits(31) for _ in services]
        outcomes = at_once(
            *(
                lambda service=service, seed=seed: self._wrk(service, seed, seconds, each, lines, pause_ms, goods)
                for service, seed in zip(services, seeds)
            )
        )
        self.acknowledged += sum(o["requests"] for o in outcomes) * lines
        self.unanswered += each * len(services) * lines  # wrk hangs up when its time has come
        self.account()  # wrk counts refusals; this finds answers without a record
        return {**outcomes[0], "events_per_s": sum(o["requests"] * lines / o["seconds"] for o in outcomes)}

    def _wrk(self, service, seed, seconds, connections, lines, pause_ms, goods):
        ready = seconds * (connections * 1000 // pause_ms if pause_ms else READY_PER_SECOND // lines)
        output = run(
            "wrk",
            "--threads",
            1,
            "--connections",
            connections,
            "--duration",
            f"{seconds}s",
            "--timeout",
            "30s",
            "--script",
            Path(__file__).with_name("post.lua"),
            f"http://127.0.0.1:{service.port}/v1/events",
            "--",
            service.admin_key,
            seed,
            self.sites,
            lines,
            pause_ms,
            goods,
            ready,
        )
        outcome = json.loads(output.splitlines()[-1])
        assert outcome["requests"] > 0 and outcome["refused"] == outcome["broken"] == 0, outcome
        return outcome

    # Large amounts: forms of 1,000 events each, written once, in which only the ids are filled in anew

    def _forms(self, day, separator):
        numbers = range(max(4 * ARRAY_MAX, self.sites))
        events = [self._event_form(n % self.sites, day) for n in numbers]
        return [separator.join(events[start : start + ARRAY_MAX]) for start in range(0, len(events), ARRAY_MAX)]

    def _event_form(self, site, day):
        kind, member = self.random.choice([("issue", "issued"), ("issue", "issued"), ("return", "returned")])
        cup_type, value = self.random.choice(list(CUPS.items()))
        event = {
            "event_id": "%s",
            "kind": kind,
            "site": f"site-{site}",
            "occurred_at": self.time_in(day),
            member: [{"cup_type": cup_type, "quantity": 1}],
            **self.random.choice([{}, {"amount": value, "tender": "card"}]),
        }
        return json.dumps(event, separators=(",", ":"))

    def fill(self, count, day):
        """Posts so many events in a day, as arrays. Returns the seconds that it took."""
        started = time.monotonic()
        forms, arrays = self._forms(day, ","), count // ARRAY_MAX
        at_once(
            *(
                lambda first=first, seed=self.random.getrandbits(64): self._fill_arrays(
                    forms, range(first, arrays, FILL_CONNECTIONS), seed
                )
                for first in range(FILL_CONNECTIONS)
            )
        )
        self.acknowledged += arrays * ARRAY_MAX
        seconds = time.monotonic() - started
        self.account()
        return seconds

    def _fill_arrays(self, forms, numbers, seed):
        client, ids = self.service.client(self.service.admin_key), random.Random(seed)
        for n in numbers:
            answer = client.send("POST", "/v1/events", f"[{filled(forms[n % len(forms)], ids)}]".encode())
            assert answer.status == 200 and answer.json["recorded"] == ARRAY_MAX, answer.body[:1000]

    def stream(self, count):
        """Events/s of a request with `count` lines, or None if the service does not take streams."""
        forms = self._forms(self.days[-1], "\n")
        body = b"".join(filled(forms[n % len(forms)], self.random).encode() + b"\n" for n in range(count // ARRAY_MAX))
        started = time.monotonic()
        status, answer = self._exchange_stream(body)
        seconds = time.monotonic() - started
        if status in (413, 415):  # it knows no streams, but bodies of a bounded size
            return None
        results = answer.splitlines()
        assert status == 200 and json.loads(results[-1]) == {"recorded": count, "duplicate": 0, "rejected": 0}, results[
            -1
        ]
        assert len(results) == count + 1, len(results)
        self.acknowledged += count
        self.account()
        return count / seconds

    def _exchange_stream(self, body):
        connection = http.client.HTTPConnection("127.0.0.1", self.service.port, timeout=600)
        connection.putrequest("POST", "/v1/events")
        connection.putheader("Authorization", f"Bearer {self.service.admin_key}")
        connection.putheader("Content-Type", "application/x-ndjson")
        connection.putheader("Content-Length", str(len(body)))
        connection.endheaders()

        def send():
            try:
                connection.sock.sendall(body)
            except OSError:
                pass  # it was refused before its end, and the answer says why

        # Answers may come while events are still on their way. A client that first sends everything might wait for
        # ever.
        sender = threading.Thread(target=send)
        sender.start()
        response = connection.getresponse()
        status, answer = response.status, response.read()
        sender.join()
        connection.close()
        return status, answer

    # Figures of the service and its database

    def peak_memory_mb(self, service=None):
        return peak_memory_mb(service or self.service)

    def size_bytes(self):
        return size_bytes(self.database)

    def tidy(self):
        """Does the work that autovacuum does within a minute or so of a fill, and makes a checkpoint, so that none
        falls due later."""
        sql("VACUUM (ANALYZE)", self.database.name)
        sql("CHECKPOINT")

    def close(self, day):
        """Closes a day. Returns the seconds that it took."""
        started = time.monotonic()
        self.service.admin.close("tern-bay", day)
        return time.monotonic() - started

    def _get(self, service, target):
        connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=120)
        connection.request("GET", target, headers={"Authorization": f"Bearer {self.service.admin_key}"})
        return connection, connection.getresponse()

    def read_to_end(self, target, service):
        """The lines of an answer, and the seconds until its first byte and until its end."""
        started = time.monotonic()
        connection, response = self._get(service, target)
        lines, first = response.read(1).count(b"\n"), time.monotonic() - started
        while piece := response.read(1 << 16):
            lines += piece.count(b"\n")
        seconds = time.monotonic() - started
        connection.close()
        assert response.status == 200 and lines > self.in_ledger, (response.status, lines)
        return lines, first, seconds

    def first_lines(self, target):
        """The seconds until the beginning of an answer is there."""
        started = time.monotonic()
        connection, response = self._get(self.service, target)
        beginning = response.read(HEAD_BYTES)
        seconds = time.monotonic() - started
        connection.close()
        assert response.status == 200 and beginning.count(b"\n") > 1, beginning
        return seconds


def peak_memory_mb(service):
    """The highest resident memory that the service's process has had, in millions of bytes."""
    status = Path(f"/proc/{service.process.pid}/status").read_text()
    return int(re.search(r"^VmHWM:\s+(\d+) kB", status, re.MULTILINE)[1]) * 1024 / 1e6


def size_bytes(database):
    sql("CHECKPOINT")
    return sql("SELECT pg_database_size(current_database())", database.name)[0][0]


def filled(form, ids):
    """The form with a version 4 UUID for each of its events, of 120 random bits."""
    text = ids.randbytes(16 * ARRAY_MAX).hex()
    parts = (text[i : i + 32] for i in range(0, len(text), 32))
    return form % tuple(f"{t[:8]}-{t[8:12]}-4{t[13:16]}-8{t[17:20]}-{t[20:]}" for t in parts)
