# SPDX-License-Identifier: ISC
"""Journals: one person proposes a journal, and it becomes an entry when another approves. The accounting contract
names the accounts that journals may move. It is common practice in bookkeeping that a journal takes two people."""
import json
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

import bank
import network
from harness import Service, at_once
from network import at, business_day, cups, event

DAY = date.today() - timedelta(days=4)
LEGS = [
    {"account": "bank", "amount": "-12.50"},
    {"account": "handling_fees", "amount": "11.00"},
    {"account": "tax", "amount": "1.50"},
]
OPERATOR = {"name": "Pool", "bank_account": {"account": "770088", "bank_code": "TB-000"}}


def journal(legs=LEGS, day=DAY, scheme="tern-bay", clock="10:00", **members):
    return event(
        "journal", None, at(day, clock), scheme=scheme, legs=legs, **{"reason": "bank charges of May", **members}
    )


class People:
    def __init__(self, service, base=None):
        self.service, base = service, base or service
        self.admin = service.admin
        self.ann, self.ben = (base.client(service.create_key(name, "accountant")) for name in ("ann", "ben"))


@pytest.fixture
def people(service):
    service.admin.load(
        network.reference(
            [
                network.scheme("tern-bay", DAY, {"cup-300": "2.50"}, operator=OPERATOR),
                network.scheme("skerry", DAY, {"cup-300": "2.50"}),
            ],
            {
                "anchor": ("tern-bay", "hearth"),
                "brick": ("tern-bay", "miller"),
                "gull": ("skerry", "hearth"),
                "tarn": ("skerry", "quay"),
            },
        )
    )
    return People(service)


def trade(people, n=5):
    """Posts some events, so that the writer expects new events and quiet heads."""
    for _ in range(n):
        people.admin.post_many([event("issue", "anchor", at(DAY), issued=cups(cup_300=1)) for _ in range(3)])
    for _ in range(20):
        people.admin.post(event("issue", "anchor", at(DAY), issued=cups(cup_300=1)))


def propose(client, sent):
    answer = client.send("POST", "/v1/events", sent)
    assert answer.status == 202, answer.body
    assert answer.json == {"event_id": sent["event_id"], "status": "proposed"}
    return sent


def decide(client, sent, what, body=None, query=""):
    answer = client.send("POST", f"/v1/journals/{sent['event_id']}/{what}{query}", body)
    assert answer.status == 200, answer.body
    return answer.json


def refuse(client, sent, what, status, reason, body=None):
    client.refused("POST", f"/v1/journals/{sent['event_id']}/{what}", body, status, reason)


def money(people):
    return {a: v for a, v in people.admin.accounts("tern-bay").items() if a in ("bank", "handling_fees", "tax")}


def test_a_journal_is_of_two_people(people):
    trade(people)
    sent, feed = propose(people.ann, journal()), people.admin.feed("tern-bay")
    assert propose(people.ann, sent) and propose(people.ben, sent)  # each key gets the same answer
    assert money(people) == {} and people.admin.feed("tern-bay") == feed
    (waiting,) = people.admin.items("/v1/journals", scheme="tern-bay")
    assert (waiting["status"], waiting["proposed_by"], waiting["event"]["reason"]) == (
        "open",
        "ann",
        "bank charges of May",
    )
    assert waiting["event"]["legs"] == LEGS and "approved_by" not in waiting["event"]
    people.admin.refused("GET", f"/v1/events/{sent['event_id']}", None, 404, "not_found")
    refuse(people.ann, sent, "approve", 409, "second_key_needed")
    assert decide(people.ben, sent, "approve", query="?dry_run=true")["dry_run"] is True and money(people) == {}
    approved = decide(people.ben, sent, "approve")
    assert (approved["status"], approved["decided_by"], approved["entry"]) == ("approved", "ben", feed[-1]["entry"] + 1)
    assert money(people) == {"bank": "-12.50", "handling_fees": "11.00", "tax": "1.50"}
    shown = people.admin.get(f"/v1/events/{sent['event_id']}")
    assert shown["event"]["approved_by"] == "ben" and shown["entry"] == approved["entry"] and shown["legs"] == LEGS
    assert people.admin.items("/v1/journals", scheme="tern-bay") == []
    assert len(people.admin.items("/v1/journals", scheme="tern-bay", status="approved")) == 1
    assert decide(people.ben, sent, "approve") == approved
    refuse(people.ann, sent, "approve", 409, "proposal_decided")
    refuse(people.ann, sent, "withdraw", 409, "proposal_decided", {"reason": "too late"})
    trade(people)  # the replay comes when the writer expects new events
    replay = people.ann.post(sent)
    assert (replay["status"], replay["entry"]) == ("duplicate", approved["entry"])
    people.ann.refused("POST", "/v1/events", {**sent, "reason": "other"}, 409, "event_id_conflict")
    undo = event("reversal", None, at(DAY), scheme="tern-bay", reverses=sent["event_id"])
    people.admin.refused("POST", "/v1/events", undo, 422, "reversal_of_journal")
    people.admin.assert_holds()


def test_a_proposal_has_its_id(people):
    """An id belongs to a proposal as it does to an entry, even if the writer did not look it up, and even after the
    proposal was withdrawn."""
    for withdrawn in (False, True):
        trade(people)
        sent = propose(people.ann, journal())
        if withdrawn:
            people.ann.refused("POST", f"/v1/journals/{sent['event_id']}/withdraw", {}, 422, "member_missing")
            gone = decide(people.ben, sent, "withdraw", {"reason": "booked by the bank itself"})
            assert (gone["status"], gone["decided_by"], gone["note"]) == (
                "withdrawn",
                "ben",
                "booked by the bank itself",
            )
            assert decide(people.ben, sent, "withdraw", {"reason": "again"}) == gone
            refuse(people.ann, sent, "withdraw", 409, "proposal_decided", {"reason": "again"})
            refuse(people.ben, sent, "approve", 409, "proposal_decided")
        trade(people)
        taken = {**event("issue", "anchor", at(DAY), issued=cups(cup_300=1)), "event_id": sent["event_id"]}
        people.admin.refused("POST", "/v1/events", taken, 409, "event_id_conflict")
        people.admin.refused("POST", "/v1/events", {**sent, "reason": "other"}, 409, "event_id_conflict")
        if withdrawn:
            people.ann.refused("POST", "/v1/events", sent, 409, "proposal_decided")
        else:
            propose(people.ben, sent)
    assert [j["status"] for j in people.admin.items("/v1/journals", scheme="tern-bay", status="withdrawn")] == [
        "withdrawn"
    ]
    people.admin.assert_holds()


def test_among_many(people):
    sent = [journal(), event("issue", "anchor", at(DAY), issued=cups(cup_300=1)), journal(legs=LEGS[:2])]
    first = people.ann.send("POST", "/v1/events", [*sent, sent[0]]).json
    assert [r["status"] for r in first["results"]] == ["proposed", "recorded", "rejected", "proposed"]
    assert (first["recorded"], first["proposed"], first["duplicate"], first["rejected"]) == (1, 2, 0, 1)
    assert first["results"][2]["problem"]["reason"] == "unbalanced"
    lines = b"".join(json.dumps(e).encode() + b"\n" for e in sent[:2])
    stream = people.ann.send("POST", "/v1/events", lines, {"Content-Type": "application/x-ndjson"})
    *each, summary = [json.loads(line) for line in stream.body.splitlines()]
    assert [r["status"] for r in each] == ["proposed", "duplicate"]
    assert summary == {"recorded": 0, "duplicate": 1, "proposed": 1, "rejected": 0}
    assert len(people.admin.items("/v1/journals", scheme="tern-bay")) == 1
    again = people.ann.send("POST", "/v1/events?dry_run=true", [journal(), sent[1]]).json
    assert [r["status"] for r in again["results"]] == ["proposed", "duplicate"] and again["dry_run"] is True
    assert len(people.admin.items("/v1/journals", scheme="tern-bay")) == 1


def test_the_day_may_close_in_between(people):
    sent = propose(people.ann, journal())
    people.admin.close("tern-bay", DAY)
    approved = decide(people.ben, sent, "approve")
    shown = people.admin.get(f"/v1/events/{sent['event_id']}")
    assert shown["late"] is True and shown["exceptions"] == [{"exception": "late"}]
    assert shown["business_date"] == str(DAY + timedelta(days=1)) and shown["entry"] == approved["entry"]
    assert people.ann.post(sent) == {
        "event_id": sent["event_id"],
        "status": "duplicate",
        "entry": approved["entry"],
        "late": True,
        "business_date": str(DAY + timedelta(days=1)),
        "exceptions": [{"exception": "late"}],
    }
    people.admin.close("tern-bay", DAY + timedelta(days=1))
    people.admin.assert_holds()


def test_the_same_id_in_two_schemes(people):
    sent = propose(people.ann, journal())
    other = propose(people.ann, {**sent, "scheme": "skerry"})
    people.ben.refused("POST", f"/v1/journals/{sent['event_id']}/approve", None, 422, "parameter_missing")
    assert decide(people.ben, other, "approve", query="?scheme=skerry")["scheme"] == "skerry"
    assert money(people) == {} and people.admin.accounts("skerry")["bank"] == "-12.50"
    for path in (
        f"/v1/journals/{uuid4()}/approve",
        "/v1/journals/x/approve",
        f"/v1/journals/{sent['event_id']}/approve?scheme=no",
    ):
        people.ben.refused("POST", path, None, 404, "not_found")
    people.ben.refused("GET", "/v1/journals?scheme=tern-bay&status=lost", None, 422, "parameter_invalid")


def test_two_instances_know_of_each_others_proposals(database, people):
    second = Service(database).start()
    try:
        there = second.client(people.service.admin_key)
        trade(people)
        for _ in range(20):
            there.post(event("issue", "brick", at(DAY), issued=cups(cup_300=1)))
        sent = propose(people.ann, journal())
        taken = {**event("issue", "brick", at(DAY), issued=cups(cup_300=1)), "event_id": sent["event_id"]}
        there.refused("POST", "/v1/events", taken, 409, "event_id_conflict")
        propose(second.client(people.ben.key), sent)
        answers = at_once(
            *(
                lambda c=c: c.send("POST", f"/v1/journals/{sent['event_id']}/{what}", {"reason": "a race"})
                for c, what in ((second.client(people.ben.key), "approve"), (people.admin, "withdraw"))
            )
        )
        assert sorted(a.status for a in answers) == [200, 409]
        there.post(event("issue", "brick", at(DAY), issued=cups(cup_300=1)))
    finally:
        second.stop()
    people.admin.assert_holds()


def test_what_a_journal_may_say(people):
    def leg(account, amount):
        return {"account": account, "amount": amount}

    rows = [
        ([leg("bank", "-1.00"), leg("service_fees", "0.99")], "unbalanced"),
        ([leg("cash", "-1.00"), leg("bank", "1.00")], "account_unknown"),
        ([leg("bank(anchor)", "-1.00"), leg("bank", "1.00")], "account_unknown"),
        ([leg("settlement_due(nobody)", "-1.00"), leg("bank", "1.00")], "account_unknown"),
        ([leg("site_clearing(gull)", "-1.00"), leg("bank", "1.00")], "account_unknown"),  # skerry's
        ([leg("arrears(quay)", "-1.00"), leg("bank", "1.00")], "account_unknown"),  # has no site in tern-bay
        ([leg("arrears", "-1.00"), leg("bank", "1.00")], "account_unknown"),
        *[
            ([leg(account, "-1.00"), leg("bank", "1.00")], "not_for_journals")
            for account in (
                "customer_deposits(cup-300)",
                "stock_deposits(anchor,cup-300)",
                "transit_deposits(cup-300)",
                "settlement_due(hearth)",
                "site_stock(anchor,cup-300)",
                "supply(cup-300)",
                "retired(cup-300)",
            )
        ],
        ([leg("bank", "-1.000"), leg("tax", "1.000")], "amount_decimals"),
        ([leg("bank", "-1"), leg("tax", "1")], "amount_decimals"),
        ([leg("bank", "-99999999999.99"), leg("tax", "99999999999.99")], "out_of_range"),
    ]
    for legs, reason in rows:
        people.ann.refused("POST", "/v1/events", journal(legs), 422, reason)
    people.ann.refused("POST", "/v1/events", journal(scheme="nowhere"), 422, "scheme_unknown")
    people.ann.refused("POST", "/v1/events", journal(reason="x" * 501), 422, "too_long")
    people.ann.refused("POST", "/v1/events", {**journal(), "approved_by": "ben"}, 422, "member_unknown")
    people.ann.refused("POST", "/v1/events", journal(day=date.today() + timedelta(days=3)), 422, "occurred_in_future")
    many = [
        leg(account, "-0.01" if n % 2 else "0.01")
        for n, account in enumerate(
            [
                "bank",
                "bank_suspense",
                "service_fees",
                "forfeits",
                "loss_charges",
                "handling_fees",
                "refund_variance",
                "tax",
                "operator_account",
                "bank_charges",
                "interest",
                "arrears(miller)",
                "site_clearing(brick)",
                "refund_variance",
            ]
            * 7
        )
    ]
    sent = propose(people.ann, journal(many, reason='he said "no"\n\u20ac', reference=""))
    assert decide(people.ben, sent, "approve")["event"]["legs"] == many
    assert people.admin.items("/v1/journals", scheme="tern-bay") == []
    people.admin.assert_holds()


def agree(people, *legs, day=DAY, **members):
    """A journal of these (account, amount), approved. Its entry."""
    stated = [{"account": account, "amount": amount} for account, amount in legs]
    return decide(people.ben, propose(people.ann, journal(stated, day, **members)), "approve")["entry"]


def test_a_wrong_fee_is_mended(people):
    """A journal takes a fee and its tax off a site's clearing. The day's settlement shows it under `other`."""
    trade(people)
    before = Decimal(people.admin.accounts("tern-bay")["site_clearing(anchor)"])
    agree(people, ("site_clearing(anchor)", "-2.30"), ("service_fees", "2.00"), ("tax", "0.30"))
    agree(people, ("site_clearing(anchor)", "0.30"), ("site_clearing(brick)", "-0.30"))
    people.admin.assert_holds()
    settlement = people.admin.close("tern-bay", DAY)
    sites = {s["site"]: s for p in settlement["positions"] for s in p["sites"]}
    assert (sites["anchor"]["other"], sites["brick"]["other"]) == ("-2.00", "-0.30")
    positions = {p["participant"]: Decimal(p["amount"]) for p in settlement["positions"]}
    assert positions == {"hearth": before - 2, "miller": Decimal("-0.30")}
    rows = people.admin.items("/v1/reports/site-statement", scheme="tern-bay", **{"from": DAY, "to": DAY})
    assert {r["site"]: (r["other"], r["net"] if "net" in r else r["closing"]) for r in rows} == {
        "anchor": ("-2.00", "0.00"),
        "brick": ("-0.30", "0.00"),
    }
    people.admin.assert_holds()


def test_a_bad_debt_is_written_off(people):
    """A collection fails, and two people agree that it will never come: an expense of the pool. The participant owes
    nothing any more, and its statement says why."""
    trade(people)
    people.admin.close("tern-bay", DAY)
    [payment] = people.admin.get(f"/v1/settlements/tern-bay/{DAY}")["payments"]
    people.ann.send("POST", f"/v1/settlements/tern-bay/{DAY}/approve")
    failed = people.ben.send("POST", f"/v1/payments/{payment['payment_id']}/fail", {"reason": "gone out of business"})
    assert failed.status == 200, failed.body
    owed = payment["amount"]
    assert people.admin.accounts("tern-bay")["arrears(hearth)"] == owed
    agree(people, ("arrears(hearth)", f"-{owed}"), ("loss_charges", owed), day=business_day(), clock="03:00")
    assert people.admin.accounts("tern-bay")["arrears(hearth)"] == "0.00"
    people.admin.assert_holds()
    [line] = [
        r
        for r in people.admin.items("/v1/reports/participant-statement", scheme="tern-bay", participant="hearth")
        if r["account"] == "arrears(hearth)" and Decimal(r["other"])
    ]
    assert (line["other"], line["failed"], line["paid"], line["closing"]) == (f"-{owed}", owed, "0.00", "0.00")
    people.admin.assert_holds()


def test_arrears_that_a_journal_puts_on_are_settled(people):
    """A debt that is owed beside the trade is collected with the next close."""
    agree(people, ("arrears(miller)", "-4.00"), ("operator_account", "4.00"))
    settlement = people.admin.close("tern-bay", DAY)
    [position] = [p for p in settlement["positions"] if p["participant"] == "miller"]
    assert (position["amount"], position["arrears"]) == ("-4.00", "-4.00")
    assert [(p["from"], p["to"], p["amount"]) for p in settlement["payments"]] == [("pool", "miller", "4.00")]
    people.admin.assert_holds()


def test_the_bank_moves_by_statements_alone(people):
    """Until a scheme has read a statement, journals stand in for them."""
    agree(people, ("bank", "-12.50"), ("bank_charges", "12.50"))
    waiting = propose(people.ann, journal())
    statement = bank.statement("S-1", "770088", "CAD", str(business_day()), [bank.Booking(Decimal("5.00"))])
    target, type = "/v1/bank-statements?scheme=tern-bay", {"Content-Type": "application/xml"}
    assert people.ben.send("POST", target, statement, type).status == 200
    answer = people.ann.send("POST", "/v1/events", journal())
    assert (answer.status, answer.json["errors"][0]["pointer"]) == (409, "/legs/0/account"), answer.body
    refuse(people.ben, waiting, "approve", 409, "bank_by_statement")
    assert decide(people.ben, waiting, "withdraw", {"reason": "the statement has it"})["status"] == "withdrawn"
    other = propose(people.ann, journal(scheme="skerry"))  # has read none
    assert decide(people.ben, other, "approve", query="?scheme=skerry")["status"] == "approved"
    agree(people, ("bank_suspense", "5.00"), ("interest", "-5.00"))
    assert people.admin.accounts("tern-bay")["bank"] == "-7.50"
    people.admin.assert_holds()
