# SPDX-License-Identifier: ISC
"""The contract's worked example over HTTP, on both stock terms, to the cent and the cup, and the contract's "more
cases"."""
from datetime import datetime, timedelta

import pytest

import network
from model import instant
from network import WORKED_DAY, at, cups, event


def posted_and_closed(service, stock_terms):
    """(events, answers, accounts before the close, settlement)"""
    admin = service.admin
    admin.load(network.worked_reference(stock_terms))
    events = network.worked_events()
    answers = [admin.post(e) for e in events]
    before = admin.accounts("tern-bay")
    return events, answers, before, admin.close("tern-bay", WORKED_DAY)


@pytest.fixture(params=list(enumerate(("on_loan", "on_deposit"))), ids=("on_loan", "on_deposit"))
def worked(request, service):
    column, stock_terms = request.param
    return service, column, *posted_and_closed(service, stock_terms)


def test_worked_example(worked):
    service, column, events, answers, before, settlement = worked
    admin = service.admin

    assert {a: before.get(a, "0.00") for a in network.WORKED_BEFORE_CLOSE} == {
        a: columns[column] for a, columns in network.WORKED_BEFORE_CLOSE.items()
    }
    assert {a: before.get(a, 0) for a in network.WORKED_CUPS} == network.WORKED_CUPS
    for sent, answer in zip(events, answers):
        assert answer["status"] == "recorded" and answer["business_date"] == str(WORKED_DAY) and not answer["late"]
        assert answer["exceptions"] == network.WORKED_EXCEPTIONS.get((sent["kind"], sent["site"]), []), sent
    assert [a["entry"] for a in answers] == list(range(1, len(answers) + 1))

    assert (settlement["scheme"], settlement["date"], settlement["currency"]) == ("tern-bay", str(WORKED_DAY), "CAD")
    positions = {p["participant"]: p for p in settlement["positions"]}
    assert {p: line["amount"] for p, line in positions.items()} == {
        p: columns[column] for p, columns in network.WORKED_POSITIONS.items()
    }
    assert {(p["from"], p["to"]): p["amount"] for p in settlement["payments"]} == network.WORKED_PAYMENTS[column]
    sites = {s["site"]: s for p in positions.values() for s in p["sites"]}
    assert {s: (line["fees"], line["tax"]) for s, line in sites.items()} == network.WORKED_FEES
    assert settlement["carried_forward"] == [] and all(p["arrears"] == "0.00" for p in positions.values())
    if column == 0:  # on loan the clearing has the amounts that the tills took and paid
        assert {s: (line["collected"], line["refunded"]) for s, line in sites.items()} == {
            "anchor": ("110.00", "0.00"),
            "brick": ("0.00", "55.00"),
            "copper": ("8.00", "21.00"),
            "dock": ("0.00", "0.50"),
        }

    after = admin.accounts("tern-bay")
    for site, participant in network.WORKED_SITES.items():
        assert after[f"site_clearing({site})"] == "0.00"
        assert after[f"settlement_due({participant})"] == network.WORKED_POSITIONS[participant][column]
    admin.assert_holds("tern-bay")
    assert all(
        row["difference"] in ("0.00", None)
        for row in admin.items("/v1/reports/deposit-cover", scheme="tern-bay", as_of=WORKED_DAY)
        if row["section"] != "funding"
    )


def test_retries_and_a_second_close_change_nothing(worked):
    service, _, events, answers, _, settlement = worked
    admin = service.admin
    accounts, feed = admin.accounts("tern-bay"), admin.feed("tern-bay")
    for sent, answer in zip(events, answers):  # the day has closed since, and the answer is still the first one
        assert admin.post(sent) == {**answer, "status": "duplicate"}
    # Another offset for the same instant and another order of members make the same content.
    same = {
        **dict(reversed(events[0].items())),
        "occurred_at": network.utc(datetime.fromisoformat(events[0]["occurred_at"])),
    }
    assert admin.post(same)["status"] == "duplicate"
    assert admin.close("tern-bay", WORKED_DAY) == settlement
    assert admin.get(f"/v1/settlements/tern-bay/{WORKED_DAY}") == settlement
    assert admin.accounts("tern-bay") == accounts and admin.feed("tern-bay") == feed


def test_an_event_shows_its_entry(worked):
    service, column, events, answers, _, _ = worked
    shown = service.admin.get(f"/v1/events/{events[3]['event_id']}")
    assert shown["event"] == {**events[3], "occurred_at": shown["event"]["occurred_at"]}
    assert instant(shown["event"]["occurred_at"]) == instant(events[3]["occurred_at"])  # the answer is in UTC
    assert shown["entry"] == answers[3]["entry"] and shown["scheme"] == "tern-bay"
    money = {leg["account"]: leg["amount"] for leg in shown["legs"] if "amount" in leg}
    own = "site_clearing(anchor)" if column == 0 else "stock_deposits(anchor,cup-{})"
    assert money["customer_deposits(cup-300)"] == "-75.00" and money["customer_deposits(cup-450)"] == "-35.00"
    assert (
        (money[own] == "110.00")
        if column == 0
        else ((money[own.format(300)], money[own.format(450)]) == ("75.00", "35.00"))
    )
    assert {leg["account"]: leg["cups"] for leg in shown["legs"] if "cups" in leg} == {
        "site_stock(anchor,cup-300)": -30,
        "site_stock(anchor,cup-450)": -10,
        "with_customers(cup-300)": 30,
        "with_customers(cup-450)": 10,
    }
    reversed_issue = service.admin.get(f"/v1/events/{events[4]['event_id']}")
    assert reversed_issue["reversed_by"] == events[-1]["event_id"]


@pytest.mark.parametrize("name", network.more_cases())
def test_more_cases(service, name):
    stock_terms, steps, expected = network.more_cases()[name]
    service.admin.load(network.more_cases_reference(stock_terms))
    day = WORKED_DAY
    for step in steps:
        if step == "close":
            settlement = service.admin.close("tern-bay", day)
            day += timedelta(days=1)
        else:
            offset, clock, case_event = step
            service.admin.post(network.timed(case_event, offset, clock))
    accounts = service.admin.accounts("tern-bay")
    assert {a: accounts.get(a, type(v)(0) if isinstance(v, int) else "0.00") for a, v in expected.items()} == expected
    if name == "two sites of one participant":
        assert settlement["payments"] == [] and {p["amount"] for p in settlement["positions"]} == {"0.00"}
        assert {s["site"]: s["net"] for p in settlement["positions"] for s in p["sites"] if s["net"] != "0.00"} == {
            "anchor": "6.00",
            "copper": "-6.00",
        }
    service.admin.assert_holds("tern-bay")


def test_an_event_may_refer_to_an_earlier_one_of_its_request(service):
    service.admin.load(network.worked_reference("on_loan"))
    sent = event("dispatch", "brick", at(WORKED_DAY), cups=cups(cup_300=4), to="dock")
    got = event("receipt", "dock", at(WORKED_DAY, "11:00"), cups=cups(cup_300=4), dispatch=sent["event_id"])
    assert [r["status"] for r in service.admin.post_many([sent, got])] == ["recorded", "recorded"]
