# SPDX-License-Identifier: ISC
"""Memory runs out at any moment. The test sends each kind of request again and again, each time with another
allocation failing. Now and then all later allocations fail as well, until memory comes back. The answer must be right,
or a problem that says whether anything was recorded. The same request must then get the right answer, and the ledger
must have each event once."""
import gzip
import http.client
import json
import os
import re
import socket
import subprocess
import sys
import threading
import time
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from uuid import uuid4

import pytest

import network
from allocations import Allocations, described
from conftest import SHORT
from harness import Service
from network import at, cups, event
from proof import Footprint, sanitized
from tills import wait_until

sys.path.append(str(Path(__file__).parents[2] / "deploy" / "trade"))
import bank  # noqa: E402  the demo's bank

DAY = date.today() - timedelta(days=3)
PATIENCE_SECONDS = 60  # for each answer
DEADLINE_MS = 2000  # if libpq lacked memory, it may wait for bytes that it has already read
OUTAGE_SECONDS = 0.2  # then memory comes back, whether or not there is an answer
OUTAGES = 20  # for each kind of request
WRONG_MAX = 20
LOG_BYTES_PER_REQUEST = 4096
NOT_RECORDED, UNKNOWN = ("overloaded", "internal_error"), ("outcome_unknown",)
JSON = {"Content-Type": "application/json"}
CSV = {"Content-Type": "text/csv"}
OPENING_LINES = b"""\
what,site,to,cup_type,quantity,participant,amount
bank,,,,,,12.50
stock,anchor,,cup-300,5,,
shipment,anchor,brick,cup-300,2,,
due,,,,,hearth,1.00
"""
OFFICE_DAYS = 650  # more than any of its requests makes

# Accounts, mandates and the creditor id are made up.
OPERATOR = {
    "name": "Tern Bay Cup Pool",
    "bank_account": {"account": "00001000", "bank_code": "TB-000"},
    "creditor_id": "TB98ZZZ09999999999",
}
PARTIES = {
    name: {
        "bank_account": {"account": f"0000100{i}", "bank_code": f"TB-00{i}"},
        "mandate": {"id": f"M-{i}", "signed_on": "2026-01-02"},
    }
    for i, name in enumerate(("hearth", "miller", "quay"), 1)
}


# --- a request, and its answer ----------------------------------------------------------------------------------------


class Received:
    def __init__(self, response):
        self.status, self.headers, self.whole = response.status, dict(response.headers), True
        try:
            self.body = response.read()
        except http.client.IncompleteRead as error:
            self.body, self.whole = error.partial, False
        if self.whole and self.headers.get("Content-Encoding") == "gzip":
            self.body = gzip.decompress(self.body)

    @property
    def json(self):
        return json.loads(self.body)

    @property
    def reason(self):
        """The reason of a problem document or of its page; None: it is neither."""
        if self.headers.get("Content-Type") == "application/problem+json":
            return self.json["reason"]
        found = re.search(rb"<dt>Reason</dt><dd><a [^>]*><code>(\w+)</code>", self.body)
        return found and found[1].decode()

    @property
    def is_lack(self):
        """Whether the answer says that the service could not answer."""
        return (self.status == 503 and self.reason in ("overloaded", *UNKNOWN)) or (
            self.status == 500 and self.reason == "internal_error"
        )

    def __str__(self):
        return f"{self.status} {self.body[:300]!r}{'' if self.whole else ' (cut off)'}"


class Kind:
    """A kind of request. `make` gives the next: method, target, body, headers."""

    def __init__(self, name, make, stride=17, may_record=True):
        self.name, self.make, self.stride, self.may_record = name, make, stride, may_record

    def check(self, answer):
        """Any answer except a problem about memory must be right."""
        raise NotImplementedError

    def check_again(self, first, again):
        """The answer to the same request without a failure must be right; `first` may be None."""
        raise NotImplementedError


# Two pages of the same thing may differ in the minute in which they were made. Their times are in UTC if memory ran out
# while the local ones were looked up.
MAY_DIFFER = re.compile(rb'<p class="(?:made|zone)">[^<]*</p>\n?|(?<=Z">)[^<]*(?=</time>)')


class Read(Kind):
    """Each answer is the same as without a failure. If it contains a time or an id, at least its status is the same."""

    def __init__(self, sweep, name, method, target, body=None, headers=None, same=True, **more):
        request = (method, target, body, headers or {})
        super().__init__(name, lambda: request, **{"may_record": False, **more})
        self.same, self.right = same, sweep.send(request)
        assert self.right is not None and not self.right.is_lack

    def check(self, answer):
        assert answer.whole and answer.status == self.right.status, f"it was answered {answer}"
        assert answer.headers.get("Content-Type") == self.right.headers.get(
            "Content-Type"
        ), f"it was answered {answer.headers}"
        assert not self.same or MAY_DIFFER.sub(b"", answer.body) == MAY_DIFFER.sub(
            b"", self.right.body
        ), f"it was answered {answer}, not {self.right}"

    def check_again(self, first, again):
        self.check(again)


class Write(Kind):
    """A new write each time. `done` are the statuses of a write that is recorded now, `known` of a write recorded
    before."""

    def __init__(self, name, make, done, known, **more):
        super().__init__(name, make, **more)
        self.done, self.known = done, known

    def check(self, answer):
        assert answer.whole and answer.status == self.done, f"it was answered {answer}"

    def check_again(self, first, again):
        if first is None or first.reason in UNKNOWN:
            right = (self.done, self.known)
        else:
            right = (self.done,) if first.is_lack else (self.known,)
        assert again.status in right, f"first it was answered {first}, then {again}"


class Posts(Kind):
    """Posts events that are new each time: a single event, or many in one of the two forms."""

    def __init__(self, name, book, form, count=1):
        super().__init__(name, self.make_events)
        self.book, self.form, self.count = book, form, count

    def make_events(self):
        events = [self.book.issue() for _ in range(self.count)]
        if self.form == "stream":
            lines = b"".join(json.dumps(e).encode() + b"\n" for e in events)
            return "POST", "/v1/events", lines, {"Content-Type": "application/x-ndjson"}
        return "POST", "/v1/events", json.dumps(events if self.form == "array" else events[0]).encode(), JSON

    def results(self, answer):
        """The results. If the stream was cut off, the results that came."""
        if self.form == "stream":
            whole = [json.loads(line) for line in answer.body.splitlines(keepends=True) if line.endswith(b"\n")]
            return [result for result in whole if "status" in result]
        return answer.json["results"] if self.form == "array" else [answer.json]

    def check(self, answer):
        assert answer.status == (201 if self.form == "single" else 200), f"it was answered {answer}"
        assert answer.whole or self.form == "stream", f"it was answered {answer}"
        for result in self.results(answer):
            if result["status"] == "rejected":
                assert result["problem"]["reason"] in NOT_RECORDED, f"it was answered {answer}"
            else:
                assert result["status"] == "recorded", f"it was answered {answer}"
                self.book.note(result)

    def check_again(self, first, again):
        assert again.status in (200, 201), f"first it was answered {first}, then {again}"
        results = self.results(again)
        assert len(results) == self.count, f"it was answered {again}"
        assert self.form != "stream" or "recorded" in json.loads(
            again.body.splitlines()[-1]
        ), f"it was answered {again}"
        for result in results:
            nothing = first is not None and first.is_lack and first.reason not in UNKNOWN
            assert result["status"] in (
                ("recorded",) if nothing else ("recorded", "duplicate")
            ), f"first it was answered {first}, then {again}"
            self.book.note(result)


class Book:
    """The events that were sent, and their outcomes."""

    def __init__(self):
        self.sent, self.recorded = set(), {}

    def issue(self):
        made = event("issue", "anchor", at(DAY), issued=cups(cup_300=2), reference="till 1")
        self.sent.add(made["event_id"])
        return made

    def note(self, result):
        first = self.recorded.setdefault(result["event_id"], result["entry"])
        assert first == result["entry"], result

    def prove(self, client):
        items = [item for item in client.feed("tern-bay") if "event" in item]
        feed = {item["event"]["event_id"]: item["entry"] for item in items}
        assert len(items) == len(feed) and feed == self.recorded and feed.keys() == self.sent


# --- the sweep --------------------------------------------------------------------------------------------------------


class Sweep:
    """A service whose allocations the test controls."""

    def __init__(self, service, allocations, rng):
        self.service, self.allocations, self.rng = service, allocations, rng
        self.requests, self.wrong, self.outages = 0, [], {}

    def run(self, kinds):
        """Runs all kinds in turn. Afterwards the service must be as it was."""
        for kind in kinds:
            kind.check(self.send(kind.make()))  # things that are made only once
        bounds = Bounds(self)
        for kind in kinds:
            stride = kind.stride if SHORT else 1
            n = self.rng.randint(1, stride)
            while self.attempt(kind, n):
                n += stride
            print(f"{kind.name}: {n - stride} allocations")
        bounds.check()

    def attempt(self, kind, n):
        """Whether a request got as far as its n-th allocation."""
        request = kind.make()
        reached = self.ask(kind, request, n, and_all_after=False)
        if reached and self.wants_outage(kind):
            self.ask(kind, kind.make(), n, and_all_after=True)
        return reached

    def wants_outage(self, kind):
        """Some outages, spread over the allocations of a kind, because outages take longer."""
        left, skipped = self.outages.setdefault(kind.name, (1 if SHORT else OUTAGES, 0))
        due = left > 0 and skipped >= (3 if SHORT else OUTAGES - left)
        self.outages[kind.name] = (left - 1, 0) if due else (left, skipped + 1)
        return due

    def ask(self, kind, request, n, and_all_after):
        where = f"{kind.name}, allocation {n}{' and all after it' if and_all_after else ''}"
        self.allocations.watch(self.service.process.pid)
        try:
            answer = self.send_without_memory(request, n, and_all_after)
        except TimeoutError:
            self.fail(f"{where}: there was no answer for {PATIENCE_SECONDS} s")
        reached = self.allocations.count() >= n
        if answer is None and not self.lives():
            self.fail(
                f"{where}: the service ended with"
                f" {self.service.process.returncode}\n{self.service.log_text()[-2000:]}"
            )
        try:
            self.judge(kind, answer, and_all_after)
            again = self.send(request)
            assert again is not None and again.whole, "the second time it was not answered"
            kind.check_again(answer, again)
        except AssertionError as error:
            self.wrong.append(f"{where}: {error}\n    {described(self.allocations.trace())}")
            if len(self.wrong) == WRONG_MAX:
                pytest.fail("\n".join(self.wrong))
        return reached

    def fail(self, what):
        pytest.fail("\n".join([*self.wrong, what, f"    {described(self.allocations.trace())}"]))

    def lives(self):
        time.sleep(0.1)  # a process that has crashed takes a moment to end
        return self.service.process.poll() is None

    def send_without_memory(self, request, n, and_all_after):
        outage = threading.Timer(OUTAGE_SECONDS, self.allocations.disarm)
        self.allocations.arm(n, and_all_after)
        if and_all_after:
            outage.start()
        try:
            return self.send(request)
        finally:
            outage.cancel()
            self.allocations.disarm()

    def send(self, request):
        """The answer, on its own connection; None: there was none."""
        self.requests += 1
        method, target, body, headers = request
        connection = http.client.HTTPConnection("127.0.0.1", self.service.port, timeout=PATIENCE_SECONDS)
        try:
            connection.request(method, target, body, {"Authorization": f"Bearer {self.service.admin_key}", **headers})
            return Received(connection.getresponse())
        except (ConnectionError, http.client.RemoteDisconnected):
            return None
        finally:
            connection.close()

    def judge(self, kind, answer, and_all_after):
        trace = self.allocations.trace()
        if answer is None and and_all_after:
            return  # libmicrohttpd may have had no memory for the connection
        if answer is None:
            ours = [offset for file, offset in trace if os.path.basename(file) == "depositd"]
            assert trace and not ours, "there was no answer, though it was not libmicrohttpd alone that lacked memory"
        elif answer.is_lack and trace:
            assert answer.whole and (
                answer.status != 503 or "Retry-After" in answer.headers
            ), f"it was answered {answer}"
            assert kind.may_record or answer.reason not in UNKNOWN, f"it was answered {answer}"
        else:
            kind.check(answer)


class Bounds:
    """The bounds of the memory that the service keeps, and of its log."""

    def __init__(self, sweep):
        self.sweep, self.footprint, self.requests = sweep, Footprint(sweep.service), sweep.requests
        self.logged = os.path.getsize(sweep.service.log.name)

    def check(self):
        assert not self.sweep.wrong, "\n".join(self.sweep.wrong)
        grown, requests = self.footprint.memory_kb() - self.footprint.memory, self.sweep.requests - self.requests
        logged = (os.path.getsize(self.sweep.service.log.name) - self.logged) // requests
        print(
            f"{requests} requests; memory {self.footprint.memory} kB at first, {grown:+} kB; {logged} bytes of log"
            " for each"
        )
        assert grown <= self.footprint.MEMORY_BOUND_KB and logged <= LOG_BYTES_PER_REQUEST
        # If a request was not read to its end, its socket stays open for a while, so that the client can read why.
        wait_until(
            lambda: self.footprint.count_descriptors() <= self.footprint.descriptors + 2, "its descriptors are closed"
        )
        self.sweep.service.admin.assert_holds()


@pytest.fixture
def allocations(tmp_path):
    if sanitized():
        pytest.skip("a sanitizer has allocation functions of its own, and they can't be made to fail")
    return Allocations(tmp_path)


@pytest.fixture
def sweep(cluster, database, allocations, rng):
    """A service with a single read worker, so that each request uses the same database connection."""
    service = Service(database, key_rate=0, read_workers=1, post_deadline_ms=DEADLINE_MS, read_deadline_ms=DEADLINE_MS)
    service.admin_key = service.create_key("first-admin", "admin")
    service.environment.update(allocations.environment)
    service.start()
    service.admin = service.client(service.admin_key)
    yield Sweep(service, allocations, rng)
    service.stop()


def load(service, first_day):
    terms = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15", "netting": "central"}
    document = network.reference(
        [
            network.scheme(
                "tern-bay",
                first_day,
                {"cup-300": "2.50", "cup-450": "3.50"},
                terms=[terms],
                operator=OPERATOR,
                dual_control=False,
            )
        ],
        {s: ("tern-bay", p) for s, p in network.WORKED_SITES.items()},
    )
    document["participants"] = [{**p, **PARTIES[p["participant"]]} for p in document["participants"]]
    service.admin.load(document)


# --- the kinds --------------------------------------------------------------------------------------------------------


def test_posting(sweep):
    book = Book()
    load(sweep.service, DAY)
    first = book.issue()
    book.note(sweep.service.admin.post(first))

    def post(name, body, target="/v1/events", **more):
        return Read(
            sweep, name, "POST", target, body if isinstance(body, bytes) else json.dumps(body).encode(), JSON, **more
        )

    draft = event("issue", "anchor", at(DAY), issued=cups(cup_300=2))
    sweep.run(
        [
            post("dry run", draft, "/v1/events?dry_run=true"),
            post("malformed event", {**draft, "colour": [7]}),
            post("no JSON", b'{"kind": "iss'),
            post("unknown site", {**draft, "site": "nowhere"}),
            Read(sweep, "opening in lines", "POST", "/v1/schemes/tern-bay/opening?dry_run=true", OPENING_LINES, CSV),
            post("other content", {**first, "reference": "till 2"}, may_record=True),
        ]
    )
    sweep.run(
        [
            Posts("event", book, "single"),
            Posts("array of events", book, "array", 3),
            Posts("stream of events", book, "stream", 3),
            post("replay", first, may_record=True),
        ]
    )
    book.prove(sweep.service.admin)


def test_reading(sweep):
    admin = sweep.service.admin
    load(sweep.service, DAY)
    for sent in network.worked_events(DAY):
        admin.post(sent)
    admin.close("tern-bay", DAY)
    kept = "SELECT FROM particulars"
    wait_until(lambda: sweep.service.database.rows(kept), "the particulars are kept, which the return rate is made of")
    known = admin.feed("tern-bay")[0]["event"]["event_id"]
    page, journal, settlement = (
        {"Accept": "text/html"},
        "/v1/reports/journal?scheme=tern-bay",
        f"/v1/settlements/tern-bay/{DAY}",
    )

    def get(name, target, headers=None, **more):
        return Read(sweep, name, "GET", target, None, headers, **more)

    sweep.run(
        [
            get("event", f"/v1/events/{known}"),
            get("event page", f"/v1/events/{known}", page, stride=31),
            get("events", "/v1/events?scheme=tern-bay&limit=5"),
            get("proof", f"/v1/events/{known}/proof"),
            get("report as JSON", journal, stride=31),
            get("report as CSV", journal, {"Accept": "text/csv"}, stride=31),
            get("report page", journal, page, stride=67),
            get("report as gzip", journal, {"Accept-Encoding": "gzip"}, stride=31),
            get("events as gzip", "/v1/events?scheme=tern-bay&limit=5", {"Accept-Encoding": "gzip, identity;q=0"}),
            get("report with a plot", "/v1/reports/liability?scheme=tern-bay", page, stride=31),
            get("settlement", settlement),
            get("settlement page", settlement, page, stride=67),
            get("start page", "/", page, stride=131),
            get("start as JSON", "/"),
            get("reports page", "/v1/reports", page, stride=503),
            get("reference", "/v1/reference"),
            get("accounts", "/v1/accounts?scheme=tern-bay"),
            get("contract", "/openapi.json"),
            get("metrics", "/metrics", same=False),
            get("liveness", "/healthz"),
            get("unknown path", "/v1/nothing"),
            get("unknown path as a page", "/v1/nothing", page, same=False),
            get("unknown event", f"/v1/events/{uuid4()}"),
            get("unknown key", "/v1/me", {"Authorization": "Bearer dk_nothing"}),
        ]
    )
    # The start page shows when the checks were run, so they come last.
    sweep.run([get("checks", "/v1/checks?scheme=tern-bay", same=False, stride=31)])


def test_reference(sweep):
    load(sweep.service, DAY)
    numbers = iter(range(1, 1 << 20))

    def put(make_body):
        number = next(numbers)
        return "PUT", f"/v1/participants/party-{number}", json.dumps(make_body(number)).encode(), JSON

    def document():
        participants = [{"participant": f"guest-{next(numbers)}", "name": "Guest"} for _ in range(3)]
        return "POST", "/v1/reference", json.dumps({"participants": participants}).encode(), JSON

    def lines():
        guests = "".join(f"visitor-{next(numbers)},Visitor,00001001,TB-001\n" for _ in range(3))
        header = "participant,name,bank_account.account,bank_account.bank_code\n"
        return "POST", "/v1/participants", (header + guests).encode(), CSV

    def faulty_lines():
        return "POST", "/v1/cup-types", b'cup_type,name,volume_ml,mass_g\na,A,ten,\n"b,B,8,8\n', CSV

    def codes():
        number = next(numbers)
        body = {"accounts": [{"account": "bank", "code": str(number), "name": "Pool account"}]}
        path = f"/v1/schemes/tern-bay/office-accounts/{DAY + timedelta(days=number)}"
        return "PUT", path, json.dumps(body).encode(), JSON

    def key():
        body = {"name": f"till-{next(numbers)}", "holder": "Ann", "role": "pos", "sites": ["anchor"]}
        return "POST", "/v1/keys", json.dumps(body).encode(), JSON

    def totals():
        body = {"issued": next(numbers), "returned": 0, "collected": "0.00", "refunded": "0.00"}
        return "PUT", f"/v1/sites/anchor/day-totals/{DAY}", json.dumps(body).encode(), JSON

    sweep.send(totals())  # the first one is new
    sweep.run(
        [
            Write("participant", lambda: put(lambda n: {"name": f"Party {n}"}), 201, 200),
            Write("document", document, 200, 200),
            Write("lines of CSV", lines, 200, 200),
            Write("faulty lines", faulty_lines, 422, 422),
            Write("codes of accounts", codes, 201, 200),
            Write("key", key, 201, 409),
            Write("day totals", totals, 200, 200),
            Write("malformed participant", lambda: put(lambda n: {"nom": 7}), 422, 422),
        ]
    )


class Office:
    """Days of one scheme. Each is closed, approved, paid and booked by the bank once."""

    def __init__(self, sweep, first_day):
        self.sweep, self.admin, self.day, self.location = sweep, sweep.service.admin, first_day, None

    def trade(self):
        issues = [event("issue", site, at(self.day), issued=cups(cup_300=2)) for site in ("anchor", "brick", "dock")]
        assert {r["status"] for r in self.admin.post_many(issues)} == {"recorded"}

    def close(self):
        return "POST", f"/v1/schemes/tern-bay/days/{self.day}/close", None, {}

    def approve(self):
        return "POST", f"/v1/settlements/tern-bay/{self.day}/approve", None, {}

    def make_file(self):
        return "POST", f"/v1/settlements/tern-bay/{self.day}/files", b'{"type": "collections"}', JSON

    def statement(self):
        """The bank's bookings of the day's files, and a payment that nobody expects."""
        files = self.admin.items(f"/v1/settlements/tern-bay/{self.day}/files")
        bodies = [self.sweep.send(("GET", f"/v1/files/{f['file_id']}", None, {})).body for f in files]
        bookings = [b for body in bodies for b in bank.book(bank.read_file(body)[1], prefix=f"B-{self.day}")]
        stranger = bank.Booking(Decimal("7.00"), reference=f"R-{self.day}")
        text = bank.statement(
            f"S-{self.day}", OPERATOR["bank_account"]["account"], "CAD", str(date.today()), [*bookings, stranger]
        )
        return "POST", "/v1/bank-statements?scheme=tern-bay", text, {"Content-Type": "application/xml"}

    def states(self):
        return [p["status"] for p in self.admin.get(f"/v1/settlements/tern-bay/{self.day}")["payments"]]


def test_journals(sweep):
    """A person proposes, and another approves."""
    load(sweep.service, DAY)
    ann = sweep.service.create_key("ann", "accountant")

    def propose():
        legs = [{"account": "bank", "amount": "-12.50"}, {"account": "handling_fees", "amount": "12.50"}]
        proposal = event("journal", None, at(DAY), scheme="tern-bay", legs=legs, reason="bank charges of May")
        return "POST", "/v1/events", json.dumps(proposal).encode(), {**JSON, "Authorization": f"Bearer {ann}"}

    def approve():
        proposal = propose()
        assert sweep.send(proposal).status == 202
        return "POST", f"/v1/journals/{json.loads(proposal[2])['event_id']}/approve", None, {}

    sweep.run([Write("proposal", propose, 202, 202), Write("approval", approve, 200, 200)])


def test_the_office(sweep):
    """Work that can be done only once has a day for each allocation. The day is closed, paid and booked while that
    allocation fails."""
    stride = 31 if SHORT else 1
    first_day = date.today() - timedelta(days=OFFICE_DAYS // stride + 3)
    load(sweep.service, first_day)
    office = Office(sweep, first_day)
    kinds = [
        Write("close", office.close, 200, 200),
        Write("approval", office.approve, 200, 200),
        Write("payment file", office.make_file, 201, 409),
        Write("bank statement", office.statement, 200, 200),
    ]
    bounds, reached, n = Bounds(sweep), True, sweep.rng.randint(1, stride)
    while reached and office.day < date.today() - timedelta(days=2):
        office.trade()
        reached = any([sweep.ask(kind, kind.make(), n, and_all_after=False) for kind in kinds])
        assert office.states() == ["confirmed"] * 3, "\n".join(sweep.wrong)
        office.day += timedelta(days=1)
        n += stride
    assert not reached, f"there are more allocations than days: {n}"
    print(f"the office: {n} allocations")
    bounds.check()


def test_a_head_in_pieces(sweep):
    """The service keeps the beginning of a head until the rest comes. If it has no memory for the beginning, it says
    so."""
    head = b"GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    sweep.allocations.watch(sweep.service.process.pid)

    def ask(failing):
        """The answer when the next allocation after the first piece fails. Another thread may make that allocation."""
        with socket.create_connection(("127.0.0.1", sweep.service.port), timeout=PATIENCE_SECONDS) as connection:
            assert answers(sweep.service)  # connections are accepted in order, so this connection was accepted as well
            if failing:
                sweep.allocations.arm(1)
            connection.sendall(head[:30])
            if failing:
                wait_until(lambda: sweep.allocations.count() > 0, "the service needs memory")
            sweep.allocations.disarm()
            connection.sendall(head[30:])
            response = http.client.HTTPResponse(connection)
            try:
                response.begin()
            except http.client.RemoteDisconnected:
                pytest.fail(f"it was not answered: {described(sweep.allocations.trace())}")
            return Received(response)

    refused = None
    for _ in range(50):
        answer = ask(failing=True)
        assert answer.whole and (answer.status == 200 or answer.reason == "overloaded"), f"it was answered {answer}"
        assert ask(failing=False).status == 200
        if answer.status == 503:
            refused = answer
            break
    assert refused and "pieces" in refused.json["detail"], f"it was answered {refused}"
    assert refused.headers["Retry-After"] and refused.headers["Connection"] == "close"


# --- the commands -----------------------------------------------------------------------------------------------------

SAMPLE = 4 if SHORT else 120  # allocations of each command


def run_without_memory(sweep, n, *arguments):
    """The exit of a command whose n-th allocation fails, counted from its start."""
    sweep.allocations.arm(n)
    done = subprocess.run(
        [sweep.service.binary, *arguments],
        env=sweep.service.environment,
        capture_output=True,
        text=True,
        timeout=PATIENCE_SECONDS,
    )
    sweep.allocations.disarm()
    return done


def sampled(sweep, count):
    return sorted(sweep.rng.sample(range(1, count + 1), min(SAMPLE, count)))


COMMANDS = {"migrate": 1, "check": 1, "verify": 2, "key create": 1}  # and the status of a failed command


def test_commands_say_that_they_failed(sweep):
    load(sweep.service, DAY)
    for command, failed in COMMANDS.items():

        def arguments(n):
            return [*command.split(), *([f"key-{n}", "--role", "auditor"] if command == "key create" else [])]

        assert run_without_memory(sweep, 1 << 40, *arguments(0)).returncode == 0
        for n in sampled(sweep, sweep.allocations.count()):
            done = run_without_memory(sweep, n, *arguments(n))
            assert done.returncode in (0, failed), f"{command}, allocation {n}: {done}"
            assert done.returncode == 0 or done.stderr.strip(" \n:") not in (
                "",
                "depositd",
            ), f"{command}, allocation {n}: {done}"
    sweep.service.admin.assert_holds()


def answers(service):
    try:
        return service.client().send("GET", "/readyz").status == 200
    except OSError:
        return False


def test_a_service_starts_or_says_why_not(sweep):
    """If it starts after all, it serves, and stops in good order."""
    service = sweep.service
    service.stop()

    def start(n):
        """Its status; None: it serves."""
        logged = os.path.getsize(service.log.name)
        sweep.allocations.arm(n)
        service.process = subprocess.Popen(
            [service.binary, "serve"], env=service.environment, stdout=service.log, stderr=service.log
        )
        wait_until(lambda: service.process.poll() is not None or answers(service), f"allocation {n}: it serves or ends")
        sweep.allocations.disarm()
        status = service.process.poll()
        assert status in (None, 1), f"allocation {n}: {status}\n{service.log_text()}"
        assert status is None or os.path.getsize(service.log.name) > logged, f"allocation {n}: it ended without a word"
        if status is None:
            service.stop()
        service.process = None

    start(1 << 40)
    for n in sampled(sweep, sweep.allocations.count()):
        start(n)
