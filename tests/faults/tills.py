# SPDX-License-Identifier: ISC
"""The load: tills that post events singly, in arrays and as streams, and that behave as a till should. Each event has
its id, and is posted again until it has a final answer. Everything sent and every answer is noted for the proof."""
import http.client
import json
import random
import threading
import time
from dataclasses import dataclass, field
from uuid import UUID

import network
from harness import PATIENCE_SECONDS, wait_until
from network import at, cups, event

SITES = {
    "anchor": ("tern-bay", "hearth"),
    "brick": ("tern-bay", "miller"),
    "copper": ("tern-bay", "hearth"),
    "dock": ("tern-bay", "quay"),
    "eddy": ("tern-bay", "miller"),
}
KINDS = {"issue": 45, "return": 30, "exchange": 10, "reversal": 6, "dispatch": 4, "receipt": 4, "refused": 1}
FORMS = ("single", "array", "stream")
PAUSE_SECONDS = 0.05  # before an event is posted again
THINK_SECONDS = 0.05  # average time between posts; otherwise the ledger grows faster than it can be proven


def reference(first_day, **more):
    """The network that the tills trade in: one scheme from its first day on."""
    values = {"cup-300": "2.50", "cup-450": "3.50"}
    return network.reference([network.scheme("tern-bay", first_day, values, **more)], SITES)


def many_schemes(first_day, schemes, groups):
    """So many networks, dealt out to groups, and their sites."""
    values = {"cup-300": "2.50", "cup-450": "3.50"}
    codes = [f"bay-{n:02}" for n in range(schemes)]
    sites = {f"{code}-{site}": (code, who) for code in codes for site, (_, who) in list(SITES.items())[:3]}
    rows = [network.scheme(code, first_day, values, group=n % groups + 1) for n, code in enumerate(codes)]
    return network.reference(rows, sites), sites


@dataclass
class Book:
    """The events that all tills have sent, and their answers."""

    sent: dict = field(default_factory=dict)  # event id -> event; noted before it goes out
    answers: dict = field(default_factory=dict)  # event id -> (entry, business date, late)
    refused: set = field(default_factory=set)  # ids that got a final refusal
    unanswered: int = 0  # requests whose connection gave no answer
    overloaded: int = 0  # requests answered 503
    errors: list = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note_result(self, result):
        event_id, sent = result["event_id"], self.sent[result["event_id"]]
        if result["status"] == "rejected" and result["problem"]["retryable"]:  # only this part of the request failed
            self.count("overloaded")
            return
        if result["status"] == "rejected":
            assert sent["site"] == "nowhere" and result["problem"]["reason"] == "site_unknown", (sent, result)
            self.refused.add(event_id)
            return
        answer = (result["entry"], result["business_date"], result["late"])
        with self.lock:
            first = self.answers.setdefault(event_id, answer)
        assert first == answer, f"{event_id} was answered {first}, then {answer}"

    def count(self, what):
        with self.lock:
            setattr(self, what, getattr(self, what) + 1)

    def has_final(self, event_id):
        return event_id in self.answers or event_id in self.refused


class Trade:
    """The trade of a counter, by its own random numbers."""

    def __init__(self, rng, days, sites):
        self.rng, self.days, self.sites, self.trips, self.undoable, self.out = rng, days, sites, 0, [], []

    def next_event(self):
        made = getattr(self, "_" + self.rng.choices(list(KINDS), KINDS.values())[0])()
        return {**made, "event_id": str(UUID(int=self.rng.getrandbits(128), version=4))}

    def recorded(self, made):
        """Only events that are in the ledger can be referred to."""
        if made["kind"] == "dispatch":
            self.out.append(made)
        elif made["kind"] in ("issue", "return", "exchange"):
            self.undoable.append(made)

    def _at(self, kind, site=None, **members):
        when = at(self.rng.choice(self.days), f"{self.rng.randint(6, 20):02}:{self.rng.randint(0, 59):02}")
        return event(kind, site or self._site(), when, **members)

    def _site(self):
        return self.rng.choice(list(self.sites))

    def _cups(self):
        return cups(**{self.rng.choice(("cup_300", "cup_450")): self.rng.randint(1, 5)})

    def _issue(self):
        self.trips += 1
        return self._at("issue", issued=self._cups(), reference=f"trip {self.trips}")

    def _return(self):
        return self._at("return", returned=self._cups(), tender="cash")

    def _exchange(self):
        return self._at("exchange", returned=self._cups(), issued=self._cups(), amount="0.00")

    def _dispatch(self):
        origin = self._site()
        to = self.rng.choice(
            [s for s, (scheme, _) in self.sites.items() if s != origin and scheme == self.sites[origin][0]]
        )
        return self._at("dispatch", origin, cups=self._cups(), to=to)

    def _receipt(self):
        if not self.out:
            return self._dispatch()
        dispatch = self.out.pop(self.rng.randrange(len(self.out)))
        return self._at("receipt", dispatch["to"], cups=dispatch["cups"], dispatch=dispatch["event_id"])

    def _reversal(self):
        if not self.undoable:
            return self._issue()
        undone = self.undoable.pop(self.rng.randrange(len(self.undoable)))
        return self._at("reversal", undone["site"], reverses=undone["event_id"])

    def _refused(self):
        return self._at("issue", "nowhere", issued=self._cups())


class Till(threading.Thread):
    def __init__(self, load, rng):
        super().__init__(daemon=True)
        self.load, self.book, self.rng, self.trade = load, load.book, rng, Trade(rng, load.days, load.sites)
        self.unanswered = 0
        self.clients = [service.client(load.key, checked=False) for service in load.services]

    def run(self):
        try:
            while not self.load.stopping.is_set():
                time.sleep(self.rng.expovariate(1 / THINK_SECONDS))
                form = self.rng.choice(self.load.forms)
                self.deliver(form, [self.trade.next_event() for _ in range(1 if form == "single" else self.load.many)])
        except BaseException as error:  # the load raises it in the test's own thread
            self.book.errors.append(error)
        for client in self.clients:
            if client.connection:
                client.connection.close()

    def deliver(self, form, events):
        """Posts again and again, to any instance, until each event has its final answer."""
        deadline = time.monotonic() + PATIENCE_SECONDS
        self.book.sent.update((e["event_id"], e) for e in events)
        left = events
        while left:
            if self.load.abandoned:
                return
            assert time.monotonic() < deadline, f"no final answer for {PATIENCE_SECONDS} s: {left[0]}"
            if not self.attempt(form, left):
                time.sleep(PAUSE_SECONDS)
            left = [e for e in left if not self.book.has_final(e["event_id"])]
        for e in events:
            if e["event_id"] in self.book.answers:
                self.trade.recorded(e)

    def attempt(self, form, events):
        """Whether the answer was whole."""
        try:
            answer = self.post(form, events)
        except (OSError, http.client.HTTPException) as error:
            self.unanswered += 1
            self.book.count("unanswered")
            if form == "stream":  # lines that arrived are answers, even if the rest was lost
                self.take_lines(getattr(error, "partial", b""))
            return False
        if answer.status == 503:
            assert answer.headers["Retry-After"], answer.body[:1000]
            self.book.count("overloaded")
            return False
        if form == "stream":
            assert answer.status == 200, answer.body[:1000]
            return self.take_lines(answer.body)
        for result in self.results(form, events, answer):
            self.book.note_result(result)
        return True

    def post(self, form, events):
        client = self.rng.choice(self.clients)
        if form == "stream":
            lines = b"".join(json.dumps(e).encode() + b"\n" for e in events)
            return client.send("POST", "/v1/events", lines, {"Content-Type": "application/x-ndjson"})
        return client.send("POST", "/v1/events", events[0] if form == "single" else events)

    def results(self, form, events, answer):
        if form == "array":
            assert answer.status == 200 and len(answer.json["results"]) == len(events), answer.body[:1000]
            return answer.json["results"]
        if answer.status in (200, 201):
            return [answer.json]
        assert answer.status == 422, answer.body[:1000]  # the problem of the single event is that of the answer
        return [{"event_id": events[0]["event_id"], "status": "rejected", "problem": answer.json}]

    def take_lines(self, text):
        """Each whole line is an answer. Returns whether the summary is there, which says that nothing is missing."""
        whole = [json.loads(line) for line in text.splitlines(keepends=True) if line.endswith(b"\n")]
        for result in whole:
            if "status" in result:
                self.book.note_result(result)
        return bool(whole) and "recorded" in whole[-1]


class Load:
    """Tills that post until the context ends. It ends only when each event has its final answer."""

    def __init__(self, services, rng, days, tills=6, forms=FORMS, many=10, book=None, sites=None):
        """`many`: events in an array or a stream; `book`: the book of an earlier load of the same ledger; `sites`:
        where the tills are, if not in tern-bay."""
        self.sites = sites or SITES
        self.services, self.key, self.days, self.forms, self.many = services, services[0].admin_key, days, forms, many
        self.book, self.stopping, self.abandoned = book or Book(), threading.Event(), False
        self.tills = [Till(self, random.Random(rng.getrandbits(64))) for _ in range(tills)]

    def __enter__(self):
        for till in self.tills:
            till.start()
        return self

    def __exit__(self, *raised):
        self.abandoned = raised[0] is not None  # by a test that has failed
        self.stopping.set()
        for till in self.tills:
            till.join()
        if not raised[0]:
            self.raise_errors()

    def scheme_of(self, event_id):
        """None: it names a site that is nowhere."""
        return self.sites.get(self.book.sent[event_id]["site"], (None,))[0]

    def raise_errors(self):
        if self.book.errors:
            raise self.book.errors[0]

    def wait_until(self, condition, what):
        """A till's error also ends the wait."""

        def is_over():
            self.raise_errors()
            return condition()

        wait_until(is_over, what, pause=0.005)

    def wait_for(self, what, more):
        """Waits until there are so many more "answers", or requests "unanswered" or "overloaded"."""

        def count():
            value = getattr(self.book, what)
            return value if isinstance(value, int) else len(value)

        goal = count() + more
        self.wait_until(lambda: count() >= goal, f"{more} more {what}")

    def wait_until_turned_away(self):
        """Waits, after the service has ended, until no till still expects an answer. Of two failures, the second began
        after the end."""
        before = [till.unanswered for till in self.tills]
        self.wait_until(lambda: all(t.unanswered >= b + 2 for t, b in zip(self.tills, before)), "all turned away")
