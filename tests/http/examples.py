# SPDX-License-Identifier: ISC
"""The scenario behind the examples in the document: a month of a small invented network, each request with its
answer.

Days and ids are fixed, so another run gives the same examples, except for values that depend on the moment: see
`settled`."""
import csv
import io
import json
import re
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from uuid import NAMESPACE_URL, uuid5

import bank
from browser import Browser
from harness import Client, wait_until
from network import at, cups

KEPT = Path(__file__).parents[2] / "src" / "http" / "contract" / "examples.json"
ITEMS = 3  # of a longer list in an answer, an example shows the first items
DAY, LATER = date(2025, 5, 12), date(2025, 6, 2)  # first day; the scenario names no day from LATER on
SETTLED = ("the-day-of-the-run", "the-time-of-the-run", "an-id-of-the-run")

PARTICIPANTS = {
    "hearth": ("Hearth on the Hill", "00001001"),
    "miller": ("Miller and Daughter", "00001002"),
    "quay": ("Quayside Crumbs", "00001003"),
}
SITES = {
    "anchor": ("Anchor Counter", "hearth"),
    "brick": ("Brick Lane Window", "miller"),
    "dock": ("Dock Hatch", "quay"),
}


def uuid(name):
    return str(uuid5(NAMESPACE_URL, f"https://tern-bay.example/{name}"))


def event(kind, name, clock, /, **members):
    return {"event_id": uuid(name), "kind": kind, **members, "occurred_at": at(DAY, clock)}


def abridged(value, key=None):
    """Cuts lists that only repeat themselves, and hides secrets, although these are worth nothing by now."""
    if isinstance(value, dict):
        return {k: "the-secret-shown-this-once" if k == "key" else abridged(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [
            abridged(v)
            for v in (
                value[:ITEMS]
                if key in ("items", "routes", "tasks", "cups_out_by_day", "columns", "holidays", "path")
                else value
            )
        ]
    return value


class Recorder:
    """The requests and answers of each operation, in the form of examples.json."""

    def __init__(self, service):
        self.contract, self.examples = service.contract, {}

    def __call__(
        self,
        client,
        method,
        target,
        body=None,
        name="example",
        type="application/json",
        expect=(200, 201, 202, 204),
        **headers,
    ):
        text = body.encode() if isinstance(body, str) else body
        if body is not None:
            headers = {"Content-Type": type, **headers}
        answer = client.send(method, target, text, headers)
        assert answer.status in expect, f"{method} {target}: {answer.status} {answer.body[:600]}"
        example = {"name": name, "target": target}
        if body is not None:
            example["request"] = {"type": type, "body": body.decode() if isinstance(body, bytes) else body}
        example["answer"] = {"status": answer.status}
        if answer.body:
            media = answer.headers["Content-Type"].partition(";")[0]
            shown = (
                abridged(answer.json)
                if media.endswith("json") and media != "application/x-ndjson"
                else answer.body.decode()
            )
            example["answer"] |= {"type": media, "body": shown}
        self.examples.setdefault(self.contract.operation(method, target)[1]["operationId"], []).append(example)
        return answer


def reference_document():
    def account(number):
        return {"account": number, "bank_code": "TB-001"}

    return {
        "cup_types": [
            {"cup_type": "cup-300", "name": "Cup", "volume_ml": 300, "mass_g": 82},
            {"cup_type": "cup-450", "name": "Large cup", "volume_ml": 450, "mass_g": 104},
        ],
        "participants": [
            {
                "participant": code,
                "name": name,
                "bank_account": account(number),
                "mandate": {"id": f"M-{number[-4:]}", "signed_on": "2025-04-01"},
            }
            for code, (name, number) in PARTICIPANTS.items()
        ],
        "schemes": [
            {
                "scheme": "tern-bay",
                "currency": "CAD",
                "time_zone": "America/St_Johns",
                "cut_off": "03:00",
                "stock_terms": "on_loan",
                "return_target": "0.90",
                "dual_control": True,
                "variance_limit": "5.00",
                "operator": {
                    "name": "Tern Bay Cup Pool",
                    "bank_account": account("00001000"),
                    "creditor_id": "TB-COLLECTS-1",
                },
                "terms": [
                    {
                        "effective_date": str(DAY),
                        "netting": "direct",
                        "minimum_payment": "0.00",
                        "service_fee": "0.10",
                        "handling_fee": "0.04",
                        "tax_rate": "0.15",
                        "shortage_terms": "absorb",
                        "variance_terms": "absorb",
                    }
                ],
                "refund_values": [
                    {"cup_type": "cup-300", "effective_date": str(DAY), "amount": "2.50"},
                    {"cup_type": "cup-450", "effective_date": str(DAY), "amount": "3.50"},
                ],
                "office_accounts": [
                    {
                        "effective_date": str(DAY),
                        "accounts": [
                            {"account": "customer_deposits", "code": "2300", "name": "Deposits held for customers"},
                            {"account": "site_clearing", "code": "1310", "name": "Cafes, not settled"},
                            {"account": "bank", "code": "1020", "name": "Pool account"},
                            {"account": "service_fees", "code": "4100", "name": "Service fees"},
                        ],
                    }
                ],
            }
        ],
        "sites": [
            {
                "site": code,
                "scheme": "tern-bay",
                "participant": participant,
                "name": name,
                "kind": "cafe",
                "opened_on": "2025-04-01",
            }
            for code, (name, participant) in SITES.items()
        ],
    }


def one_of_each_kind():
    """An event of each kind that clients post, in an order in which they could have happened."""

    def at_anchor(kind, clock, **members):
        return event(kind, f"each-{kind}", clock, site="anchor", **members)

    def of_scheme(kind, clock, **members):
        return event(kind, f"each-{kind}", clock, scheme="tern-bay", **members)

    return [
        at_anchor("supply", "12:00", cups=cups(cup_300=20, cup_450=5)),
        at_anchor("issue", "12:01", issued=cups(cup_300=3), amount="7.50", tender="card"),
        at_anchor(
            "return",
            "12:02",
            returned=[{"cup_type": "cup-300", "quantity": 1, "condition": "damaged"}],
            amount="2.50",
            tender="cash",
        ),
        at_anchor("exchange", "12:03", returned=cups(cup_300=1), issued=cups(cup_450=1), amount="1.00", tender="app"),
        at_anchor("damage", "12:04", cups=cups(cup_300=1)),
        at_anchor("retire", "12:05", cups=cups(cup_300=2), mass_g=164),
        at_anchor("count", "12:06", cups=[{"cup_type": "cup-300", "counted": 80}]),
        at_anchor("dispatch", "12:07", cups=cups(cup_300=10), to="brick"),
        event("receipt", "each-receipt", "12:08", site="brick", cups=cups(cup_300=9), dispatch=uuid("each-dispatch")),
        at_anchor("transit_loss", "12:09", cups=cups(cup_300=1), dispatch=uuid("each-dispatch"), bearer="sender"),
        at_anchor("reversal", "12:10", reverses=uuid("each-issue")),
        of_scheme("forfeit", "12:11", cups=cups(cup_300=2)),
        of_scheme("reinstate", "12:12", cups=cups(cup_300=1)),
        of_scheme(
            "journal",
            "12:13",
            reason="interest of the month",
            legs=[{"account": "bank", "amount": "1.20"}, {"account": "handling_fees", "amount": "-1.20"}],
        ),
    ]


def as_csv(rows):
    """The rows as a spreadsheet would save them. A member of a member is a column of its own."""
    flat = [
        {
            f"{name}.{part}" if part else name: inner
            for name, value in row.items()
            for part, inner in (value.items() if isinstance(value, dict) else [("", value)])
        }
        for row in rows
    ]
    text = io.StringIO()
    table = csv.DictWriter(text, list(dict.fromkeys(name for row in flat for name in row)), lineterminator="\n")
    table.writeheader()
    table.writerows(flat)
    return text.getvalue()


def without(row, *members):
    return {k: v for k, v in row.items() if k not in members}


def set_up(do, admin):
    """First puts a thing of each kind by itself, then the document of all of them."""
    document = reference_document()
    scheme, cup, participant, site = (document[k][0] for k in ("schemes", "cup_types", "participants", "sites"))
    [terms], value, [codes] = scheme["terms"], scheme["refund_values"][0], scheme["office_accounts"]
    do(admin, "PUT", "/v1/cup-types/cup-300", without(cup, "cup_type"))
    do(admin, "PUT", "/v1/schemes/tern-bay", without(scheme, "scheme", "terms", "refund_values", "office_accounts"))
    do(admin, "PUT", f"/v1/schemes/tern-bay/terms/{DAY}", without(terms, "effective_date"))
    do(admin, "PUT", f"/v1/schemes/tern-bay/refund-values/cup-300/{DAY}", without(value, "cup_type", "effective_date"))
    do(admin, "PUT", f"/v1/schemes/tern-bay/office-accounts/{DAY}", without(codes, "effective_date"))
    do(admin, "PUT", "/v1/participants/hearth", without(participant, "participant"))
    do(admin, "PUT", "/v1/sites/anchor", without(site, "site"))
    do(admin, "POST", "/v1/reference", document)
    lines = [json.dumps({list_name: [thing]}) + "\n" for list_name, things in document.items() for thing in things]
    do(admin, "POST", "/v1/reference", "".join(lines), name="lines", type="application/x-ndjson")
    for path, rows in {
        "cup-types": document["cup_types"],
        "participants": document["participants"],
        "sites": document["sites"],
        "schemes/tern-bay/refund-values": scheme["refund_values"],
    }.items():
        do(admin, "POST", f"/v1/{path}", as_csv(rows), type="text/csv")
    do(
        admin,
        "POST",
        "/v1/cup-types",
        "cup_type,name,volume_ml,mass_g\ncup-300,Cup,300,82\ncup-450,,large,104\n",
        name="refused",
        type="text/csv",
        expect=(422,),
    )
    do(admin, "GET", "/v1/changes?scheme=tern-bay&of=scheme")
    do(admin, "PUT", f"/v1/participants/quay/tax-registration/{DAY}", {"tax_registered": False})
    do(admin, "PUT", f"/v1/sites/dock/kind/{DAY}", {"kind": "return_point"})
    for path in (
        "/v1/reference",
        "/v1/schemes/tern-bay",
        f"/v1/schemes/tern-bay/terms/{DAY}",
        f"/v1/schemes/tern-bay/refund-values/cup-300/{DAY}",
        f"/v1/schemes/tern-bay/office-accounts/{DAY}",
        "/v1/participants/hearth",
        f"/v1/participants/quay/tax-registration/{DAY}",
        "/v1/participants/quay/tax-registration",
        "/v1/sites/anchor",
        f"/v1/sites/dock/kind/{DAY}",
        "/v1/sites/dock/kind",
        "/v1/cup-types/cup-300",
        "/v1/schemes?limit=100",
        "/v1/schemes/tern-bay/terms",
        "/v1/schemes/tern-bay/refund-values",
        "/v1/schemes/tern-bay/office-accounts",
        "/v1/participants",
        "/v1/sites?limit=2",
        "/v1/cup-types",
    ):
        do(admin, "GET", path)
    do(admin, "GET", "/v1/reference", name="lines", Accept="application/x-ndjson")


def open_and_withdraw(do, ann, ben):
    """The scheme could take over books that exist. It does not, after all, and trades from nothing."""
    opening = {
        "event_id": uuid("opening-1"),
        "kind": "opening",
        "scheme": "tern-bay",
        "occurred_at": at(DAY, "06:00"),
        "places": [
            {"site": "anchor", "cup_type": "cup-300", "quantity": 100},
            {"site": "anchor", "cup_type": "cup-300", "quantity": 2, "condition": "damaged"},
            {"place": "with_customers", "cup_type": "cup-300", "quantity": 60},
            {"place": "unaccounted", "cup_type": "cup-300", "quantity": 5},
        ],
        "shipments": [{"dispatch": uuid("shipment-1"), "site": "anchor", "to": "brick", "cups": cups(cup_300=20)}],
        "bank": "230.00",
        "due": [{"participant": "hearth", "amount": "40.00"}, {"participant": "miller", "amount": "-15.00"}],
    }
    do(ann, "POST", "/v1/events?dry_run=true", opening, name="opening_dry_run")
    lines = [
        {"what": "bank", "amount": "230.00"},
        {"what": "stock", "site": "anchor", "cup_type": "cup-300", "quantity": 100},
        {"what": "with_customers", "cup_type": "cup-300", "quantity": 60},
        {"what": "shipment", "site": "anchor", "to": "brick", "cup_type": "cup-300", "quantity": 20},
        {"what": "due", "participant": "hearth", "amount": "40.00"},
    ]
    do(
        ann,
        "POST",
        f"/v1/schemes/tern-bay/opening?event_id={uuid('opening-lines')}&dry_run=true",
        as_csv(lines),
        name="lines",
        type="text/csv",
    )
    do(ann, "POST", "/v1/events", opening, name="opening")
    do(ann, "GET", "/v1/openings?scheme=tern-bay")
    do(ben, "GET", f"/v1/openings/{opening['event_id']}")
    do(ben, "POST", f"/v1/openings/{opening['event_id']}/approve?dry_run=true")
    do(ben, "POST", f"/v1/openings/{opening['event_id']}/withdraw", {"reason": "the cups were counted again"})


def trade(do, admin, till, ann, ben):
    """A day at three counters, by all three ways to post. brick pays out 6.00 off the tariff, more than the limit."""
    issue = event(
        "issue", "issue-1", "09:00", site="anchor", issued=cups(cup_300=30, cup_450=10), amount="110.00", tender="card"
    )
    supplies = [event("supply", f"supply-{site}", "06:00", site=site, cups=supplied(site)) for site in SITES]
    stream = [
        event("return", "return-1", "11:00", site="brick", returned=cups(cup_300=10), amount="31.00", tender="cash"),
        event("return", "return-2", "11:30", site="dock", returned=cups(cup_300=2), amount="5.00", tender="cash"),
    ]
    journals = [
        {
            "event_id": uuid(name),
            "kind": "journal",
            "scheme": "tern-bay",
            "occurred_at": at(DAY, "15:00"),
            "reason": why,
            "legs": [{"account": "bank", "amount": "-12.50"}, {"account": "handling_fees", "amount": "12.50"}],
        }
        for name, why in (("journal-1", "bank charges of April"), ("journal-2", "bank charges, twice"))
    ]
    open_and_withdraw(do, ann, ben)
    do(till, "POST", "/v1/events", issue, name="one")
    do(till, "POST", "/v1/events", issue, name="again")
    do(till, "POST", "/v1/events", {**issue, "amount": "110.0", "tip": "1.00"}, name="refused", expect=(422,))
    do(till, "POST", "/v1/events", {**issue, "amount": "100.00"}, name="conflict", expect=(409,))
    do(admin, "POST", "/v1/events", supplies, name="many")
    do(admin, "POST", "/v1/events?dry_run=true", one_of_each_kind(), name="each_kind")
    do(
        admin,
        "POST",
        "/v1/events",
        "".join(json.dumps(line) + "\n" for line in stream),
        name="stream",
        type="application/x-ndjson",
    )
    for journal in journals:
        do(ann, "POST", "/v1/events", journal, name=f"journal_{journal['reason'][-5:].strip()}")
    do(admin, "GET", "/v1/journals?scheme=tern-bay&status=open")
    do(ben, "GET", f"/v1/journals/{uuid('journal-1')}")
    do(ben, "POST", f"/v1/journals/{uuid('journal-1')}/approve")
    do(ben, "POST", f"/v1/journals/{uuid('journal-2')}/withdraw", {"reason": "posted twice"})
    do(till, "GET", f"/v1/events/{issue['event_id']}")
    do(till, "GET", f"/v1/events/{issue['event_id']}/proof", name="too_early", expect=(409,))
    do(admin, "GET", "/v1/entries/1?scheme=tern-bay")
    do(admin, "GET", "/v1/events?scheme=tern-bay&limit=2", name="feed")
    do(
        till,
        "PUT",
        f"/v1/sites/anchor/day-totals/{DAY}",
        {"issued": 40, "returned": 0, "collected": "110.00", "refunded": "0.00"},
    )
    do(till, "GET", f"/v1/sites/anchor/day-totals/{DAY}")
    return issue


def wait_for_particulars(admin):
    """Waits until the clock has hashed them, a moment after the close."""
    wait_until(
        lambda: "particulars" in admin.get("/v1/seals", scheme="tern-bay")["items"][0], "the day's particulars are kept"
    )


def close(do, admin, till, cora, issue):
    do(admin, "GET", "/v1/schemes/tern-bay/days?limit=2")
    do(cora, "POST", f"/v1/schemes/tern-bay/days/{DAY}/close")
    do(admin, "GET", "/v1/settlements?scheme=tern-bay")
    settlement = do(admin, "GET", f"/v1/settlements/tern-bay/{DAY}", name="json").json
    do(admin, "GET", f"/v1/settlements/tern-bay/{DAY}?format=csv", name="csv")
    do(till, "GET", f"/v1/events/{issue['event_id']}/proof")
    do(admin, "GET", "/v1/entries/1/proof?scheme=tern-bay")
    wait_for_particulars(admin)
    do(admin, "GET", "/v1/seals?scheme=tern-bay")
    do(admin, "GET", "/v1/feed?schemes=tern-bay&limit=2&wait=30")
    do(admin, "GET", "/v1/checks?scheme=tern-bay")
    return {(p["from"], p["to"]): p["payment_id"] for p in settlement["payments"]}


def pay(do, admin, ann, ben, payments):
    """hearth owes miller (whose payment is held), quay, and the pool (which collects)."""
    held, small = payments["hearth", "miller"], payments["hearth", "quay"]
    do(admin, "GET", "/v1/payments?scheme=tern-bay&status=computed&held=true")
    do(ben, "POST", f"/v1/payments/{held}/approve", name="held", expect=(409,))
    do(ann, "POST", f"/v1/payments/{held}/release", {"reason": "called brick: a till was set wrongly"})
    do(ben, "POST", f"/v1/payments/{held}/approve", {"reason": "seen with ann"})
    do(ann, "POST", f"/v1/settlements/tern-bay/{DAY}/approve", {"reason": "checked against the tills"})
    do(admin, "GET", f"/v1/payments/{held}")
    do(ben, "POST", f"/v1/payments/{held}/confirm", {"reason": "in the bank's statement"})
    do(ben, "POST", f"/v1/payments/{small}/fail", {"reason": "the account is closed"})
    file = do(ben, "POST", f"/v1/settlements/tern-bay/{DAY}/files", {"type": "collections"}).json
    do(admin, "GET", f"/v1/settlements/tern-bay/{DAY}/files")
    return bank.read_file(do(ben, "GET", file["location"]).body)[1]


def tell(do, admin, ben, orders):
    """The bank books its orders, and a payment that nobody expects."""
    bookings = [
        *bank.book(orders),
        bank.Booking(Decimal("20.00"), "", "B-9"),
        bank.Booking(Decimal("-1.50"), "", "B-10"),
    ]
    statement = bank.statement("S-1", "00001000", "CAD", "2025-05-14", bookings, created_at="2025-05-14T22:00:00+00:00")
    told = do(ben, "POST", "/v1/bank-statements?scheme=tern-bay", statement.decode(), type="application/xml").json
    line, charge = (line for line in told["statements"][0]["lines"] if line["disposition"] == "unmatched")
    do(admin, "GET", "/v1/bank-statements?scheme=tern-bay")
    name = told["statements"][0]["bank_statement"]
    do(admin, "GET", f"/v1/bank-statements/{name}")
    do(admin, "GET", f"/v1/bank-statements/{name}/raw")
    do(admin, "GET", "/v1/bank-lines?scheme=tern-bay&open=true")
    do(admin, "GET", f"/v1/bank-lines/{line['line']}")
    proposed = do(
        ben,
        "POST",
        f"/v1/bank-lines/{line['line']}/resolve",
        {"participant": "hearth", "note": "paid in advance, by their own word"},
        name="stranger",
    ).json
    do(admin, "GET", f"/v1/proposals/{proposed['proposal']}")
    do(admin, "POST", f"/v1/proposals/{proposed['proposal']}/approve")
    body = {"account": "bank_charges", "note": "for the month, by the bank's list of prices"}
    do(ben, "POST", f"/v1/bank-lines/{charge['line']}/resolve", body, name="charge")


def propose(do, admin, ann):
    """A write that weakens control waits for a second person."""
    scheme = admin.get("/v1/schemes/tern-bay")
    proposed = do(
        admin,
        "PUT",
        "/v1/schemes/tern-bay?why=for+the+holidays",
        {**without(scheme, "scheme"), "variance_limit": "50.00"},
        name="proposed",
    ).json
    do(admin, "GET", "/v1/proposals?scheme=tern-bay")
    do(ann, "POST", f"/v1/proposals/{proposed['proposal']}/withdraw", {"reason": "no reason to"})


def end_month(do, admin, ann, ben):
    """The last day is closed, which issues fee notes. Two people close the month for journals, and reopen it."""
    month = f"{DAY:%Y-%m}"
    day = DAY + timedelta(days=1)
    while day.month == DAY.month:
        admin.close("tern-bay", day)
        day += timedelta(days=1)
    do(admin, "GET", "/v1/fee-notes?scheme=tern-bay&limit=1")
    do(admin, "GET", "/v1/fee-notes/tern-bay/1")
    closing = do(ann, "POST", f"/v1/schemes/tern-bay/months/{month}/close").json
    ben.send("POST", f"/v1/proposals/{closing['proposal']}/approve")
    before = DAY.year * 12 + DAY.month + 1  # the place before the next month: the list begins with the month of now
    do(admin, "GET", f"/v1/schemes/tern-bay/months?limit=1&cursor={before}")
    do(admin, "GET", f"/v1/schemes/tern-bay/months/{month}")
    do(admin, "GET", "/v1/schemes/tern-bay/returns-to-come/cup-300")
    do(ben, "POST", f"/v1/schemes/tern-bay/months/{month}/reopen", {"reason": "a fee was left out"})


def remake(do, admin):
    """Two cups that broke are retired, and leave for a re-maker; the batch turns out to be wrong."""
    now = datetime.now(timezone.utc).isoformat()
    broken = {"site": "anchor", "occurred_at": now, "cups": cups(cup_300=2)}
    admin.post({**broken, "event_id": uuid("damage-1"), "kind": "damage"})
    admin.post({**broken, "event_id": uuid("retire-1"), "kind": "retire", "mass_g": 95})
    batch = {"batch": "tb-1", "site": "anchor", "sent_on": str(DAY), "remaker": "Tern Bay Moulding", "weight_g": 95}
    do(admin, "POST", "/v1/remaking-batches", {**batch, "cups": cups(cup_300=2)})
    do(admin, "GET", "/v1/remaking-batches?scheme=tern-bay")
    do(admin, "GET", "/v1/remaking-batches/tern-bay/tb-1")
    do(admin, "POST", "/v1/remaking-batches/tern-bay/tb-1/withdraw", {"reason": "it never left"})


def ship(do, admin, ann):
    """Cups are asked for, dispatched in part, and the rest is withdrawn."""
    wanted = {
        "shipment": uuid("a shipment"),
        "site": "anchor",
        "to": "brick",
        "wanted_on": str(DAY + timedelta(days=1)),
        "cups": cups(cup_300=10),
        "note": "by the side door",
        "bearer": "operator",
    }
    do(ann, "POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": [wanted]})
    sent = event(
        "dispatch",
        "for a shipment",
        "14:00",
        site="anchor",
        cups=cups(cup_300=6),
        to="brick",
        shipment=uuid("a shipment"),
    )
    admin.post(sent)
    admin.post(
        event("receipt", "of a shipment", "15:00", site="brick", cups=cups(cup_300=5), dispatch=uuid("for a shipment"))
    )
    do(admin, "GET", "/v1/shipments?scheme=tern-bay&state=open")
    do(admin, "GET", f"/v1/shipments/{uuid('a shipment')}")
    do(admin, "GET", f"/v1/shipments/{uuid('a shipment')}/packing-list")
    do(ann, "POST", f"/v1/shipments/{uuid('a shipment')}/withdraw", {"reason": "brick has enough"})


def supplied(site):
    """One of anchor's cups has an identity: GS1's example of a Digital Link of the EPC Tag Data Standard 2.3."""
    lines = cups(cup_300=100, cup_450=40)
    if site == "anchor":
        lines[0]["ids"] = ["https://id.gs1.org/8003/0952114112345432a%2Fb"]
    return lines


def look(do, admin):
    cup = "/v1/cups/0952114112345432a%2Fb"
    wait_until(lambda: admin.send("GET", cup).status == 200 and admin.get(cup)["current"])
    do(admin, "GET", "/v1/cups?limit=1")
    do(admin, "GET", cup)
    do(admin, "GET", "/v1/reports")
    do(admin, "GET", f"/v1/reports/deposit-cover?scheme=tern-bay&as_of={DAY}", name="json")
    do(admin, "GET", f"/v1/reports/deposit-cover?scheme=tern-bay&as_of={DAY}&format=csv", name="csv")
    do(admin, "GET", "/v1/reports/withdrawable?scheme=tern-bay", name="withdrawable")
    do(admin, "GET", "/v1/reports/bank-reconciliation?scheme=tern-bay&state=in_transit", name="in_transit")
    [found, *_] = admin.get("/v1/reports/exceptions", scheme="tern-bay", to=DAY)["items"]
    do(admin, "GET", f"/v1/exceptions/{found['exception_id']}")
    several = {"ids": [found["exception_id"]], "note": "tills set wrongly"}
    do(admin, "POST", "/v1/exceptions/resolve?dry_run=true", several)
    do(admin, "POST", f"/v1/exceptions/{found['exception_id']}/resolve", {"note": "a till was set wrongly"})
    do(admin, "GET", "/v1/plans?scheme=tern-bay&box=20&cost_per_km=1.50", name="json")
    do(admin, "GET", "/v1/plans?scheme=tern-bay&box=20&cost_per_km=1.50&format=csv", name="csv")
    prices = [{"from": "anchor", "to": "brick", "cost": "4.00"}]
    do(admin, "POST", "/v1/plans", {"scheme": "tern-bay", "box": 20, "days": 2, "prices": prices})
    prices = "cup_price=1.80&trip_cost=0.05&disposable_price=0.13&disposable_mass_g=11.5"
    do(admin, "GET", f"/v1/purchases?scheme=tern-bay&service_level=0.98&{prices}", name="json")
    do(admin, "GET", f"/v1/purchases?scheme=tern-bay&{prices}&format=csv", name="csv")
    do(admin, "GET", f"/v1/accounts?scheme=tern-bay&as_of={DAY}")
    do(admin, "GET", "/v1/posting-rules")
    do(admin, "GET", "/")
    do(admin, "GET", "/v1/tasks/exceptions_open")
    do(admin, "GET", "/v1/office?sum_in=EUR&rates=CAD:0.68&rate_day=2026-05-12", name="json")
    do(admin, "GET", "/v1/office?format=csv", name="csv")
    do(admin, "GET", "/v1/keys")
    do(admin, "DELETE", "/v1/keys/anchor-till?why=replaced")


def agree(do, admin, ann):
    """Each of two operators signs for how much one pays out for the other's cups."""
    scheme = {
        "scheme": "eider-sound",
        "currency": "ISK",
        "time_zone": "Atlantic/Reykjavik",
        "cut_off": "03:00",
        "stock_terms": "on_loan",
    }
    admin.load({"schemes": [scheme]})
    path = f"/v1/schemes/tern-bay/agreements/eider-sound/{date.today() + timedelta(days=9)}"
    values = [{"cup_type": "cup-300", "amount": "240"}, {"cup_type": "cup-450", "amount": "340"}]
    asked = {"currency": "ISK", "rate": "0.0105", "values": values, "signs_for": "tern-bay"}
    proposed = do(admin, "PUT", path, asked).json
    assert ann.send("POST", f"/v1/proposals/{proposed['proposal']}/approve").status == 200
    do(admin, "GET", path)
    do(admin, "GET", "/v1/schemes/eider-sound/agreements")


def browsers(do, admin):
    """The administrator signs in at two screens, and ends the session that was left open at the first."""
    for _ in range(2):
        assert Browser(admin.service).sign_in("first-admin", admin.key).status == 303
    first, _ = do(admin, "GET", "/v1/me/sessions").json["items"]
    do(admin, "DELETE", f"/v1/me/sessions/{first['session']}")


def play(service):
    """{operationId: its examples}"""
    do, admin = Recorder(service), service.admin
    public = Client(service)
    for path in ("/healthz", "/readyz", "/metrics", "/problems/day_not_sealed"):
        do(public, "GET", path)
    set_up(do, admin)
    key = do(
        admin,
        "POST",
        "/v1/keys",
        {"name": "anchor-till", "holder": "the counter at anchor", "role": "pos", "sites": ["anchor"]},
    ).json["key"]
    till = service.client(key)
    ann, ben, cora = (service.client(service.create_key(name, "accountant")) for name in ("ann", "ben", "cora"))
    do(till, "GET", "/v1/me")
    issue = trade(do, admin, till, ann, ben)
    payments = close(do, admin, till, cora, issue)
    tell(do, admin, ben, pay(do, admin, ann, ben, payments))
    propose(do, admin, ann)
    ship(do, admin, ann)
    browsers(do, admin)
    do(till, "POST", "/v1/me/language?why=as+at+the+counter", {"language": "fr"})
    do(admin, "POST", "/v1/keys/anchor-till/language", {})
    do(till, "POST", "/v1/me/renew?why=received+today")
    look(do, admin)
    end_month(do, admin, ann, ben)
    remake(do, admin)
    agree(do, admin, ann)
    return do.examples


def _settled_text(text):
    """Keeps the scenario's own times, days and ids."""
    text = re.sub(
        r"(\d{4}-\d\d-\d\d)T\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)",
        lambda m: m[0] if m[1] < str(LATER) else SETTLED[1],
        text,
    )
    text = re.sub(r"\b\d{4}-\d\d-\d\d\b", lambda m: m[0] if m[0] < str(LATER) else SETTLED[0], text)
    text = re.sub(r"<(MsgId|PmtInfId)>[^<]*", r"<\1>", text)
    text = re.sub(r"(\r\n[^,\r]+,uncovered(?:,[^,\r]*){7},)\d+", r"\1days until the run", text)  # in the office's CSV
    return re.sub(
        r"\b[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}\b", lambda m: m[0] if m[0] in OWN_IDS else SETTLED[2], text
    )


OWN_IDS = {
    uuid(name)
    for name in (
        "issue-1",
        "return-1",
        "return-2",
        "journal-1",
        "journal-2",
        "opening-1",
        "shipment-1",
        *(f"supply-{site}" for site in SITES),
    )
}


def settled(value, key=None):
    """The value without the parts that depend on the moment of a run: its times and days, random ids, measurements."""
    if isinstance(value, dict):
        if value.get("task") in ("days_not_closed", "statements_missing"):
            value = {**value, "count": "days until the run"}
        return {k: settled(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [settled(v) for v in value]
    if key in ("sha256", "digest", "message_id", "particulars", "days_to_close", "days_not_closed", "days_over"):
        return f"{type(value).__name__} of the run"
    if isinstance(value, str):
        if value.startswith("# HELP"):  # metrics: keeps their names, not their values
            value = "\n".join(line for line in value.splitlines() if line.startswith("#"))
        return _settled_text(value)
    return value
