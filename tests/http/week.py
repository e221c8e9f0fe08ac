# SPDX-License-Identifier: ISC
"""A week of mornings in the office, described once. Hands do the steps: ByHttp here sends requests with keys, and
test_week.py has the hands that work in a browser. Tills post the same events in each week, to the event's id."""
import re
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import NAMESPACE_OID, uuid5
from zoneinfo import ZoneInfo

import bank
import network
from clocks import MovedDatabase
from harness import Service, wait_until
from network import at, cups

SCHEME, ACCOUNT = "tern-bay", "00001000"
FIRST = date(2025, 9, 29)  # a Monday: the month ends on Tuesday
MONTH = f"{FIRST:%Y-%m}"
DAY, ZONE = timedelta(days=1), ZoneInfo("America/St_Johns")
VALUES = {"cup-300": Decimal("2.50"), "cup-450": Decimal("3.50")}
PEOPLE = {
    "ann": ("accountant", {}),
    "ben": ("accountant", {}),
    "otto": ("auditor", {}),
    "hearth-office": ("participant", {"participant": "hearth"}),
    "anchor-till": ("pos", {"sites": ["anchor"]}),
}
XML = {"Content-Type": "application/xml"}


def party(number):
    account = {"account": f"0000100{number}", "bank_code": "TB-001"}
    return {"bank_account": account, "mandate": {"id": f"M-{number}", "signed_on": "2025-04-01"}}


def reference():
    terms = {"netting": "central", "service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}
    operator = {"name": "Pool", "bank_account": {"account": ACCOUNT, "bank_code": "TB-000"}}
    scheme = network.scheme(
        SCHEME,
        FIRST,
        {cup: str(value) for cup, value in VALUES.items()},
        terms=[terms],
        variance_limit="5.00",
        close_after_minutes=60,
        operator={**operator, "creditor_id": "TB98ZZZ0999"},
    )
    sites = {s: (SCHEME, p) for s, p in network.WORKED_SITES.items()}
    return network.reference([scheme], sites, **{p: party(n) for n, p in enumerate(("hearth", "miller", "quay"), 1)})


def event(name, kind, site, when, **members):
    """An event whose id is made of its name."""
    return {**network.event(kind, site, when, **members), "event_id": str(uuid5(NAMESPACE_OID, name))}


def traded(n):
    """The events that tills post on the n-th day."""

    def one(name, kind, site, clock, day=n, **members):
        return event(f"{n} {name}", kind, site, at(FIRST + day * DAY, clock), **members)

    sent = one("sent", "dispatch", "brick", "14:00", cups=cups(cup_300=20), to="dock")
    return [
        [
            one("supply anchor", "supply", "anchor", "06:00", cups=cups(cup_300=100, cup_450=40)),
            one("supply brick", "supply", "brick", "06:10", cups=cups(cup_300=60)),
            one("supply copper", "supply", "copper", "06:20", cups=cups(cup_300=40, cup_450=20)),
            one("out", "issue", "anchor", "09:00", issued=cups(cup_300=30, cup_450=10), amount="110.00", tender="card"),
            one("back", "return", "brick", "09:10", returned=cups(("cup-300", 1), cup_300=19), amount="50.00"),
            one("dock", "return", "dock", "09:20", returned=cups(cup_300=6)),
        ],
        [
            one("out", "issue", "anchor", "09:00", issued=cups(cup_300=22), tender="card"),
            one("off", "return", "brick", "11:00", returned=cups(cup_300=8), amount="22.00"),
            sent,
            one("came", "receipt", "dock", "15:00", cups=cups(cup_300=19), dispatch=sent["event_id"]),
            one("late", "issue", "copper", "19:00", day=0, issued=cups(cup_450=2)),
        ],
        [
            one("out", "issue", "anchor", "09:00", issued=cups(cup_300=12), reference="till 2/1187"),
            one("back", "return", "dock", "12:00", returned=cups(cup_300=9)),
            one("count", "count", "copper", "20:00", cups=[{"cup_type": "cup-300", "counted": 38}]),
        ],
        [
            one("out", "issue", "copper", "09:00", issued=cups(cup_300=10)),
            one("back", "return", "brick", "12:00", returned=cups(cup_300=12)),
        ],
    ][n]


# The taps of a person at the counter: (act, cup type, how many, the amount if it was not the usual).
TAPS = [
    ("out", "cup-300", 1, None),
    ("back", "cup-300", 1, None),
    ("swap", "cup-450", 1, None),
    ("out", "cup-300", 3, "8.00"),
    ("back", "cup-450", 2, None),
]
JOURNAL = [
    {"account": "handling_fees", "amount": "1.50"},
    {"account": "tax", "amount": "-1.50"},
]


class Week:
    """A service whose clock is moved, and the keys of the office. `live` lets hands work through the week."""

    def __init__(self, database, clock):
        self.clock, self.service = clock, Service(database, close_by_clock="yes")
        self.service.environment.update(clock.environment)
        self.database_clock = MovedDatabase(database)
        self.now(0, "05:00")
        self.secrets = {"first-admin": self.service.create_key("first-admin", "admin")}
        self.service.start()
        self.admin = self.service.client(self.secrets["first-admin"])
        self.admin.load(reference())
        self.secrets.update({k: self.service.create_key(k, role, **more) for k, (role, more) in PEOPLE.items()})
        self.balance, self.orders, self.booked, self.statements = Decimal(0), [], {}, 0

    def now(self, n, clock):
        """Moves the clock to a time of the n-th day."""
        hours, minutes = map(int, clock.split(":"))
        midnight = datetime.combine(FIRST + n * DAY, datetime.min.time(), ZONE)
        self.database_clock.set(self.clock.set(midnight + timedelta(hours=hours, minutes=minutes)))

    def trade(self, n, clock="22:00"):
        self.now(n, clock)
        assert {r["status"] for r in self.admin.post_many(traded(n))} == {"recorded"}

    def wait_for_close(self, n):
        target = f"/v1/settlements/{SCHEME}/{FIRST + n * DAY}"
        wait_until(lambda: self.admin.send("GET", target).status == 200, f"the clock closes day {n}")

    def bank(self, n, *changed, more=()):
        """The statement of the n-th day: the orders that are due, some of them `changed` (party, a function of the
        booking), and more bookings."""
        today = str(FIRST + n * DAY)
        due = [o for o in self.orders if o.requested_on <= today]
        self.orders = [o for o in self.orders if o not in due]
        bookings = bank.book(due, f"B{n}")
        self.booked.update({(n, o.other_name): b for o, b in zip(due, bookings)})
        change = dict(changed)
        bookings = [change[o.other_name](b) if o.other_name in change else b for o, b in zip(due, bookings)]
        bookings = [b for b in bookings if b is not None] + list(more)
        self.statements += 1
        data = bank.statement(
            f"S-{self.statements}", ACCOUNT, "CAD", today, bookings, self.balance, created_at=f"{today}T17:00:00-02:30"
        )
        self.balance += sum(b.amount for b in bookings)
        return data

    def pay(self, hands, n):
        """Both files of a day go to the bank."""
        for type in ("payouts", "collections"):
            self.orders += bank.read_file(hands.make_file(n, type))[1]

    # --- the week --------------------------------------------------------------------------------------------------
    def live(self, hands):
        self.monday(hands)
        self.tuesday(hands)
        self.wednesday(hands)
        self.thursday(hands)
        self.friday(hands)
        return self

    def monday(self, hands):
        self.trade(0, "10:00")
        with hands.of("anchor-till"):
            hands.serve(TAPS)
            hands.undo_last()
        self.now(1, "03:10")
        with hands.of("ben"):
            hands.close(0)

    def tuesday(self, hands):
        """The bank forgets whose a collection is, books a stranger's money, and takes a charge."""
        self.now(1, "09:00")
        with hands.of("ann"):
            hands.approve_day(0)
            self.pay(hands, 0)
        with hands.of("first-admin"):
            hands.change_account("miller", "00009004")
        with hands.of("ben"):
            hands.approve_proposal()
        self.now(1, "17:00")
        strangers = [bank.Booking(Decimal(a), reference=f"X{a}") for a in ("41.00", "-7.50")]
        data = self.bank(1, ("Hearth", lambda b: bank.replace(b, end_to_end="")), more=strangers)
        with hands.of("ann"):
            hands.upload(data)
            hands.resolve_as_payment(self.booked[1, "Hearth"].amount, "the amount is that of the collection")
            hands.resolve_to_participant("41.00", "quay", "paid in advance, as it said")
            hands.resolve_to_account("-7.50", "bank_charges", "the charge of September")
        with hands.of("ben"):
            hands.approve_proposal()
        self.trade(1)

    def wednesday(self, hands):
        """The night's close was the clock's, so two people approve. A payment to the new account is held."""
        self.now(2, "09:00")
        self.wait_for_close(1)
        with hands.of("first-admin"):
            hands.release(1, "miller")
        with hands.of("ann"):
            hands.approve_day(1)
        with hands.of("ben"):
            hands.approve_day(1)
            self.pay(hands, 1)
            hands.resolve_exceptions(["receipt_short", "off_tariff"], "counted again: one cup was broken")
        with hands.of("ann"):
            hands.resolve_exception("late", "the till had no network")
        self.now(2, "17:00")
        data = self.bank(2)
        with hands.of("ben"):
            hands.upload(data)
            hands.read_month()
        self.trade(2)
        self.now(3, "03:10")
        with hands.of("first-admin"):
            hands.close(2)

    def thursday(self, hands):
        """One journal is right and one is not. The bank takes a payout back."""
        self.now(3, "09:00")
        with hands.of("ben"):
            hands.approve_day(2)
            self.pay(hands, 2)
        with hands.of("ann"):
            hands.propose_journal(JOURNAL, at(FIRST + 2 * DAY, "16:00"), "handling of September, rounded")
            hands.propose_journal(JOURNAL, at(FIRST + 2 * DAY, "16:30"), "the same by mistake")
        with hands.of("ben"):
            hands.approve_journal("handling of September, rounded")
            hands.withdraw_journal("the same by mistake", "it stands there already")
        self.now(3, "17:00")
        data = self.bank(3, more=[bank.come_back(self.booked[2, "Quay"])])
        with hands.of("ann"):
            hands.upload(data)
        self.trade(3)
        self.now(4, "03:10")
        with hands.of("ben"):
            hands.close(3)

    def friday(self, hands):
        """Two people close September. Two payouts are looked up at the bank, which has not told of them yet."""
        self.now(4, "09:00")
        with hands.of("ann"):
            hands.approve_day(3)
            self.pay(hands, 3)
            hands.close_month()
        with hands.of("ben"):
            hands.approve_proposal()
        self.now(4, "17:00")
        with hands.of("ann"):
            hands.upload(self.bank(4, ("Miller", lambda b: None), ("Quay", lambda b: None)))
            hands.fail(3, "miller", "the bank says that the account is closed")
            hands.confirm(3, "quay")
        with hands.of("hearth-office"):
            hands.read_own()
        with hands.of("otto"):
            hands.read_books()

    def stop(self):
        self.service.stop()


class ByHttp:
    """Does the week's steps by requests with keys."""

    def __init__(self, week):
        self.week, self.client = week, None

    def of(self, name):
        self.client = self.week.service.client(self.week.secrets[name])
        return self

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.client = None

    def send(self, method, path, body=None, status=(200, 201), headers=None):
        answer = self.client.send(method, path, body, headers)
        assert answer.status in status, (path, answer.status, answer.body)
        return answer

    # --- the counter -----------------------------------------------------------------------------------------------
    def serve(self, taps):
        for place, (act, cup_type, quantity, amount) in enumerate(taps):
            lines = cups(**{cup_type.replace("-", "_"): quantity})
            kind, members = {
                "out": ("issue", {"issued": lines}),
                "back": ("return", {"returned": lines}),
                "swap": ("exchange", {"returned": lines, "issued": lines}),
            }[act]
            stated = {"amount": amount} if amount else {}
            self.last = event(f"tap {place}", kind, "anchor", at(FIRST, "10:00"), **members, **stated)
            self.send("POST", "/v1/events", self.last)

    def undo_last(self):
        undo = event("undo", "reversal", "anchor", at(FIRST, "10:00"), reverses=self.last["event_id"])
        self.send("POST", "/v1/events", undo)

    # --- days and payments -----------------------------------------------------------------------------------------
    def close(self, n):
        path = f"/v1/schemes/{SCHEME}/days/{FIRST + n * DAY}/close"
        self.send("POST", f"{path}?dry_run=true")
        self.send("POST", path)

    def settlement(self, n):
        return f"/v1/settlements/{SCHEME}/{FIRST + n * DAY}"

    def approve_day(self, n):
        self.send("POST", f"{self.settlement(n)}/approve")

    def payment(self, n, party):
        payments = self.client.get(self.settlement(n))["payments"]
        [found] = [p["payment_id"] for p in payments if party in (p["from"], p["to"])]
        return f"/v1/payments/{found}"

    def release(self, n, party):
        self.send("POST", f"{self.payment(n, party)}/release")

    def fail(self, n, party, reason):
        self.send("POST", f"{self.payment(n, party)}/fail", {"reason": reason})

    def confirm(self, n, party):
        self.send("POST", f"{self.payment(n, party)}/confirm")

    def make_file(self, n, type):
        file = self.send("POST", f"{self.settlement(n)}/files", {"type": type}).json
        return self.send("GET", file["location"]).body

    # --- the bank --------------------------------------------------------------------------------------------------
    def upload(self, data):
        self.send("POST", f"/v1/bank-statements?scheme={SCHEME}", data, headers=XML)

    def line(self, amount):
        lines = self.client.items("/v1/bank-lines", scheme=SCHEME, open="true")
        [found] = [x["line"] for x in lines if Decimal(x["amount"]) == Decimal(amount)]
        return f"/v1/bank-lines/{found}"

    def resolve_as_payment(self, amount, note):
        line = self.line(amount)
        [candidate] = [c for c in self.client.get(line)["candidates"] if "payment_id" in c]
        self.send("POST", f"{line}/resolve", {"payment_id": candidate["payment_id"], "note": note})

    def resolve_to_participant(self, amount, participant, note):
        self.send("POST", f"{self.line(amount)}/resolve", {"participant": participant, "note": note}, [202])

    def resolve_to_account(self, amount, account, note):
        self.send("POST", f"{self.line(amount)}/resolve", {"account": account, "note": note})

    # --- two people ------------------------------------------------------------------------------------------------
    def change_account(self, participant, account):
        path = f"/v1/participants/{participant}"
        before = {k: v for k, v in self.client.get(path).items() if k != "participant"}
        after = {**before, "bank_account": {"account": account, "bank_code": "TB-001"}}
        self.send("PUT", path, after, [202])

    def approve_proposal(self):
        [waiting] = self.client.items("/v1/proposals", status="open")
        self.send("POST", f"/v1/proposals/{waiting['proposal']}/approve")

    def close_month(self):
        self.send("POST", f"/v1/schemes/{SCHEME}/months/{MONTH}/close", status=[202])

    def propose_journal(self, legs, when, reason):
        journal = network.event("journal", None, when, scheme=SCHEME, legs=legs, reason=reason)
        self.send("POST", "/v1/events", journal, [202])

    def journal(self, reason):
        waiting = self.client.items("/v1/journals", scheme=SCHEME)
        [found] = [j["event"]["event_id"] for j in waiting if j["event"]["reason"] == reason]
        return f"/v1/journals/{found}"

    def approve_journal(self, reason):
        self.send("POST", f"{self.journal(reason)}/approve")

    def withdraw_journal(self, reason, why):
        self.send("POST", f"{self.journal(reason)}/withdraw", {"reason": why})

    # --- exceptions ------------------------------------------------------------------------------------------------
    def exceptions(self, kinds):
        found = self.client.get("/v1/reports/exceptions", scheme=SCHEME, state="open", **{"from": FIRST})["items"]
        ids = [r["exception_id"] for r in found if r["kind"] in kinds]
        assert len(ids) >= len(kinds), found
        return ids

    def resolve_exceptions(self, kinds, note):
        self.send("POST", "/v1/exceptions/resolve", {"ids": self.exceptions(kinds), "note": note})

    def resolve_exception(self, kind, note):
        [found] = self.exceptions([kind])
        self.send("POST", f"/v1/exceptions/{found}/resolve", {"note": note})

    # --- reading ---------------------------------------------------------------------------------------------------
    def read_month(self):
        self.client.get("/v1/reports/trial-balance", scheme=SCHEME, as_of=FIRST + DAY, **{"from": FIRST})

    def read_own(self):
        self.client.get("/v1/reports/participant-statement", scheme=SCHEME, **{"from": FIRST, "to": FIRST + 4 * DAY})

    def read_books(self):
        self.client.get("/v1/checks")


def leave_open(week, hands):
    """Something of everything is left to do, so that each page has rows."""
    week.now(4, "17:30")
    with hands.of("first-admin"):
        hands.change_account("quay", "00009005")
    with hands.of("ann"):
        hands.propose_journal(JOURNAL, at(FIRST + 3 * DAY, "16:00"), "handling of October")
        hands.upload(week.bank(4, more=[bank.Booking(Decimal(a), reference=f"X{a}") for a in ("12.00", "-3.00")]))


# --- afterwards -----------------------------------------------------------------------------------------------------
UUID = re.compile(r"\b[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\b")
MOMENT = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d)")
HASH = re.compile(r"\b[0-9a-f]{64}\b")


def without_ids_and_times(text):
    """The text, with each id as its place among the ids, and without times and hashes, which depend on them."""
    places = {}
    text = UUID.sub(lambda found: f"id {places.setdefault(found[0], len(places))}", text)
    return HASH.sub("hash", MOMENT.sub("time", text))


def books(week):
    """All that the office's ledger says at the end of the week, in texts that two weeks can be compared by."""
    days = {"from": FIRST, "to": FIRST + 4 * DAY, "scheme": SCHEME}
    targets = [f"/v1/settlements/{SCHEME}/{FIRST + n * DAY}" for n in range(4)]
    targets += [f"/v1/schemes/{SCHEME}/months/{MONTH}"]
    targets += [f"/v1/{part}?scheme={SCHEME}&limit=1000" for part in ("events", "payments", "bank-lines", "accounts")]
    targets += [f"/v1/journals?scheme={SCHEME}&status={s}" for s in ("open", "approved", "withdrawn")]
    targets += ["/v1/changes?limit=1000", "/v1/proposals?status=approved", f"/v1/checks?scheme={SCHEME}"]
    query = "&".join(f"{k}={v}" for k, v in days.items())
    targets += [f"/v1/reports/{report}?{query}&format=csv" for report in ("journal", "exceptions", "payments")]
    targets += [f"/v1/reports/bank-reconciliation?scheme={SCHEME}&format=csv"]
    found, seals = {}, {"scheme": SCHEME}
    wait_until(
        lambda: all("particulars" in seal for seal in week.admin.get("/v1/seals", **seals)["items"]),
        "the particulars of each closed day are kept",
    )
    for target in targets:
        answer = week.admin.send("GET", target)
        assert answer.status == 200, (target, answer.body)
        found[target] = without_ids_and_times(answer.body.decode())
    return found
