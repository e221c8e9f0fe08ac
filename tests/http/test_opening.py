# SPDX-License-Identifier: ISC
"""The opening of a scheme: one person proposes it, another approves it, and until then nothing else is posted."""
import json
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

import bank
import network
from harness import Database, Service, new_service, wait_until
from network import at, cups, event

DAY = date.today() - timedelta(days=4)


class People:
    def __init__(self, service, base=None):
        self.service, base = service, base or service
        self.admin = service.admin
        self.ann, self.ben = (base.client(service.create_key(name, "accountant")) for name in ("ann", "ben"))


def network_of(stock_terms="on_loan", day=DAY, **members):
    return network.reference(
        [
            network.scheme("tern-bay", day, {"cup-300": "2.50", "cup-450": "3.50"}, stock_terms=stock_terms, **members),
            network.scheme("skerry", day, {"cup-300": "2.50"}),
        ],
        {
            "anchor": ("tern-bay", "hearth"),
            "brick": ("tern-bay", "miller"),
            "dock": ("tern-bay", "quay"),
            "gull": ("skerry", "hearth"),
            "tarn": ("skerry", "cooper"),
        },
    )


@pytest.fixture
def people(service):
    service.admin.load(network_of())
    return People(service)


def place(cup_type, quantity, at_site=None, **members):
    where = {"site": at_site} if at_site in ("anchor", "brick", "dock", "gull") else {"place": at_site}
    return {**where, "cup_type": cup_type, "quantity": quantity, **members}


PLACES = [
    place("cup-300", 100, "anchor"),
    place("cup-450", 40, "anchor"),
    place("cup-300", 3, "anchor", condition="damaged"),
    place("cup-300", 60, "brick"),
    place("cup-300", 30, "with_customers"),
    place("cup-450", 10, "with_customers"),
    place("cup-300", 7, "retired"),
    place("cup-300", 5, "unaccounted"),
]
DUE = [{"participant": "hearth", "amount": "40.00"}, {"participant": "miller", "amount": "-15.00"}]


def shipments():
    return [
        {"dispatch": str(uuid4()), "site": "brick", "to": "dock", "cups": cups(cup_300=20)},
        {"dispatch": str(uuid4()), "site": "anchor", "to": "dock", "cups": cups(cup_450=6)},
    ]


def opening(day=DAY, scheme="tern-bay", **members):
    stated = {"places": PLACES, "shipments": shipments(), "bank": "200.00", "due": DUE, **members}
    return event("opening", None, at(day), scheme=scheme, **{k: v for k, v in stated.items() if v is not None})


def propose(client, sent):
    answer = client.send("POST", "/v1/events", sent)
    assert answer.status == 202, answer.body
    assert answer.json["status"] == "proposed"
    return answer.json


def decide(client, sent, what, body=None, query=""):
    answer = client.send("POST", f"/v1/openings/{sent['event_id']}/{what}{query}", body)
    assert answer.status == 200, answer.body
    return answer.json


def refuse(client, sent, what, status, reason, body=None):
    client.refused("POST", f"/v1/openings/{sent['event_id']}/{what}", body, status, reason)


def opened(people, **members):
    sent = opening(**members)
    propose(people.ann, sent)
    decide(people.ben, sent, "approve")
    return sent


def sides(sheet):
    return {a["account"]: a.get("debit") or "-" + a["credit"] for a in sheet["accounts"]}


ON_LOAN = {
    "bank": "200.00",
    "arrears(hearth)": "40.00",
    "arrears(miller)": "-15.00",
    "customer_deposits(cup-300)": "-75.00",
    "customer_deposits(cup-450)": "-35.00",
    "operator_account": "-115.00",
}
CUPS = {
    "supply(cup-300)": -225,
    "supply(cup-450)": -56,
    "site_stock(anchor,cup-300)": 100,
    "site_stock(anchor,cup-450)": 40,
    "damaged(anchor,cup-300)": 3,
    "site_stock(brick,cup-300)": 60,
    "in_transit(cup-300)": 20,
    "in_transit(cup-450)": 6,
    "with_customers(cup-300)": 30,
    "with_customers(cup-450)": 10,
    "retired(cup-300)": 7,
    "unaccounted(cup-300)": 5,
}


def test_an_opening_is_of_two_people(people):
    sent = opening()
    dry = people.ann.send("POST", "/v1/events?dry_run=true", sent)
    assert dry.status == 200 and dry.json["dry_run"] is True, dry.body
    sheet = dry.json["balance_sheet"]
    assert sides(sheet) == ON_LOAN and {c["account"]: c["cups"] for c in sheet["cups"]} == CUPS
    assert (sheet["debit"], sheet["credit"], sheet["operator_account"]) == ("240.00", "240.00", "115.00")
    assert people.admin.items("/v1/openings", scheme="tern-bay") == []
    answer = propose(people.ann, sent)
    assert answer == {"event_id": sent["event_id"], "status": "proposed", "balance_sheet": sheet}
    assert propose(people.ben, sent) == answer
    assert people.admin.accounts("tern-bay") == {}
    (waiting,) = people.admin.items("/v1/openings", scheme="tern-bay")
    assert (waiting["status"], waiting["proposed_by"]) == ("open", "ann")
    shown = people.admin.get(f"/v1/openings/{sent['event_id']}")
    assert shown["balance_sheet"] == sheet and "approved_by" not in shown["event"]
    refuse(people.ann, sent, "approve", 409, "second_key_needed")
    assert decide(people.ben, sent, "approve", query="?dry_run=true")["dry_run"] is True
    assert people.admin.accounts("tern-bay") == {}
    approved = decide(people.ben, sent, "approve")
    assert (approved["status"], approved["decided_by"], approved["entry"]) == ("approved", "ben", 1)
    accounts = people.admin.accounts("tern-bay")
    assert {a: v for a, v in accounts.items() if a not in CUPS} == ON_LOAN
    assert {a: v for a, v in accounts.items() if a in CUPS} == CUPS
    entry = people.admin.get(f"/v1/events/{sent['event_id']}")
    assert (entry["entry"], entry["business_date"], entry["late"]) == (1, str(DAY), False)
    assert entry["event"] == {**entry["event"], **{k: v for k, v in sent.items() if k != "occurred_at"}}
    assert entry["event"]["approved_by"] == "ben" and entry["balance_sheet"] == sheet
    assert people.ann.post(sent)["status"] == "duplicate"
    people.ann.refused("POST", "/v1/events", {**sent, "bank": "1.00"}, 409, "event_id_conflict")
    people.admin.assert_holds()
    people.admin.close("tern-bay", DAY)
    people.admin.assert_holds()


ON_DEPOSIT = {
    **ON_LOAN,
    "stock_deposits(anchor,cup-300)": "-257.50",
    "stock_deposits(anchor,cup-450)": "-140.00",
    "stock_deposits(brick,cup-300)": "-150.00",
    "transit_deposits(cup-300)": "-50.00",
    "transit_deposits(cup-450)": "-21.00",
    "operator_account": "503.50",
}


def test_sites_on_deposit_have_placed_deposits(service):
    """The pool owes them these deposits. Here the bank has too little, and the operator owes the rest."""
    service.admin.load(network_of("on_deposit"))
    people = People(service)
    sheet = propose(people.ann, opening())["balance_sheet"]
    assert sides(sheet) == ON_DEPOSIT
    assert (sheet["debit"], sheet["credit"], sheet["operator_account"]) == ("743.50", "743.50", "-503.50")


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_an_opened_scheme_trades_and_closes(service, stock_terms):
    service.admin.load(network_of(stock_terms))
    people = People(service)
    admin, sent = people.admin, opened(people)
    admin.assert_holds()
    first, second = (s["dispatch"] for s in sent["shipments"])
    (row, other) = admin.items("/v1/reports/transfers", scheme="tern-bay", as_of=DAY)
    assert [(r["sender"], r["receiver"], r["sent"], r["in_transit"]) for r in (row, other)] == [
        ("brick", "dock", 20, 20),
        ("anchor", "dock", 6, 6),
    ]
    assert (row["event_id"], row["date"], row["entry"]) == (first, str(DAY), 1)
    arrives = event("receipt", "dock", at(DAY, "08:00"), cups=cups(cup_300=18), dispatch=first)
    assert [x["exception"] for x in admin.post(arrives)["exceptions"]] == ["receipt_short"]
    lost = event("transit_loss", "brick", at(DAY, "09:00"), cups=cups(cup_300=2), dispatch=first, bearer="sender")
    assert admin.post(lost)["exceptions"] == []
    gone = event("transit_loss", "brick", at(DAY, "09:00"), cups=cups(cup_450=1), dispatch=second, bearer="operator")
    admin.refused("POST", "/v1/events", gone, 422, "site_differs")
    admin.post(event("receipt", "dock", at(DAY, "09:00"), cups=cups(cup_450=6), dispatch=second))
    assert admin.items("/v1/reports/transfers", scheme="tern-bay", as_of=DAY) == []
    undone = event("reversal", "dock", at(DAY, "10:00"), reverses=arrives["event_id"])
    assert admin.post(undone)["exceptions"] == []
    admin.post(event("receipt", "dock", at(DAY, "11:00"), cups=cups(cup_300=18), dispatch=first))
    for reverses in (first, sent["event_id"]):
        undo = event("reversal", None, at(DAY, "11:00"), scheme="tern-bay", reverses=reverses)
        people.ann.refused("POST", "/v1/events", undo, 409, "opening_stands")
    # Unaccounted cups count as forfeited: that many may come back.
    back = event("reinstate", None, at(DAY, "11:00"), scheme="tern-bay", cups=cups(cup_300=6 + 2))
    admin.refused("POST", "/v1/events", back, 422, "more_than_forfeited")
    admin.post({**back, "cups": cups(cup_300=5)})
    # The cups of the opening come back and are counted.
    admin.post(event("return", "anchor", at(DAY, "12:00"), returned=cups(cup_300=30 + 5)))
    counted = event("count", "anchor", at(DAY, "13:00"), cups=[{"cup_type": "cup-300", "counted": 135}])
    assert admin.post(counted)["exceptions"] == []
    admin.assert_holds()
    closed = admin.close("tern-bay", DAY)
    admin.assert_holds()
    positions = {p["participant"]: p for p in closed["positions"]}
    assert (positions["hearth"]["arrears"], positions["miller"]["arrears"]) == ("40.00", "-15.00")
    liability = {
        (r["date"], r["cup_type"]): r
        for r in admin.items("/v1/reports/liability", scheme="tern-bay", **{"from": DAY, "to": DAY + timedelta(1)})
    }
    line = liability[str(DAY), "cup-300"]
    assert (line["opening"], line["issued"], line["refunded"], line["reinstated"], line["closing"]) == (
        "75.00",
        "0.00",
        "87.50",
        "12.50",
        "0.00",
    )
    assert liability[str(DAY + timedelta(1)), "cup-450"]["opening"] == "35.00"
    recovery = {
        r["cup_type"]: r for r in admin.items("/v1/reports/recovery", scheme="tern-bay", **{"from": DAY, "to": DAY})
    }
    assert (recovery["cup-300"]["supplied"], recovery["cup-300"]["retired"]) == (225, 7)
    statement = admin.items(
        "/v1/reports/participant-statement", scheme="tern-bay", participant="hearth", **{"from": DAY, "to": DAY}
    )
    arrears = next(r for r in statement if r["account"] == "arrears(hearth)")
    assert (arrears["opening"], arrears["settled"], arrears["paid"], arrears["closing"]) == (
        "40.00",
        "-40.00",
        "0.00",
        "0.00",
    )


def test_the_value_on_the_openings_day_is_what_a_sender_placed(service):
    """Dispatch at 2.50, receipt at 4.00, on deposit: the sender gets back what it had placed."""
    later = DAY + timedelta(days=1)
    service.admin.load(network_of("on_deposit", more_values=[("cup-300", later, "4.00")]))
    people = People(service)
    sent = opened(people, due=None)
    people.admin.close("tern-bay", DAY)
    people.admin.post(
        event("receipt", "dock", at(later), cups=cups(cup_300=20), dispatch=sent["shipments"][0]["dispatch"])
    )
    accounts = people.admin.accounts("tern-bay")
    # 60 cups in stock at brick were worth 1.50 more each from the later day on.
    assert accounts["site_clearing(brick)"] == f"{60 * 1.5 - 20 * 2.5:.2f}"
    assert accounts["site_clearing(dock)"] == "80.00"
    people.admin.assert_holds()


def test_nothing_else_is_posted_while_an_opening_waits(people):
    admin = people.admin
    before = event("journal", None, at(DAY), scheme="tern-bay", legs=JOURNAL, reason="before the opening")
    propose(people.ann, before)
    sent = opening()
    many = people.ann.send(
        "POST", "/v1/events", [sent, issue(), {**issue(), "site": "gull"}, opening(shipments=None), sent]
    ).json["results"]
    assert [r["status"] for r in many] == ["proposed", "rejected", "recorded", "rejected", "proposed"]
    assert {many[n]["problem"]["reason"] for n in (1, 3)} == {"opening_pending"}
    for query in ("", "?dry_run=true"):
        answer = admin.refused("POST", f"/v1/events{query}", issue(), 503, "opening_pending")
        assert answer.headers["Retry-After"] and answer.json["retryable"] is True
    admin.refused("POST", "/v1/events", {**before, "event_id": str(uuid4())}, 503, "opening_pending")
    line = admin.send("POST", "/v1/events", lines(issue()), {"Content-Type": "application/x-ndjson"}).body.splitlines()
    assert b"opening_pending" in line[0]
    for what, body in (("approve", None), ("withdraw", {"reason": "no"})):
        path = f"/v1/journals/{before['event_id']}/{what}"
        people.ben.refused("POST", path, body, 503, "opening_pending")
        people.ben.refused("POST", path.replace("journals", "openings"), body, 404, "not_found")
    people.ben.refused("POST", f"/v1/journals/{sent['event_id']}/approve", None, 404, "not_found")
    for query in ("", "?dry_run=true"):
        path = f"/v1/schemes/tern-bay/days/{DAY}/close{query}"
        admin.refused("POST", path, None, 503, "opening_pending")
    # The facts under an opening stay as they are.
    terms = {**network.TERMS, "netting": "direct"}
    admin.refused("PUT", f"/v1/schemes/tern-bay/terms/{DAY - timedelta(1)}", terms, 422, "starts_too_soon")
    scheme = {k: v for k, v in admin.get("/v1/schemes/tern-bay").items() if k not in ("scheme", "terms")}
    admin.refused("PUT", "/v1/schemes/tern-bay", {**scheme, "stock_terms": "on_deposit"}, 409, "fixed_once_posted")
    site = {**admin.get("/v1/sites/anchor"), "participant": "cooper"}
    site.pop("site")
    admin.refused("PUT", "/v1/sites/anchor", site, 409, "fixed_once_posted")
    assert admin.accounts("tern-bay") == {}
    gone = decide(people.ann, sent, "withdraw", {"reason": "a site is missing"})
    assert (gone["status"], gone["note"]) == ("withdrawn", "a site is missing")
    refuse(people.ben, sent, "approve", 409, "proposal_decided")
    people.ann.refused("POST", "/v1/events", sent, 409, "proposal_decided")
    again = {**sent, "event_id": str(uuid4())}  # ids of shipments of a withdrawn opening are free
    propose(people.ann, again)
    decide(people.ben, again, "approve")
    admin.post(issue())
    people.ben.send("POST", f"/v1/journals/{before['event_id']}/approve")
    assert admin.accounts("tern-bay")["bank"] == "199.00"
    admin.refused("PUT", "/v1/sites/anchor", site, 409, "fixed_once_posted")
    people.ann.refused("POST", "/v1/events", opening(), 409, "opening_too_late")
    admin.assert_holds()


def test_a_bank_statement_waits_as_well(people):
    """Its lines are entries. Once the opening stands it is taken, for the balance of before is in the ledger then."""
    account = {"account": "00001000", "bank_code": "TB-000"}
    scheme = {k: v for k, v in people.admin.get("/v1/schemes/tern-bay").items() if k not in ("scheme", "terms")}
    operator = {"name": "Tern Bay Cup Pool", "bank_account": account}
    people.admin.send("PUT", "/v1/schemes/tern-bay", {**scheme, "operator": operator})
    sent = opening()
    propose(people.ann, sent)
    booking = bank.Booking(Decimal("12.00"), "gift/1")
    taken = bank.statement("S-1", account["account"], "CAD", DAY, [booking], opening=Decimal("200.00"))
    path, xml = "/v1/bank-statements?scheme=tern-bay", {"Content-Type": "application/xml"}
    answer = people.ann.send("POST", path, taken, xml)
    assert (answer.status, answer.json["reason"]) == (503, "opening_pending"), answer.body
    assert people.admin.items(path) == []
    decide(people.ben, sent, "approve")
    assert people.ann.send("POST", path, taken, xml).status == 200
    assert people.admin.accounts("tern-bay")["bank"] == "212.00"
    people.admin.assert_holds()


JOURNAL = [{"account": "bank", "amount": "-1.00"}, {"account": "handling_fees", "amount": "1.00"}]


def issue():
    return event("issue", "anchor", at(DAY), issued=cups(cup_300=1))


def lines(*events):
    return b"".join(json.dumps(e).encode() + b"\n" for e in events)


def test_only_before_any_other_entry(people):
    """A scheme that has traded is not opened; not in the same request either, and not at the approval."""
    first = people.ann.send("POST", "/v1/events", [issue(), opening()]).json["results"]
    assert [r["status"] for r in first] == ["recorded", "rejected"]
    assert first[1]["problem"]["reason"] == "opening_too_late"


def test_only_on_an_open_first_day(people):
    after = opening(day=DAY + timedelta(days=1))
    people.ann.refused("POST", "/v1/events", after, 422, "opening_not_on_first_day")
    people.ann.refused("POST", "/v1/events", opening(day=DAY - timedelta(days=1)), 422, "before_first_day")
    people.admin.close("tern-bay", DAY)
    people.ann.refused("POST", "/v1/events", opening(), 409, "first_day_closed")
    people.ann.refused("POST", "/v1/events", after, 422, "opening_not_on_first_day")


def reverse(sent):
    return event("reversal", None, at(DAY, "20:00"), scheme="tern-bay", reverses=sent["event_id"])


def test_two_people_reverse_it_while_it_is_the_only_entry(people):
    admin, sent = people.admin, opened(people)
    undo = reverse(sent)
    answer = propose(people.ann, undo)
    assert answer["balance_sheet"]["operator_account"] == "-115.00"
    assert propose(people.ann, undo) == answer
    refuse(people.ann, undo, "approve", 409, "second_key_needed")
    assert decide(people.ben, undo, "approve")["entry"] == 2
    assert {a: v for a, v in admin.accounts("tern-bay").items() if v not in ("0.00", 0)} == {}
    assert admin.get(f"/v1/events/{sent['event_id']}")["reversed_by"] == undo["event_id"]
    assert people.ann.post(undo)["status"] == "duplicate"
    people.ann.refused("POST", "/v1/events", {**undo, "reference": "other"}, 409, "event_id_conflict")
    people.ann.refused("POST", "/v1/events", reverse(sent), 422, "already_reversed")
    assert admin.items("/v1/reports/transfers", scheme="tern-bay", as_of=DAY) == []
    admin.assert_holds()
    # The scheme may be opened anew, with new ids for the shipments.
    taken = opening(shipments=sent["shipments"], bank="300.00")
    faults = people.ann.refused("POST", "/v1/events", taken, 409, "event_id_conflict").json["errors"]
    assert {f["pointer"] for f in faults} == {"/shipments/0/dispatch", "/shipments/1/dispatch"}
    again = opened(people, bank="300.00")
    assert admin.get(f"/v1/events/{again['event_id']}")["entry"] == 3
    assert admin.accounts("tern-bay")["operator_account"] == "-215.00"
    assert {r["in_transit"] for r in admin.items("/v1/reports/transfers", scheme="tern-bay", as_of=DAY)} == {20, 6}
    # A reversal that waits does not hold up the scheme, but after another entry it comes too late.
    late = reverse(again)
    propose(people.ann, late)
    admin.post(issue())
    refuse(people.ben, late, "approve", 409, "opening_stands")
    decide(people.ben, late, "withdraw", {"reason": "the first cup is sold"})
    people.ann.refused("POST", "/v1/events", reverse(again), 409, "opening_stands")
    admin.close("tern-bay", DAY)
    admin.assert_holds()


def test_the_id_of_a_shipment_is_taken(people):
    sent = opened(people)
    dispatch = sent["shipments"][0]["dispatch"]
    people.admin.refused("POST", "/v1/events", {**issue(), "event_id": dispatch}, 409, "event_id_conflict")
    shown = people.admin.get(f"/v1/events/{dispatch}")
    assert shown["entry"] == 1 and shown["event"]["event_id"] == sent["event_id"]
    till = people.service.client(people.service.create_key("till", "pos", sites=["dock"]))
    till.refused("GET", f"/v1/events/{dispatch}", None, 404, "not_found")
    wrong = event("receipt", "dock", at(DAY), cups=cups(cup_300=1), dispatch=sent["event_id"])
    people.admin.refused("POST", "/v1/events", wrong, 422, "not_a_dispatch")
    till.refused("POST", "/v1/events", wrong, 422, "event_unknown")
    assert till.post({**wrong, "dispatch": dispatch})["status"] == "recorded"
    people.admin.assert_holds()


REFUSALS = [
    ({"places": []}, "/places", "too_few"),
    ({"places": [{"cup_type": "cup-300", "quantity": 1}]}, "/places/0/site", "member_missing"),
    ({"places": [{**place("cup-300", 1, "anchor"), "place": "retired"}]}, "/places/0/place", "member_unknown"),
    ({"places": [place("cup-300", 1, "retired", condition="sound")]}, "/places/0/condition", "member_unknown"),
    ({"places": [place("cup-300", 1, "lost")]}, "/places/0/place", "value_unknown"),
    ({"places": [place("cup-300", 0, "anchor")]}, "/places/0/quantity", "out_of_range"),
    ({"places": [place("cup-300", 1, "gull")]}, "/places/0/site", "site_in_other_scheme"),
    ({"places": [{"site": "nowhere", "cup_type": "cup-300", "quantity": 1}]}, "/places/0/site", "site_unknown"),
    ({"places": [place("cup-900", 1, "anchor")]}, "/places/0/cup_type", "cup_type_unknown"),
    ({"places": [*PLACES, place("cup-300", 1, "brick")]}, "/places/8/cup_type", "cup_type_repeated"),
    ({"places": [*PLACES, place("cup-300", 1, "retired")]}, "/places/8/cup_type", "cup_type_repeated"),
    ({"bank": "1.5"}, "/bank", "amount_decimals"),
    ({"bank": None}, "/bank", "member_missing"),
    ({"due": [{"participant": "cooper", "amount": "1.00"}]}, "/due/0/participant", "participant_elsewhere"),
    ({"due": [{"participant": "nobody", "amount": "1.00"}]}, "/due/0/participant", "participant_unknown"),
    ({"due": [*DUE, {"participant": "hearth", "amount": "1.00"}]}, "/due/2/participant", "participant_repeated"),
    ({"due": [{"participant": "hearth", "amount": "0.00"}]}, "/due/0/amount", "out_of_range"),
    ({"due": [{"participant": "hearth", "amount": "1"}]}, "/due/0/amount", "amount_decimals"),
    ({"approved_by": "ben"}, "/approved_by", "member_unknown"),
    ({"site": "anchor"}, "/site", "member_unknown"),
]
SHIPMENT = {"dispatch": str(uuid4()), "site": "brick", "to": "dock", "cups": cups(cup_300=20)}
REFUSED_SHIPMENTS = [
    ([{**SHIPMENT, "to": "brick"}], "/shipments/0/to", "same_site"),
    ([{**SHIPMENT, "to": "gull"}], "/shipments/0/to", "site_in_other_scheme"),
    ([{**SHIPMENT, "site": "nowhere"}], "/shipments/0/site", "site_unknown"),
    ([SHIPMENT, SHIPMENT], "/shipments/1/dispatch", "event_id_conflict"),
    ([{**SHIPMENT, "cups": []}], "/shipments/0/cups", "too_few"),
    ([{**SHIPMENT, "cups": cups(cup_300=1) * 2}], "/shipments/0/cups/1/cup_type", "cup_type_repeated"),
    ([{**SHIPMENT, "cups": cups(cup_900=1)}], "/shipments/0/cups/0/cup_type", "cup_type_unknown"),
]


def test_what_an_opening_may_say(people):
    rows = REFUSALS + [({"shipments": s}, pointer, reason) for s, pointer, reason in REFUSED_SHIPMENTS]
    for members, pointer, reason in rows:
        answer = people.ann.send("POST", "/v1/events", opening(**members))
        assert (answer.status, answer.json["reason"]) == (
            409 if reason == "event_id_conflict" else 422,
            reason,
        ), members
        assert [e["pointer"] for e in answer.json["errors"]] == [pointer], answer.body
    own = opening()
    own["shipments"][1]["dispatch"] = own["event_id"]
    people.ann.refused("POST", "/v1/events", own, 409, "event_id_conflict")
    people.admin.load({"cup_types": [{"cup_type": "cup-900", "name": "Cup 900 ml", "volume_ml": 900, "mass_g": 99}]})
    people.ann.refused("POST", "/v1/events", opening(places=[place("cup-900", 1, "anchor")]), 422, "no_refund_value")
    till = people.service.client(people.service.create_key("till", "pos", sites=["anchor"]))
    till.refused("POST", "/v1/events", opening(), 403, "role_not_allowed")
    assert people.admin.items("/v1/openings", scheme="tern-bay") == []


def test_the_first_payout_to_each_participant_is_held(service):
    """Its bank account comes from another system, so a person looks at it once. Only in a scheme that began with an
    opening."""
    service.admin.load(network_of())
    people, admin = People(service), service.admin
    opened(people, shipments=None)
    for scheme, site in (("tern-bay", "brick"), ("skerry", "tarn")):
        admin.post(event("return", site, at(DAY), returned=cups(cup_300=2)))
        held = [p.get("held") for p in admin.close(scheme, DAY)["payments"] if p["to"] != "pool"]
        assert held == ([{"reason": "first_payout", "released": False}] if scheme == "tern-bay" else [None])
    (payment,) = admin.items("/v1/payments", scheme="tern-bay", held="true")
    assert payment["to"] == "miller"
    admin.post(event("return", "brick", at(DAY + timedelta(1)), returned=cups(cup_300=2)))
    assert [p.get("held") for p in admin.close("tern-bay", DAY + timedelta(1))["payments"]] == [None]
    admin.assert_holds()


def test_a_replay_of_the_feed_comes_to_the_same(people, second_service):
    """The opening is proposed without approved_by, and then approved, as a journal is."""
    sent = opened(people)
    trade = [
        issue(),
        event("receipt", "dock", at(DAY), cups=cups(cup_300=20), dispatch=sent["shipments"][0]["dispatch"]),
        event("reinstate", None, at(DAY), scheme="tern-bay", cups=cups(cup_300=5)),
    ]
    people.admin.post_many(trade)
    people.admin.close("tern-bay", DAY)
    other = second_service
    other.admin.load(network_of())
    there = People(other)
    for entry in people.admin.feed("tern-bay"):
        stated = entry.get("event")
        if stated is None:
            continue
        approved = stated.pop("approved_by", None)
        if approved is None:
            there.admin.post(stated)
        else:
            propose(there.ann, stated)
            decide(there.ben, stated, "approve")
    there.admin.close("tern-bay", DAY)
    assert there.admin.accounts("tern-bay") == people.admin.accounts("tern-bay")
    assert [e.get("legs") for e in there.admin.feed("tern-bay")] == [
        e.get("legs") for e in people.admin.feed("tern-bay")
    ]
    seals = [client.items("/v1/seals", scheme="tern-bay") for client in (people.admin, there.admin)]
    assert seals[0][0]["root"] == seals[1][0]["root"]
    there.admin.assert_holds()


@pytest.fixture
def second_service():
    database = Database()
    other = new_service(database)
    yield other
    other.stop()
    database.drop()


def test_two_instances_know_of_it(database, people):
    second = Service(database).start()
    try:
        there = second.client(people.service.admin_key)
        for _ in range(20):
            there.post({**issue(), "event_id": str(uuid4()), "site": "gull"})
        sent = opening()
        propose(people.ann, sent)
        there.refused("POST", "/v1/events", issue(), 503, "opening_pending")
        decide(second.client(people.ben.key), sent, "approve")
        there.post(issue())
        people.admin.post(issue())
    finally:
        second.stop()
    people.admin.assert_holds()


def test_the_clock_waits_for_it(database, people):
    sent = opening()
    propose(people.ann, sent)
    clock = Service(database, close_by_clock="yes").start()
    try:
        client = clock.client(people.service.admin_key)
        wait_until(lambda: closed_days(client, "skerry") >= 3)
        assert closed_days(client, "tern-bay") == 0
        decide(people.ben, sent, "approve")
        wait_until(lambda: closed_days(client, "tern-bay") >= 3)
    finally:
        clock.stop()
    people.admin.assert_holds()


def closed_days(client, scheme):
    return sum(d["state"] == "closed" for d in client.items(f"/v1/schemes/{scheme}/days"))


def test_double_entry_on_a_published_balance_sheet(people):
    """Luca Pacioli, Summa de arithmetica (1494), Particularis de computis et scripturis, chapters 2, 10 and 14 (from
    memory): a ledger begins with an inventory; each thing found is a debit, what is owed a credit, the difference is
    the owner's capital, and in the trial balance both sides have one sum."""
    trial = "/v1/reports/trial-balance"
    assert people.admin.items(trial, scheme="tern-bay", as_of=DAY) == []
    sheet = propose(people.ann, sent := opening())["balance_sheet"]
    amounts = {account: Decimal(amount) for account, amount in sides(sheet).items()}
    assets = sum(a for name, a in amounts.items() if name == "bank" or name.startswith("arrears"))
    debts = -sum(a for name, a in amounts.items() if "_deposits" in name)
    assert assets - debts == Decimal(sheet["operator_account"]) == -amounts["operator_account"]
    assert sum(amounts.values()) == 0
    for side, sign in (("debit", 1), ("credit", -1)):
        assert sum(a for a in amounts.values() if a * sign > 0) * sign == Decimal(sheet[side])
    decide(people.ben, sent, "approve")
    after = {r["account"]: r for r in people.admin.items(trial, scheme="tern-bay", as_of=DAY) if r["unit"] == "CAD"}
    total = after.pop("total")
    assert total["debit"] == total["credit"] == sheet["debit"]
    assert {a: Decimal(r.get("debit") or "0") - Decimal(r.get("credit") or "0") for a, r in after.items()} == amounts


def test_a_network_of_thousands_of_sites(service):
    """Its opening fits into the body that a service takes unless it is set otherwise."""
    codes = [f"site-{n:04}" for n in range(2000)]
    service.admin.load(
        network.reference(
            [network.scheme("tern-bay", DAY, {"cup-300": "2.50", "cup-450": "3.50"}, stock_terms="on_deposit")],
            {code: ("tern-bay", f"cafe-{n % 500:03}") for n, code in enumerate(codes)},
        )
    )
    people = People(service)
    places = [
        {"site": code, "cup_type": cup, "quantity": 10 + n % 7, **more}
        for n, code in enumerate(codes)
        for cup in ("cup-300", "cup-450")
        for more in ({}, {"condition": "damaged"})
    ]
    due = [{"participant": f"cafe-{n:03}", "amount": f"{n - 250}.50"} for n in range(500)]
    sent = opening(places=places, shipments=None, due=due)
    answer = propose(people.ann, sent)
    assert len(answer["balance_sheet"]["accounts"]) == 4000 + 500 + 2
    decide(people.ben, sent, "approve")
    shown = people.admin.get(f"/v1/events/{sent['event_id']}")
    assert len(shown["legs"]) == 2 + 8000 + 1 + 500 + 8000 + 1
    page = people.admin.send("GET", f"/v1/openings/{sent['event_id']}", headers={"Accept": "text/html"})
    assert page.status == 200 and b"operator_account" in page.body
    too_many = opening(places=[place("cup-300", 1, "anchor")] * 20001)
    people.ann.refused("POST", "/v1/events", too_many, 413, "body_too_large")
    people.admin.close("tern-bay", DAY)
    people.admin.assert_holds()


TAMPERINGS = [
    ("UPDATE forfeited SET cups = cups {} 1", "cups_conserved"),
    ("UPDATE transfer SET sent = sent {} 1 WHERE dispatch = -1", "transfers_match"),
    ("UPDATE transfer SET sender = sender {} 1 WHERE dispatch = -1", "transfers_match"),
    ("UPDATE shipment SET entry = entry {} 1", "events_once"),
    ("UPDATE proposed_event SET kind = kind {} 4", "journals_by_two"),
    ("UPDATE proposed_event SET proposed_by = proposed_by {} 10", "journals_by_two"),
    ("UPDATE cup_day SET deposits_opened = deposits_opened {} 1", "cup_days_match"),
]


def test_a_change_of_an_opening_is_found(people, database):
    opened(people)
    people.admin.close("tern-bay", DAY)
    wait_until(lambda: database.rows("SELECT FROM particulars"), "the particulars are kept")
    database.run("ALTER TABLE proposed_event DROP CONSTRAINT proposed_event_kind_check")
    for statement, check in TAMPERINGS:
        database.run(statement.format("-"))
        broken = {c["check"] for c in people.admin.get("/v1/checks")["items"] if c["verdict"] == "broken"}
        assert check in broken, (statement, broken)
        database.run(statement.format("+"))
    people.admin.assert_holds()
