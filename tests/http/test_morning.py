# SPDX-License-Identifier: ISC
"""Tasks of the start page: each says how many, what sum and since when, and its link leads to exactly these things. The
expected figures come from the whole lists, which the tests sort through by themselves."""
from collections import Counter
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

import bank
import network
from harness import new_service, wait_until
from network import at, business_day, cups, event
from pages import Page

FIRST = business_day() - timedelta(days=6)
ACCOUNT, COUNT_DAYS = "00001000", 4
PARTIES = {
    name: {
        "bank_account": {"account": f"0000100{n}", "bank_code": "TB-001"},
        "mandate": {"id": f"M-{n}", "signed_on": "2025-04-01"},
    }
    for n, name in enumerate(("hearth", "miller", "quay"), 1)
}
OPERATOR = {"name": "Pool", "bank_account": {"account": ACCOUNT, "bank_code": "TB-000"}, "creditor_id": "TB98ZZZ0999"}
HTML = {"Accept": "text/html"}


def day(n, hour="10:00"):
    return at(FIRST + timedelta(days=n), hour)


def trade(n, paid="25.00"):
    return [
        event("issue", "anchor", day(n, "09:00"), issued=cups(cup_300=40)),
        event("return", "brick", day(n, "11:00"), returned=cups(cup_300=10), amount=paid),
        event("return", "dock", day(n, "12:00"), returned=cups(cup_300=4)),
    ]


class Morning:
    """tern-bay: a closed day whose payments are with the bank, which confirmed one of them and booked two strangers'
    lines; a closed day that is approved; a closed day of which nobody has seen a payment, and one is held; and days
    that nobody closed. skerry has its own currency, and gull-bank an opening that waits."""

    def __init__(self, service):
        self.service, self.admin = service, service.admin
        self.ann, self.ben = (service.client(service.create_key(name, "accountant")) for name in ("ann", "ben"))
        self.auditor = service.client(service.create_key("cora", "auditor"))
        self.till = None
        self.load()
        for n, paid in enumerate(["25.00", "25.00", "31.00"]):
            self.admin.post_many(trade(n, paid))
            self.admin.close("tern-bay", FIRST + timedelta(days=n))
        for n in (0, 1):
            self.do(self.ann, f"/v1/settlements/tern-bay/{FIRST + timedelta(days=n)}/approve")
        self.pay()
        self.propose()
        self.ship()
        self.state()
        self.admin.post(event("issue", "gull", day(0), issued=cups(cup_300=3)))
        self.admin.close("skerry", FIRST)
        kept = "SELECT FROM settlement LEFT JOIN particulars p USING (scheme, business_date) WHERE p.scheme IS NULL"
        wait_until(lambda: not service.database.rows(kept), "the particulars of all closed days are kept")
        self.hearth, self.miller = (
            service.client(service.create_key(name, "participant", participant=name)) for name in ("hearth", "miller")
        )
        self.till = service.client(service.create_key("anchor-till", "pos", sites=["anchor"]))

    def load(self):
        schemes = [
            network.scheme(
                "tern-bay",
                FIRST,
                {"cup-300": "2.50"},
                terms=[{"netting": "central"}],
                variance_limit="5.00",
                operator=OPERATOR,
            ),
            network.scheme("skerry", FIRST, {"cup-300": "250"}, currency="ISK", terms=[free_of_charge()]),
            network.scheme("gull-bank", FIRST, {"cup-300": "2.50"}),
        ]
        sites = {
            "anchor": ("tern-bay", "hearth"),
            "brick": ("tern-bay", "miller"),
            "dock": ("tern-bay", "quay"),
            "gull": ("skerry", "hearth"),
            "tarn": ("gull-bank", "quay"),
        }
        self.admin.load(network.reference(schemes, sites, **PARTIES))

    def do(self, client, path, body=None, status=(200, 201, 202)):
        answer = client.send("POST", path, body)
        assert answer.status in status, answer.body
        return answer.json

    def pay(self):
        orders = []
        for type in ("payouts", "collections"):
            file = self.do(self.ben, f"/v1/settlements/tern-bay/{FIRST}/files", {"type": type})
            orders += bank.read_file(self.ben.send("GET", file["location"]).body)[1]
        bookings = bank.book(orders)[:1] + [bank.Booking(Decimal(a), reference=f"X-{a}") for a in ("41.00", "-7.50")]
        data = bank.statement("S-1", ACCOUNT, "CAD", str(FIRST + timedelta(days=1)), bookings)
        xml = {"Content-Type": "application/xml"}
        assert self.ben.send("POST", "/v1/bank-statements?scheme=tern-bay", data, xml).status == 200
        # Another person must agree to whose money a stranger's line is.
        line = self.admin.items("/v1/bank-lines", scheme="tern-bay", open="true")[0]
        self.do(self.ben, f"/v1/bank-lines/{line['line']}/resolve", {"note": "asked", "participant": "quay"}, [202])

    def propose(self):
        for client, count in ((self.ann, 1), (self.ben, 2)):
            for _ in range(count):
                legs = [
                    {"account": "handling_fees", "amount": "1.50"},
                    {"account": "tax", "amount": "-1.50"},
                ]
                self.do(
                    client,
                    "/v1/events",
                    event("journal", None, day(3), scheme="tern-bay", legs=legs, reason="of May"),
                    [202],
                )

        places = [{"site": "tarn", "cup_type": "cup-300", "quantity": 10}]
        self.do(
            self.ann,
            "/v1/events",
            event("opening", None, day(0), scheme="gull-bank", places=places, bank="0.00"),
            [202],
        )

    def ship(self):
        """One arrives, one in part, one not at all, and one has only left. Three are asked for. The first was
        wanted before, the second is for later, and the third is on the road."""
        sent = [
            event("dispatch", "anchor", day(n, "13:00"), cups=cups(cup_300=quantity), to="brick")
            for n, quantity in ((3, 4), (3, 6), (4, 5))
        ]
        sent.append(event("dispatch", "anchor", at(business_day(), "03:00"), cups=cups(cup_300=9), to="brick"))
        self.admin.post_many(sent)
        for dispatch, quantity in ((sent[0], 4), (sent[1], 2)):
            came = event("receipt", "brick", day(3, "15:00"), cups=cups(cup_300=quantity))
            self.admin.post({**came, "dispatch": dispatch["event_id"]})
        wanted = [
            {"site": "anchor", "to": "brick", "cups": cups(cup_300=3), "wanted_on": str(FIRST + timedelta(days=n))}
            for n in (2, 30, 3)
        ]
        answer = self.admin.send("POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": wanted})
        assert answer.status == 201, answer.body
        fulfils = answer.json["items"][2]["shipment"]
        self.admin.post({**sent[0], **event("dispatch", "anchor", at(business_day(), "03:00")), "shipment": fulfils})

    def state(self):
        """anchor is counted, and its till has stated the first of three closed days. brick is not counted, and dock's
        count is reversed."""
        counts = [event("count", s, day(4), cups=[{"cup_type": "cup-300", "counted": 2}]) for s in ("anchor", "dock")]
        undone = event("reversal", "dock", day(4, "11:00"), reverses=counts[1]["event_id"])
        for e in [*counts, undone]:
            self.admin.post(e)
        stated = {"issued": 40, "returned": 0, "collected": "100.00", "refunded": "0.00"}
        self.admin.put(f"/v1/sites/anchor/day-totals/{FIRST}", stated)

    def readers(self):
        office = {"first": self.admin, "ann": self.ann, "ben": self.ben, "cora": self.auditor}
        return office | {"hearth": self.hearth, "miller": self.miller, "till": self.till}


def free_of_charge():
    return {"netting": "central", "minimum_payment": "0", "service_fee": "0", "handling_fee": "0"}


@pytest.fixture(scope="module")
def morning(module_database):
    service = new_service(module_database, count_days=COUNT_DAYS)
    yield Morning(service)
    service.stop()


def rows_behind(client, href):
    """All rows of the list, in slices of two."""
    if href.startswith("/v1/reports/"):
        return client.send("GET", href).json["items"]
    rows, target = [], href + ("&" if "?" in href else "?") + "limit=2"
    while target:
        answer = client.send("GET", target)
        assert answer.status == 200, answer.body
        rows += answer.json["items"]
        link = answer.headers.get("Link")
        target = link and link[1 : link.index(">")]
    return rows


SUMS = {"amount": "amount", "cups": "in_transit"}  # member of a task -> column of its list


def test_each_link_leads_to_exactly_what_its_task_counts(morning):
    followed = set()
    for name, client in morning.readers().items():
        for task in client.get("/")["tasks"]:
            rows = rows_behind(client, task["href"])
            assert len(rows) == task["count"] > 0, (name, task)
            for member, column in SUMS.items():
                if member in task:
                    assert Decimal(task[member]) == sum(Decimal(row[column]) for row in rows), (name, task)
            followed.add(task["task"])
    named = morning.service.contract.document["components"]["schemas"]["TaskName"]["enum"]
    assert followed == set(named), "each task that there is was followed"


def tasks_of(client, scheme="tern-bay"):
    return {t["task"]: t for t in client.get("/")["tasks"] if t.get("scheme") in (scheme, None)}


def figures(task):
    return task["count"], task.get("amount"), task.get("since")


def of_payments(payments):
    payments = list(payments)
    return len(payments), f"{sum(Decimal(p['amount']) for p in payments):.2f}", min(p["date"] for p in payments)


def test_the_office_sees_what_the_lists_have(morning):
    tasks = tasks_of(morning.admin)
    payments = morning.admin.items("/v1/payments", scheme="tern-bay")
    held = {p["payment_id"] for p in payments if "held" in p}
    assert held and Counter(p["status"] for p in payments).keys() == {"computed", "approved", "instructed", "confirmed"}
    assert figures(tasks["payments_held"]) == of_payments(p for p in payments if p["payment_id"] in held)
    assert figures(tasks["payments_to_approve"]) == of_payments(
        p for p in payments if p["status"] == "computed" and p["payment_id"] not in held
    )
    for task, status in (("payments_to_send", "approved"), ("payments_unconfirmed", "instructed")):
        assert figures(tasks[task]) == of_payments(p for p in payments if p["status"] == status)
        assert tasks[task]["currency"] == "CAD"
    assert figures(tasks["bank_lines_open"]) == (2, "33.50", str(FIRST + timedelta(days=1)))
    found = morning.admin.get("/v1/reports/exceptions", scheme="tern-bay", **{"from": FIRST})["items"]
    assert figures(tasks["exceptions_open"]) == (len(found), None, min(r["date"] for r in found))
    assert {r["state"] for r in found} == {"open"}
    assert figures(tasks["shipments_to_send"]) == (2, None, str(FIRST + timedelta(days=2)))
    assert figures(tasks["shipments_overdue"]) == (2, None, str(FIRST + timedelta(days=2)))
    late = tasks["shipments_late"]
    assert (late["count"], late["cups"], late["since"]) == (2, 9, str(FIRST + timedelta(days=3)))


def test_days_that_wait_to_be_closed(morning):
    """A day is late when the minutes after its end are over that the scheme gives it."""
    passed = datetime.now(ZoneInfo("UTC"))
    minutes = morning.admin.get("/v1/schemes/tern-bay")["close_after_minutes"]
    days = [
        d["date"]
        for d in morning.admin.items("/v1/schemes/tern-bay/days")
        if d["state"] != "closed" and datetime.fromisoformat(d["ends_at"]) + timedelta(minutes=minutes) <= passed
    ]
    assert figures(tasks_of(morning.admin)["days_not_closed"]) == (len(days), None, str(FIRST + timedelta(days=3)))
    assert len(days) in (2, 3)


def test_days_of_the_bank_without_a_statement(morning):
    told = FIRST + timedelta(days=1)
    today = datetime.now(ZoneInfo("America/St_Johns")).date()
    after = [told + timedelta(days=n) for n in range(1, (today - told).days)]
    missing = [d for d in after if d.weekday() < 5]
    assert figures(tasks_of(morning.admin)["statements_missing"]) == (len(missing), None, str(missing[0]))
    assert len(missing) >= 2
    told_of = [t["scheme"] for t in morning.admin.get("/")["tasks"] if t["task"] == "statements_missing"]
    assert told_of == ["tern-bay"], "the other schemes read no statements"
    listed = morning.admin.items("/v1/schemes/tern-bay/days", missing="statement")
    assert [d["date"] for d in listed] == [str(d) for d in missing]


def test_tills_that_have_not_stated_a_day(morning):
    """Of tills that state their totals, the closed days after the last one on which they did something."""
    assert figures(tasks_of(morning.admin)["totals_missing"]) == (2, None, str(FIRST + timedelta(days=1)))
    days = {"from": FIRST, "to": FIRST + timedelta(days=6)}
    rows = morning.admin.get("/v1/reports/day-totals", scheme="tern-bay", state="missing", **days)["items"]
    assert [(r["site"], r["date"]) for r in rows] == [("anchor", str(FIRST + timedelta(days=n))) for n in (1, 2)]
    every = morning.admin.get("/v1/reports/day-totals", scheme="tern-bay", **days)["items"]
    assert {r["site"] for r in every if r["issued_stated"] is None} >= {"anchor", "brick", "dock"}


def test_sites_that_nobody_has_counted_for_long(morning):
    """They trade. A count that is reversed is none."""
    assert figures(tasks_of(morning.admin)["sites_to_count"]) == (2, None, str(FIRST))
    rows = morning.admin.get("/v1/reports/counts", scheme="tern-bay")["items"]
    assert {r["site"] for r in rows if r["counted"] is None} == {"brick", "dock"}
    assert {r["since"] for r in rows if r["counted"] is None} == {str(FIRST)}
    old = morning.admin.get("/v1/reports/counts", scheme="tern-bay", uncounted_since=FIRST + timedelta(days=1))
    assert {r["site"] for r in old["items"]} == {"brick", "dock"}
    none = morning.admin.get("/v1/reports/counts", scheme="tern-bay", uncounted_since=FIRST)
    assert none["items"] == []


def test_who_proposed_may_not_approve(morning):
    """Of a journal or a change, the person who proposed it sees that it waits; the others, that it waits for them."""
    counts = {
        name: {t: tasks_of(client)[t]["count"] if t in tasks_of(client) else 0 for t in PROPOSED}
        for name, client in morning.readers().items()
        if name in ("first", "ann", "ben", "cora")
    }
    assert counts["ann"] == dict(zip(PROPOSED, (2, 1, 1, 0)))
    assert counts["ben"] == dict(zip(PROPOSED, (1, 2, 0, 1)))
    assert counts["first"] == counts["cora"] == dict(zip(PROPOSED, (3, 0, 1, 0)))
    assert "openings_proposed" in tasks_of(morning.ann, "gull-bank")
    assert "openings_to_approve" in tasks_of(morning.ben, "gull-bank")
    # Another key of ben's holder is the same person.
    other = morning.service.client(morning.service.create_key("ben-2", "accountant", holder="ben"))
    assert tasks_of(other)["journals_proposed"]["count"] == 2
    assert tasks_of(other)["proposals_made"]["count"] == 1


PROPOSED = ("journals_to_approve", "journals_proposed", "proposals_to_approve", "proposals_made")


def test_a_participant_sees_its_own_payments(morning):
    for name, client in (("hearth", morning.hearth), ("miller", morning.miller)):
        waiting = [
            p for p in client.items("/v1/payments", scheme="tern-bay") if p["status"] not in ("confirmed", "failed")
        ]
        tasks = tasks_of(client)
        assert tasks.keys() <= {"payments_to_make", "payments_to_get"} and tasks
        for task, side in (("payments_to_make", "from"), ("payments_to_get", "to")):
            own = [p for p in waiting if p[side] == name]
            assert (task in tasks) == bool(own)
            assert not own or figures(tasks[task]) == of_payments(own)


def test_a_reader_without_tasks_is_told_so(morning):
    assert morning.till.get("/")["tasks"] == []
    page = Page(morning.till.send("GET", "/", headers=HTML).body)
    assert [p.text for p in page.all("p") if p.has_class("none")] == ["Nothing waits for you."]


# The page ------------------------------------------------------------------------------------------------------------
def digits(text):
    return "".join(c for c in text if c.isdigit() or c in ".-")


def test_the_page_says_the_same_in_words(morning):
    for client in (morning.admin, morning.hearth):
        tasks = client.get("/")["tasks"]
        page = Page(client.send("GET", "/", headers=HTML).body)
        assert page.title == "Today"
        rows = page.table("To do")
        assert len(rows) == len(tasks)
        links = [th.first("a").get("href") for th in page.all("th") if th.get("scope") == "row"][: len(tasks)]
        for row, link, task in zip(rows, links, tasks):
            assert link == task["href"] and row["How many"] == str(task["count"])
            assert digits(row["Sum"]) == str(task.get("amount", task.get("cups", "")))
            assert row["Since"] == task.get("since", "") and row["Scheme"] == task.get("scheme", "")
            assert "_" not in row["Task"]
            listed = Page(client.send("GET", link, headers=HTML).body).table()
            assert len(listed) == task["count"]


def test_tasks_come_in_the_order_of_the_morning(morning):
    order = morning.service.contract.document["components"]["schemas"]["TaskName"]["enum"]
    tasks = [(order.index(t["task"]), t.get("scheme", "")) for t in morning.admin.get("/")["tasks"]]
    assert tasks == sorted(tasks) and len({place for place, _ in tasks}) > 8


def test_the_state_of_a_scheme(morning):
    scheme = next(s for s in morning.admin.get("/")["schemes"] if s["scheme"] == "tern-bay")
    stock = morning.admin.get("/v1/reports/stock", scheme="tern-bay")["items"]
    assert scheme["cups_out"] == sum(r["sound"] for r in stock if r["place"] == "with_customers") > 0
    closed = [FIRST + timedelta(days=n) for n in range(3)]
    held = morning.admin.get("/v1/reports/liability", scheme="tern-bay", **{"from": closed[0], "to": closed[-1]})
    by_day = {r["date"]: r["cups_out"] for r in held["items"]}
    assert {d["date"]: d["cups"] for d in scheme["cups_out_by_day"]} == by_day and len(by_day) == 3
    page = Page(morning.admin.send("GET", "/", headers=HTML).body)
    assert len(page.all("svg")) == 1, "only tern-bay has several closed days"
    bound = morning.miller.get("/")["schemes"][0]
    assert not bound.keys() & {"cups_out", "cups_out_by_day"}


# The filters ---------------------------------------------------------------------------------------------------------
def test_filters_of_payments(morning):
    payments = morning.admin.items("/v1/payments", scheme="tern-bay")
    waiting = [p for p in payments if p["status"] not in ("confirmed", "failed")]
    for query, expected in (
        ({"waiting": "true"}, waiting),
        ({"waiting": "false"}, [p for p in payments if p not in waiting]),
        ({"participant": "miller", "side": "payee"}, [p for p in payments if p["to"] == "miller"]),
        ({"participant": "miller", "side": "payer"}, [p for p in payments if p["from"] == "miller"]),
        ({"participant": "hearth", "waiting": "true"}, [p for p in waiting if "hearth" in (p["from"], p["to"])]),
        (
            {"status": "computed", "held": "false"},
            [p for p in payments if p["status"] == "computed" and "held" not in p],
        ),
        (
            {"waiting": "true", "from": FIRST + timedelta(days=2)},
            [p for p in waiting if p["date"] > str(FIRST + timedelta(days=1))],
        ),
    ):
        assert morning.admin.items("/v1/payments", scheme="tern-bay", **query) == expected, query


@pytest.mark.parametrize("state", ["in_transit", "short", "over", "late"])
def test_filters_of_transfers(morning, state):
    rows = morning.admin.get("/v1/reports/transfers", scheme="tern-bay")["items"]
    expected = [
        r for r in rows if (r["in_transit"] > 0 and r["age_days"] > 1 if state == "late" else r["state"] == state)
    ]
    assert morning.admin.get("/v1/reports/transfers", scheme="tern-bay", state=state)["items"] == expected
    assert len(rows) == 4 and (expected or state == "over")


def test_filters_that_make_no_sense_are_refused(morning):
    for target, reason in (
        ("/v1/payments?scheme=tern-bay&waiting=maybe", "parameter_invalid"),
        ("/v1/payments?scheme=tern-bay&participant=miller&side=both", "parameter_invalid"),
        ("/v1/payments?scheme=tern-bay&side=payer", "parameter_missing"),
        ("/v1/journals?scheme=tern-bay&mine=1", "parameter_invalid"),
        ("/v1/journals?scheme=tern-bay&status=approved&mine=true", "parameter_invalid"),
        ("/v1/proposals?status=withdrawn&mine=false", "parameter_invalid"),
        ("/v1/schemes/tern-bay/days?missing=everything", "parameter_invalid"),
        ("/v1/reports/transfers?scheme=tern-bay&state=open", "parameter_invalid"),
    ):
        morning.admin.refused("GET", target, None, 422, reason)
    morning.admin.refused("GET", "/v1/tasks/sleep", None, 404, "not_found")
    for client, task in ((morning.admin, "payments_to_make"), (morning.hearth, "days_not_closed")):
        assert client.get(f"/v1/tasks/{task}") == {"items": []}, "it is no task of the role"


# Many schemes --------------------------------------------------------------------------------------------------------
def test_many_schemes_are_added_up(service):
    """With more than twenty schemes a task is one row in each currency, and leads to the schemes."""
    admin, count = service.admin, 23
    schemes = [
        network.scheme(
            f"cove-{n:02}",
            FIRST,
            {"cup-300": "250" if n % 3 == 0 else "2.50"},
            currency="ISK" if n % 3 == 0 else "CAD",
            terms=[free_of_charge() if n % 3 == 0 else {"netting": "central"}],
        )
        for n in range(count)
    ]
    admin.load(network.reference(schemes, {f"till-{n:02}": (f"cove-{n:02}", "hearth") for n in range(count)}))
    for n in range(0, count, 2):
        admin.post(event("issue", f"till-{n:02}", day(0), issued=cups(cup_300=n + 1)))
        admin.close(f"cove-{n:02}", FIRST)
    tasks = admin.get("/")["tasks"]
    assert all("scheme" not in t and t["href"] == f"/v1/tasks/{t['task']}" for t in tasks)
    for name in ("days_not_closed", "payments_to_approve"):
        added = [t for t in tasks if t["task"] == name]
        rows = rows_behind(admin, f"/v1/tasks/{name}")
        assert [r["scheme"] for r in rows] == sorted(r["scheme"] for r in rows)
        assert len(rows) == (count if name == "days_not_closed" else 12)
        assert sum(t["schemes"] for t in added) == len(rows)
        assert sum(t["count"] for t in added) == sum(r["count"] for r in rows)
        for currency in ("CAD", "ISK"):
            sums = [
                sum(Decimal(t["amount"]) for t in those if t.get("currency") == currency) for those in (added, rows)
            ]
            assert sums[0] == sums[1] and (sums[0] > 0) == (name == "payments_to_approve")
        for row in rows[:3]:
            assert len(rows_behind(admin, row["href"])) == row["count"]
    assert len([t for t in tasks if t["task"] == "payments_to_approve"]) == 2, "a row for each currency"
    page = Page(admin.send("GET", "/", headers=HTML).body)
    assert len(page.table("To do")) == len(tasks) and not page.all("svg"), "no pictures of so many schemes"
    listed = Page(admin.send("GET", "/v1/tasks/payments_to_approve", headers=HTML).body)
    assert len(listed.table("To do")) == 12
    assert "tasks" not in admin.get("/", cursor="cove-05"), "they stand on the first page"
    assert "cups_out_by_day" in admin.get("/", limit=20)["schemes"][0]
