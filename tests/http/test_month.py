# SPDX-License-Identifier: ISC
"""A month of the demo's network as its accountants live it: thirty business days trade, close each night, and are paid;
the bank is deploy/trade/bank.py, which reads the payment files and answers with statements. Then the month's books are
looked at from all sides.

The service's time of day is moved (moved_clock.c), so that each thing is done when it would be: events during their
day, closes after the cut-off, some by hand and some by the clock, approvals and files in the morning, statements of
banking days in the afternoon.

Some things are checked against something outside: payment files and statements against ISO 20022's schemas, with
xmllint; the bank's balance against the bank's own books; cups with customers and what tills took against the shop
floor's own count and sums of the posted events, which share nothing with the service; business days against the tz
database. How deposits, statements, ledger, journal and ageing hang together is double-entry bookkeeping and the
accounting contract: common practice, no further source."""
import importlib.util
import json
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

import bank
from clocks import MovedClock
from harness import Service, wait_until
from model import DAY, day_start
from schemas import TOP, validate
from test_bank import XML

# From a Monday on, over the end of daylight saving time in St. John's (2 November 2025, tz database): that night has an
# hour more.
FIRST, DAYS = date(2025, 10, 20), 30
OPEN = FIRST + DAYS * DAY  # a Wednesday, on whose afternoon the bank has booked everything
LONG_DAY = date(2025, 11, 1)
BUSTLE = 0.2  # of the demo's custom: with much less its story could not happen
BY_CLOCK = {5, 6, 13, 20}  # nights that nobody closes by hand
OFFICE = ZoneInfo("America/St_Johns")

WITHHELD_ON, WITHHELD_AT = FIRST + 10 * DAY, "mill"  # an issue that its till never sends
MOVED_ON, MOVED = FIRST + 12 * DAY, "plover"  # a participant that changes its bank: its next payment is held
NEW_ACCOUNT = "00009004"
# The bookings that the bank takes back two banking days later, by the afternoon of the booking; and a transfer between
# participants that their bank refuses. AM04, insufficient funds, and AC04, closed account: the external code set of ISO
# 20022, from memory.
RETURNED = {
    ("eider-sound", "collections"): (FIRST + 8 * DAY, "AM04"),
    ("eider-sound", "payouts"): (FIRST + 14 * DAY, "AC04"),
    ("tern-bay", "collections"): (FIRST + 21 * DAY, "AM04"),
}
REFUSED = {"tern-bay": FIRST + 16 * DAY}

OWED = ("site_clearing", "settlement_due", "arrears")
COUNTER = ("issue", "return", "exchange")


def load_floor():
    spec = importlib.util.spec_from_file_location("floor", TOP / "deploy/trade/floor.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


floor = load_floor()


def banking_day(day):
    """The first that is no Saturday or Sunday, from `day` on; the demo's schemes have no holidays."""
    while day.weekday() > 4:
        day += DAY
    return day


def figure(row):
    """A row's debit or credit, debits positive; cups and money alike."""
    return Decimal(row["debit"] or 0) - Decimal(row["credit"] or 0)


class Pool:
    """One scheme: its shop floor, its pool's bank, and what its accountants have seen of it."""

    def __init__(self, month, scheme, network):
        self.month, self.scheme, self.code = month, scheme, scheme["scheme"]
        self.zone, self.currency = ZoneInfo(scheme["time_zone"]), scheme["currency"]
        self.account = scheme["operator"]["bank_account"]["account"]
        self.floor = floor.Floor(network, scheme, FIRST, BUSTLE)
        self.participants = sorted({s["participant"] for s in self.floor.sites.values()})
        self.posted = []  # events that were recorded, in order
        self.withheld = []
        self.late = 0  # events of a till that was offline until its day was closed
        self.tills = defaultdict(Counter)  # (site, day) -> what its till says at the end of the day
        self.settlements = {}  # day -> as the close answered
        self.files = []  # (what was answered, its bytes, the day)
        self.orders = []  # orders that the bank has not carried out yet
        self.transfers = []  # payments straight between participants, not made yet
        self.to_return = []  # (banking day, booking)
        self.balance = Decimal(0)  # of the pool's account, as the bank keeps it
        self.statements = []  # (day, the bank's balance at its end, bytes, what became of it)
        self.failed = []  # (day, payment)

    # The day ------------------------------------------------------------------------------------------------------
    def trade(self, index):
        day = FIRST + index * DAY
        batches = self.floor.business_day(index)
        self.month.clock.set(datetime.combine(day, datetime.min.time(), self.zone) + timedelta(hours=23.5))
        self.withhold(day, batches)
        kept_back = {e["event_id"] for e in self.withheld}
        self.late += sum(len(b.events) for b in batches if b.name == "late till")
        refused = {e["event_id"] for batch in batches for e in self.post_all(batch, kept_back)}
        happened = [e for batch in batches if batch.name != "late till" for e in batch.events] + self.floor.held_back
        self.cash_up(day, [e for e in happened if e["event_id"] not in refused])

    def withhold(self, day, batches):
        if day == WITHHELD_ON and WITHHELD_AT in self.floor.sites:
            self.withheld.append(
                next(e for b in batches for e in b.events if e["kind"] == "issue" and e["site"] == WITHHELD_AT)
            )

    def post_all(self, batch, kept_back):
        """The refused events: only what the story has mistyped."""
        by_key, refused = defaultdict(list), []
        for event in batch.events:
            if event["event_id"] not in kept_back:
                by_key[None if batch.by_accountant else self.floor.participant(event["site"])].append(event)
        if batch.twice:
            by_key[batch.twice] *= 2
        for participant, events in by_key.items():
            client = self.month.clients["pos", participant] if participant else self.month.ann
            for event, result in zip(events, client.post_many(events)):
                if result["status"] == "rejected":
                    assert result["problem"]["reason"] == "cup_type_unknown", result
                    refused.append(event)
                elif result["status"] == "recorded":
                    self.posted.append(event)
        return refused

    def value(self, cup_type, day):
        return Decimal(
            max(
                (v["effective_date"], v["amount"])
                for v in self.scheme["refund_values"]
                if v["cup_type"] == cup_type and v["effective_date"] <= str(day)
            )[1]
        )

    def cash_up(self, day, happened):
        """Each till adds up its day, and tells the network."""
        by_id = {e["event_id"]: e for e in happened}
        for event in happened:
            original, sign = (by_id[event["reverses"]], -1) if event["kind"] == "reversal" else (event, 1)
            if original["kind"] not in COUNTER:
                continue
            cups = {m: sum(c["quantity"] for c in original.get(m, [])) for m in ("issued", "returned")}
            tariff = sum(
                s * c["quantity"] * self.value(c["cup_type"], day)
                for s, m in ((1, "issued"), (-1, "returned"))
                for c in original.get(m, [])
            )
            paid = (
                Decimal(original["amount"]) * (-1 if original["kind"] == "return" else 1)
                if "amount" in original
                else tariff
            )
            self.tills[event["site"], day].update({m: sign * n for m, n in cups.items()})
            self.tills[event["site"], day].update({"collected": sign * max(paid, 0), "refunded": sign * max(-paid, 0)})
        nothing = 0 * self.value("cup-300", day)  # with the currency's decimals
        for site in self.floor.sites_of_kind("cafe", "return_point"):
            if self.floor.is_open(site) or (site, day) in self.tills:
                said = self.tills[site, day]
                body = {
                    "issued": said["issued"],
                    "returned": said["returned"],
                    **{m: str(nothing + said[m]) for m in ("collected", "refunded")},
                }
                self.month.clients["pos", self.floor.participant(site)].put(f"/v1/sites/{site}/day-totals/{day}", body)

    # The night ----------------------------------------------------------------------------------------------------
    def ends(self, day):
        return day_start(day + DAY, self.scheme["cut_off"], self.scheme["time_zone"])

    def close_by_hand(self, day):
        self.month.clock.set(self.ends(day) + timedelta(minutes=10))
        self.settlements[day] = self.month.cleo.close(self.code, day)

    def wait_for_clock(self, day):
        def settlement():
            answer = self.month.ann.send("GET", f"/v1/settlements/{self.code}/{day}")
            assert answer.status in (200, 404), answer.body
            return answer.json if answer.status == 200 else None

        self.settlements[day] = wait_until(settlement, f"the clock closes {day}")

    # The office ---------------------------------------------------------------------------------------------------
    def pay(self, day, by_clock):
        """The morning after: a person looks at held payments and releases them, and a person who did neither that
        nor the close approves all."""
        payments = self.settlements[day]["payments"]
        for payment in payments:
            if "held" in payment:
                self.month.do(self.month.cleo, payment, "release")
        path = f"/v1/settlements/{self.code}/{day}"
        for client in (self.month.ann, self.month.ben) if by_clock else (self.month.ben,):
            assert client.send("POST", f"{path}/approve").status == 200
        for type, side in (("payouts", "from"), ("collections", "to")):
            expected = {p["payment_id"]: Decimal(p["amount"]) for p in payments if p[side] == "pool"}
            answer = self.month.ann.send("POST", f"{path}/files", {"type": type})
            if not expected:
                assert (answer.status, answer.json["reason"]) == (409, "nothing_approved")
                continue
            assert answer.status == 201, answer.body
            data = self.fetch(answer.json)
            assert data == self.fetch(answer.json)
            orders = bank.read_file(data)[1]
            assert {o.end_to_end: abs(o.amount) for o in orders} == expected
            self.files.append((answer.json, data, day))
            self.orders += orders
        self.transfers += [p for p in payments if "pool" not in (p["from"], p["to"])]

    def fetch(self, file):
        answer = self.month.ben.send("GET", file["location"])
        assert answer.status == 200 and answer.headers["Content-Type"] == "application/xml"
        return answer.body

    # The afternoon ------------------------------------------------------------------------------------------------
    def bank_day(self, today):
        """The bank books the orders for this day, and the bookings that it takes back; transfers of others are
        confirmed by hand."""
        due = [o for o in self.orders if date.fromisoformat(o.requested_on) <= today]
        self.orders = [o for o in self.orders if o not in due]
        bookings = bank.book(due, f"{self.code}-{today}")
        back = [b for when, b in self.to_return if when <= today]
        self.to_return = [(when, b) for when, b in self.to_return if when > today]
        self.plan_returns(today, bookings)
        if bookings or back:
            self.post_statement(today, bookings, back)
        for payment in [p for p in self.transfers if date.fromisoformat(p["due_on"]) <= today]:
            self.transfers.remove(payment)
            if today >= REFUSED.get(self.code, OPEN + DAY) and not any(
                "pool" not in (p["from"], p["to"]) for _, p in self.failed
            ):
                self.month.do(self.month.ann, payment, "fail", "their bank refused it")
                self.failed.append((today, payment))
            else:
                self.month.do(self.month.ann, payment, "confirm")

    def plan_returns(self, today, bookings):
        for (code, type), (from_day, reason) in RETURNED.items():
            largest = max(
                (b for b in bookings if (b.amount > 0) == (type == "collections")),
                key=lambda b: abs(b.amount),
                default=None,
            )
            if code == self.code and largest and today >= from_day and (code, type) not in self.month.returned:
                self.month.returned.add((code, type))
                self.to_return.append((banking_day(banking_day(today + DAY) + DAY), bank.come_back(largest, reason)))

    def post_statement(self, today, bookings, back):
        data = bank.statement(
            f"{self.code}-{today}",
            self.account,
            self.currency,
            str(today),
            bookings + back,
            self.balance,
            created_at=f"{today}T17:00:00-03:30",
        )
        self.balance += sum(b.amount for b in bookings + back)
        answers = [self.month.ben.send("POST", f"/v1/bank-statements?scheme={self.code}", data, XML) for _ in range(2)]
        assert [a.status for a in answers] == [200, 200] and answers[0].json == answers[1].json, answers[0].body
        self.statements.append((today, self.balance, data, answers[0].json))
        payments = {p["payment_id"]: p for s in self.settlements.values() for p in s["payments"]}
        self.failed += [(today, payments[b.end_to_end]) for b in back]

    # Afterwards ---------------------------------------------------------------------------------------------------
    def report(self, name, client=None, **query):
        days = {} if {"as_of", "from"} & query.keys() else {"from": FIRST, "to": OPEN}
        return (client or self.month.ann).get(f"/v1/reports/{name}", scheme=self.code, **days, **query)["items"]

    def trial_balance(self, day=OPEN):
        """account -> balance, debits positive, without those that are zero"""
        balances = {r["account"]: figure(r) for r in self.report("trial-balance", as_of=day) if r["account"] != "total"}
        return {a: b for a, b in balances.items() if b}

    def chained(self, rows, account_of, sign=1):
        """That each day's closing is the next day's opening; {day: {account: closing}}, for all days and without
        zeros."""
        by_day, balances, stands = defaultdict(list), Counter(), {}
        for row in rows:
            by_day[row["date"]].append(row)
        for day in (FIRST + n * DAY for n in range(DAYS + 1)):
            there = {account_of(r): r for r in by_day[str(day)]}
            assert len(there) == len(by_day[str(day)]), f"{day}: two lines for an account"
            for account in there.keys() | balances.keys():
                row = there.get(account)
                assert balances[account] == (sign * Decimal(row["opening"]) if row else 0), (day, account)
                balances[account] = sign * Decimal(row["closing"]) if row else balances[account]
            stands[day] = {a: b for a, b in balances.items() if b}
        return stands


class Month:
    def __init__(self, service, clock):
        self.service, self.clock, self.returned = service, clock, set()
        self.network = floor.with_dates(json.loads((TOP / "deploy/demo-network.json").read_text()), FIRST)
        self.admin = service.client(service.create_key("first-admin", "admin"))
        self.clock.set(datetime.combine(FIRST, datetime.min.time(), OFFICE) + timedelta(hours=9))
        self.admin.load(self.network)
        # Ann and Ben are the accountants, Cleo closes at night and releases what is held.
        self.ann, self.ben, self.cleo = (self.key(name, "accountant") for name in ("ann", "ben", "cleo"))
        self.clients = {}
        for name in (p["participant"] for p in self.network["participants"]):
            own = [s["site"] for s in self.network["sites"] if s["participant"] == name]
            self.clients["pos", name] = self.key(f"{name}-tills", "pos", sites=own)
            self.clients["participant", name] = self.key(f"{name}-book", "participant", participant=name)
        self.pools = {s["scheme"]: Pool(self, s, self.network) for s in self.network["schemes"]}

    def key(self, name, role, **bound):
        answer = self.admin.send("POST", "/v1/keys", {"name": name, "holder": name.title(), "role": role, **bound})
        assert answer.status == 201, answer.body
        client = self.service.client(answer.json["key"], checked=False)
        if role == "accountant":  # a key that its maker has seen is also its maker's
            client = self.service.client(client.send("POST", "/v1/me/renew").json["key"], checked=False)
        return client  # elsewhere they are; a month of them takes too long

    def do(self, client, payment, change, reason=None):
        answer = client.send(
            "POST", f"/v1/payments/{payment['payment_id']}/{change}", {"reason": reason} if reason else None
        )
        assert answer.status == 200, answer.body

    def live(self):
        # Eider Sound's days end first.
        pools = sorted(self.pools.values(), key=lambda pool: pool.ends(FIRST))
        for index in range(DAYS):
            day, next_day = FIRST + index * DAY, FIRST + (index + 1) * DAY
            for pool in pools:
                pool.trade(index)
            for pool in pools if index not in BY_CLOCK else ():
                pool.close_by_hand(day)
            self.clock.set(datetime.combine(next_day, datetime.min.time(), OFFICE) + timedelta(hours=9))
            for pool in pools:
                if index in BY_CLOCK:
                    pool.wait_for_clock(day)
                pool.pay(day, index in BY_CLOCK)
            if next_day == MOVED_ON:
                self.move_account()
            self.clock.set(datetime.combine(next_day, datetime.min.time(), OFFICE) + timedelta(hours=17))
            for pool in pools if next_day == banking_day(next_day) else ():
                pool.bank_day(next_day)
        return self

    def move_account(self):
        [row] = [p for p in self.network["participants"] if p["participant"] == MOVED]
        self.admin.agreed(
            self.ann,
            "PUT",
            f"/v1/participants/{MOVED}",
            {
                **{k: v for k, v in row.items() if k != "participant"},
                "bank_account": {"account": NEW_ACCOUNT, "bank_code": "TB-009"},
            },
        )


@pytest.fixture(scope="module")
def month(module_database, tmp_path_factory):
    clock = MovedClock(tmp_path_factory.mktemp("clock"))
    service = Service(module_database, close_by_clock="yes")
    service.environment.update(clock.environment)
    service.start()
    try:
        yield Month(service, clock).live()
    finally:
        service.stop()


@pytest.fixture(params=["tern-bay", "eider-sound"])
def pool(month, request):
    return month.pools[request.param]


# --- the nights -------------------------------------------------------------------------------------------------------


def test_each_day_was_closed_in_its_night(month, pool):
    days = {d["date"]: d for d in month.ann.items(f"/v1/schemes/{pool.code}/days")}
    closed = [day for day, d in days.items() if d["state"] == "closed"]
    assert closed == [str(FIRST + n * DAY) for n in range(DAYS)] and days[str(OPEN)]["state"] == "open"
    for day in (date.fromisoformat(d) for d in closed):
        begins, ends = (
            datetime.fromisoformat(days[str(day)][k].replace("Z", "+00:00")) for k in ("starts_at", "ends_at")
        )
        assert (begins, ends) == (pool.ends(day - DAY), pool.ends(day))
        assert ends - begins == timedelta(hours=25 if (pool.code, day) == ("tern-bay", LONG_DAY) else 24)
    rows = month.service.database.rows(
        "SELECT business_date, closed_at, k.name FROM settlement JOIN scheme s ON s.id ="
        " scheme"
        " LEFT JOIN api_key k ON k.id = closed_by WHERE s.code = %s ORDER BY 1",
        pool.code,
    )
    for day, at, by in rows:
        assert by == (None if (day - FIRST).days in BY_CLOCK else "cleo")
        assert timedelta() < at - pool.ends(day) < timedelta(hours=9), (day, at)
    assert sum(d["late_events"] for d in days.values()) == pool.late and bool(pool.late) == (pool.code == "tern-bay")


def test_every_event_stands_once(month, pool):
    feed = month.ann.feed(pool.code)
    assert [e["event"]["event_id"] for e in feed if "event" in e] == [e["event_id"] for e in pool.posted]
    assert [e["entry"] for e in feed] == list(range(1, len(feed) + 1)) and len(pool.posted) > 1000


# --- files and statements ---------------------------------------------------------------------------------------------


def test_files_and_statements_are_of_the_standard(month):
    """ISO 20022's own schemas, with xmllint; skipped where these are not there."""
    for pool in month.pools.values():
        validate(*(data for _, data, _ in pool.files), *(data for _, _, data, _ in pool.statements))


def test_files_are_there_for_good(month):
    """At the end of the month each is fetched once more, byte for byte; and there were files of both types in both
    schemes."""
    types = Counter()
    for pool in month.pools.values():
        for file, data, _ in pool.files:
            assert pool.fetch(file) == data
            types[pool.code, file["type"]] += 1
        listed = [
            f["file_id"]
            for day in pool.settlements
            for f in month.ann.items(f"/v1/settlements/{pool.code}/{day}/files")
        ]
        assert listed == [f["file_id"] for f, _, _ in pool.files]
    assert all(types[code, type] for code in month.pools for type in ("payouts", "collections")), types


def test_end_to_end_ids_are_unique_in_the_month(month):
    ids = [o.end_to_end for pool in month.pools.values() for _, data, _ in pool.files for o in bank.read_file(data)[1]]
    assert len(ids) == len(set(ids)) > 50


def test_payments_fall_due_on_banking_days(pool):
    for day, settlement in pool.settlements.items():
        assert {p["due_on"] for p in settlement["payments"]} <= {str(banking_day(day + DAY))}


def test_all_is_paid_and_the_bank_is_what_its_statements_say(month, pool):
    accounts = {a: Decimal(b) for a, b in month.ann.accounts(pool.code).items()}
    for balances in (accounts, Counter(pool.trial_balance())):
        assert {
            a: b for a, b in balances.items() if a.startswith(("settlement_due", "arrears", "bank_suspense")) and b
        } == {}
        assert balances["bank"] == pool.balance != 0
    # Also day by day.
    opening, *rows = pool.report("general-ledger", account="bank")
    ledger = {r["date"]: Decimal(r["balance"]) for r in rows}
    assert ledger == {str(day): balance for day, balance, _, _ in pool.statements} and Decimal(opening["balance"]) == 0
    for _, _, _, taken in pool.statements:
        assert {k for k in ("unmatched", "underpaid", "overpaid", "repeated", "ignored") if taken[k]} == set()
    statuses = {p["payment_id"]: p["status"] for p in month.ann.items("/v1/payments", scheme=pool.code, limit=1000)}
    failed = {p["payment_id"] for _, p in pool.failed}
    assert statuses == {
        p["payment_id"]: "failed" if p["payment_id"] in failed else "confirmed"
        for s in pool.settlements.values()
        for p in s["payments"]
    }
    assert not pool.orders and not pool.transfers and not pool.to_return


def test_what_failed_came_back_and_was_paid_later(month, pool):
    """The bank took some back, after they were confirmed; another bank refused a transfer. Each was in arrears, in
    full, went into the position of that day's close, and was paid by its payments."""
    expected = {type for code, type in RETURNED if code == pool.code} | (
        {"transfer"} if pool.code in REFUSED else set()
    )
    assert {
        "payouts" if p["from"] == "pool" else "collections" if p["to"] == "pool" else "transfer" for _, p in pool.failed
    } == expected
    statement = {(r["date"], r["account"]): r for r in pool.report("participant-statement")}
    for day, payment in pool.failed:
        shown = month.ann.get(f"/v1/payments/{payment['payment_id']}")
        assert shown["status"] == "failed" and shown["changes"][-1]["business_date"] == str(day)
        assert [c["change"] for c in shown["changes"]][-2:] == (
            ["approve", "fail"] if "pool" not in (payment["from"], payment["to"]) else ["confirm", "fail"]
        )
        positions = {p["participant"]: p for p in pool.settlements[day]["positions"]}
        for participant, sign in ((payment["from"], 1), (payment["to"], -1)):
            if participant == "pool":
                continue
            amount = sign * Decimal(payment["amount"])
            line = statement[str(day), f"arrears({participant})"]
            assert (Decimal(line["failed"]), Decimal(line["settled"]), Decimal(line["closing"])) == (amount, -amount, 0)
            assert Decimal(positions[participant]["arrears"]) == amount
            net = sum(
                (p["from"] == participant) * Decimal(p["amount"]) - (p["to"] == participant) * Decimal(p["amount"])
                for p in pool.settlements[day]["payments"]
            )
            assert net == Decimal(positions[participant]["amount"]) != 0
        assert {p["participant"] for p in positions.values() if Decimal(p["arrears"])} == {
            payment["from"],
            payment["to"],
        } - {"pool"}


def test_the_changed_account_was_looked_at(month):
    """The payment of the first close after the change is held, and nothing else; from then on its money goes to the
    new account."""
    [pool] = [p for p in month.pools.values() if MOVED in p.participants]
    paid = [(day, p) for day, s in pool.settlements.items() for p in s["payments"] if p["to"] == MOVED]
    first = min(day for day, _ in paid if day >= MOVED_ON)
    held = [
        (day, p["payment_id"])
        for day, s in pool.settlements.items()
        for p in s["payments"]
        if p.get("held", {}).get("reason") == "bank_account_changed"
    ]
    assert held == [(day, p["payment_id"]) for day, p in paid if day == first]
    for day, payment_id in held:
        changes = [(c["change"], c["by"]) for c in month.ann.get(f"/v1/payments/{payment_id}")["changes"]]
        assert changes[0] == ("release", "cleo") and ("approve", "ben") in changes
    accounts = {r["payment_id"]: r["bank_account"] for r in pool.report("payments", participant=MOVED)}
    # payments that the bank knows of
    told = {o.end_to_end: o.other_account for _, data, _ in pool.files for o in bank.read_file(data)[1]}
    for day, payment in paid:
        account = NEW_ACCOUNT if day >= MOVED_ON else "00001004"
        assert accounts[payment["payment_id"]] == account == told.get(payment["payment_id"], account)
    assert any(p["payment_id"] in told for day, p in paid if day >= first) and first > min(day for day, _ in paid)


# --- the books --------------------------------------------------------------------------------------------------------


def test_statements_of_account(month, pool):
    """A participant reads its statement of account. Its days, payments and balances are those of the report of its
    accounts, from its own side, and what is due is the payments that are on the way, and the rest of the balance."""
    confirmed = set()
    for participant in pool.participants:
        client = month.clients["participant", participant]
        accounts, rows = pool.report("participant-statement", client), pool.report("statement-of-account", client)
        of = {part: [r for r in rows if r["section"] == part] for part in {r["section"] for r in rows}}
        assert {r["participant"] for r in rows} == {participant}
        balance = Decimal(of["opening"][0]["balance"])
        for day in sorted({r["date"] for r in accounts}):
            lines = [r for r in accounts if r["date"] == day]
            paid = -sum(Decimal(r["paid"]) for r in lines)
            assert sum(Decimal(r["paid"]) for r in of.get("payment", []) if r["date"] == day) == paid, day
            [*shown] = [r for r in rows if r["date"] == day and r["section"] in ("day", "payment")]
            balance += sum(Decimal(r["amount"]) for r in shown)
            assert balance == -sum(Decimal(r["closing"]) for r in lines), day
            assert not shown or Decimal(shown[-1]["balance"]) == balance
        assert Decimal(of["closing"][0]["balance"]) == balance
        assert sum(Decimal(r["amount"]) for r in of.get("due", [])) == balance
        payments = {p["payment_id"]: p for s in pool.settlements.values() for p in s["payments"]}
        for row in of.get("payment", []):
            payment = payments[row["payment_id"]]
            own = {payment["to"]: -1, payment["from"]: 1}[participant] * Decimal(payment["amount"])
            undone = row["item"] == "failed"  # after it was confirmed; else nothing had moved
            assert Decimal(row["paid"]) in ((-own, 0) if undone else (own,)), row
        paid = {r["payment_id"] for r in of.get("payment", []) if r["item"] == "confirmed"}
        assert {r["payment_id"] for r in of.get("due", []) if r["payment_id"]}.isdisjoint(paid)
        confirmed |= paid
    assert confirmed


def test_statements_of_all_are_the_trial_balance(month, pool):
    """Each participant's own statement, by its own key, and those of all sites: together they are the trial balance of
    every day."""
    rows = []
    for participant in pool.participants:
        own = pool.report("participant-statement", month.clients["participant", participant])
        assert {r["participant"] for r in own} == {participant}
        rows += own
    assert sorted(map(str, rows)) == sorted(map(str, pool.report("participant-statement")))
    for row in rows:
        f = {
            k: Decimal(row[k])
            for k in ("opening", "collected", "fees", "tax", "stock", "other", "settled", "paid", "failed")
        }
        assert Decimal(row["closing"]) == sum(f.values()) - Decimal(row["refunded"]), row
    sites = pool.report("site-statement")
    assert {r["site"] for r in sites} == pool.floor.sites.keys()
    stands, at_sites = pool.chained(rows, lambda r: r["account"]), pool.chained(sites, lambda r: r["account"])
    for day in stands:
        balances = {a: b for a, b in pool.trial_balance(day).items() if a.startswith(OWED)}
        assert stands[day] == balances, day
        assert at_sites[day] == {a: b for a, b in balances.items() if a.startswith("site_clearing(")}, day
    # Nothing stands at the end but amounts that were too small to be settled.
    assert all(a.startswith("site_clearing(") for a in stands[OPEN])
    assert any(at_sites.values())


def test_the_general_ledger_ends_in_the_trial_balance(pool):
    balances = Counter(pool.trial_balance())
    hub, participant = pool.floor.hubs[0], pool.participants[0]
    accounts = [
        "bank",
        "tax",
        "service_fees",
        "handling_fees",
        "refund_variance",
        "customer_deposits(cup-300)",
        "with_customers(cup-300)",
        f"settlement_due({participant})",
        f"site_stock({hub},cup-300)",
        *(f"site_clearing({s})" for s in pool.floor.sites),
    ]
    for account in accounts:
        opening, *rows = pool.report("general-ledger", account=account)
        assert Decimal(opening["balance"]) == 0
        running = Decimal(0)
        for row in rows:
            running += figure(row)
            assert Decimal(row["balance"]) == running, (account, row["entry"])
        assert running == balances[account], account
        assert rows or account == "refund_variance" or account.startswith("site_clearing("), account


def test_the_journal_balances_and_adds_up_to_the_trial_balance(pool):
    by_day, balances, entries = Counter(), Counter(), set()
    for row in pool.report("journal"):
        if row["account"]:
            by_day[row["date"], row["unit"]] += figure(row)
            balances[row["account"]] += figure(row)
            entries.add(row["entry"])
    assert set(by_day.values()) == {0} and len({day for day, _ in by_day}) == DAYS + 1
    assert {a: b for a, b in balances.items() if b} == pool.trial_balance()
    assert len(entries) > len(pool.posted)
    for row in pool.report("trial-balance", as_of=OPEN):  # also its totals
        assert row["account"] != "total" or row["debit"] == row["credit"]


def test_what_is_owed_to_holders_of_cups(pool):
    """The shop floor has counted the cups that it gave out and took back by itself; it only does not know that a sale
    was withheld."""
    rows = pool.report("liability")
    for row in rows:
        rest = sum(Decimal(row[k]) for k in ("opening", "issued", "reinstated", "remeasured", "reversed"))
        assert Decimal(row["closing"]) == rest - Decimal(row["refunded"]) - Decimal(row["forfeited"]), row
    stands = pool.chained(rows, lambda r: r["account"], sign=-1)
    for day in stands:
        assert stands[day] == {
            a: b for a, b in pool.trial_balance(day).items() if a.startswith("customer_deposits(")
        }, day
    out = Counter(pool.floor.out)
    for event in pool.withheld:
        out.subtract({c["cup_type"]: c["quantity"] for c in event["issued"]})
    balances = pool.trial_balance()
    for cup_type in pool.floor.cup_types:
        assert balances.get(f"with_customers({cup_type})", 0) == out[cup_type] > 0
        assert balances[f"customer_deposits({cup_type})"] == -out[cup_type] * pool.value(cup_type, OPEN)
    assert {r["cup_type"]: r["cups_out"] for r in rows if r["date"] == str(OPEN)} == {
        c: out[c] for c in pool.floor.cup_types
    }


def test_ageing_is_the_trial_balance_of_every_day(pool):
    """A failed payment is overdue from the day after it was due until its next payment is made, on the day that this
    is due; if the participant has not come to be owed, or to owe, more than that on the day of the failure."""
    failures = [
        (failed_on, date.fromisoformat(failed["due_on"]), banking_day(failed_on + DAY), p["participant"])
        for failed_on, failed in pool.failed
        for p in pool.settlements[failed_on]["positions"]
        if p["participant"] in (failed["from"], failed["to"]) and Decimal(p["amount"]) * Decimal(p["arrears"]) > 0
    ]
    overdue = Counter()
    for day in (FIRST + n * DAY for n in range(DAYS + 1)):
        total, late, carried = Counter(), set(), {}
        for row in pool.report("ageing", as_of=day):
            if not row["account"]:  # not due yet
                assert row["total"] == row["carried"]
                carried[row["participant"]] = row["carried"]
                continue
            total[row["account"]] += Decimal(row["total"])
            buckets = {
                b: Decimal(row[b])
                for b in ("current", "days_1_7", "days_8_30", "days_31_60", "days_over_60", "undated")
            }
            assert sum(buckets.values()) == Decimal(row["total"])
            late |= {row["participant"] for b, amount in buckets.items() if amount and b != "current"}
            overdue.update(b for b, amount in buckets.items() if amount and b != "current")
        assert {a: n for a, n in total.items() if n} == {
            a: b for a, b in pool.trial_balance(day).items() if a.startswith(("settlement_due(", "arrears("))
        }, day
        last = pool.settlements[max(closed for closed in pool.settlements if closed <= day)]
        assert carried == {c["participant"]: c["amount"] for c in last["carried_forward"]}, day
        assert late == {
            p for failed_on, due_on, paid_on, p in failures if failed_on <= day < paid_on and due_on < day
        }, day
    assert overdue.keys() == {"days_1_7"}


def test_what_tills_say_is_what_is_recorded_but_for_what_never_came(pool):
    """The tills' sums are made of the events here, by a few lines that know nothing of the service."""
    missing = {(e["site"], str(WITHHELD_ON)): e for e in pool.withheld}
    rows = {(r["site"], r["date"]): r for r in pool.report("day-totals")}
    busy = {(site, str(day)): said for (site, day), said in pool.tills.items() if any(said.values())}
    assert busy.keys() <= rows.keys() and len(busy) > 100
    for key, row in rows.items():
        differences = {k: Decimal(row[f"{k}_difference"]) for k in ("issued", "returned", "collected", "refunded")}
        if key in missing:
            event = missing[key]
            tariff = sum(c["quantity"] * pool.value(c["cup_type"], WITHHELD_ON) for c in event["issued"])
            assert differences == {
                "issued": sum(c["quantity"] for c in event["issued"]),
                "returned": 0,
                "refunded": 0,
                "collected": Decimal(event.get("amount", tariff)),
            }
        else:
            assert set(differences.values()) == {0}, row
    assert len(missing) == (pool.code == "tern-bay")


# --- proof ------------------------------------------------------------------------------------------------------------


def test_all_checks_hold_and_verify_finds_nothing(month):
    month.admin.assert_holds()
    wait_until(
        lambda: len(month.service.database.rows("SELECT 1 FROM particulars")) == 2 * DAYS,
        "the clock keeps the days' particulars a moment after their close",
    )
    [said] = month.service.run("verify", expect=0).splitlines()  # each finding would be a line
    assert said.endswith(" of 2 schemes: 0 do not hold")
    for pool in month.pools.values():
        seals = month.ann.items("/v1/seals", scheme=pool.code)
        assert [s["date"] for s in seals] == [str(d) for d in pool.settlements]
        assert [s["previous"] for s in seals[1:]] == [s["seal"] for s in seals[:-1]]
        assert seals[0]["previous"] == "0" * 64
