# SPDX-License-Identifier: ISC
"""Events that are late, reversed or lost after values, terms or fees have changed: nobody gains by waiting or by
reversing. Expected figures follow by hand from the accounting contract ("Decisions that go with the table")."""
from collections import Counter
from datetime import timedelta
from decimal import Decimal

import pytest

import network
from network import WORKED_DAY, WORKED_SITES, at, cups, event

D0, D1, D2 = (WORKED_DAY + timedelta(days=n) for n in range(3))
OLD = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}
NEW = {"service_fee": "0.25", "handling_fee": "0.02", "tax_rate": "0.10"}


def load(service, stock_terms="on_loan", old=(), new=(), loss_bearer="receiver", **more):
    """cup-300 is 3.00 on D0 and 4.00 from D1, cup-450 has a value from D1; terms change from D0 to D1."""
    terms = [{"effective_date": str(D0), **dict(old)}, {"effective_date": str(D1), **dict(new)}]
    scheme = network.scheme(
        "tern-bay",
        D0,
        {"cup-300": "3.00"},
        stock_terms=stock_terms,
        terms=terms,
        loss_bearer=loss_bearer,
        more_values=[("cup-300", D1, "4.00"), ("cup-450", D1, "5.00")],
    )
    service.admin.load(
        network.reference([scheme], {s: ("tern-bay", p, *more.get(s, ())) for s, p in WORKED_SITES.items()})
    )
    return service.admin


def money(client, answer):
    """The movements of the event's entry on accounts of money."""
    moved = Counter()
    for leg in client.get(f"/v1/events/{answer['event_id']}")["legs"]:
        if "amount" in leg:
            moved[leg["account"]] += Decimal(leg["amount"])
    return {account: f"{amount:.2f}" for account, amount in moved.items() if amount}


def fees(settlement):
    return {s["site"]: (s["fees"], s["tax"]) for p in settlement["positions"] for s in p["sites"]}


# kind, cups, stated amount, exceptions besides late, legs of money
LATE = {
    "an issue without an amount": (
        "issue",
        None,
        [{"exception": "late_tariff", "amount": "-10.00"}],
        {"site_clearing(anchor)": "30.00", "customer_deposits(cup-300)": "-40.00", "refund_variance": "10.00"},
    ),
    "an issue at tariff": (
        "issue",
        "30.00",
        [{"exception": "late_tariff", "amount": "-10.00"}],
        {"site_clearing(anchor)": "30.00", "customer_deposits(cup-300)": "-40.00", "refund_variance": "10.00"},
    ),
    "an issue at the new value": (
        "issue",
        "40.00",
        [{"exception": "off_tariff", "amount": "10.00"}, {"exception": "late_tariff", "amount": "-10.00"}],
        {"site_clearing(anchor)": "40.00", "customer_deposits(cup-300)": "-40.00"},
    ),
    "a return": (
        "return",
        None,
        [
            {"exception": "over_returned", "cup_type": "cup-300", "quantity": -10},
            {"exception": "late_tariff", "amount": "10.00"},
        ],
        {"site_clearing(anchor)": "-30.00", "customer_deposits(cup-300)": "40.00", "refund_variance": "-10.00"},
    ),
}


def by_name(exceptions):
    return sorted(exceptions, key=lambda e: e["exception"])


@pytest.mark.parametrize("name", LATE)
def test_a_late_event_has_the_tariff_of_its_own_day(service, name):
    kind, amount, exceptions, legs = LATE[name]
    admin = load(service)
    admin.post(event("supply", "anchor", at(D0), cups=cups(cup_300=20)))
    admin.close("tern-bay", D0)
    lines = {"issued" if kind == "issue" else "returned": cups(cup_300=10)}
    answer = admin.post(event(kind, "anchor", at(D0, "12:00"), **lines, **({"amount": amount} if amount else {})))
    assert answer["business_date"] == str(D1)
    assert by_name(answer["exceptions"]) == by_name([{"exception": "late"}, *exceptions])
    assert money(admin, answer) == legs
    admin.assert_holds()


@pytest.mark.parametrize("then, now, expected", [("absorb", "charge", "29.00"), ("charge", "absorb", "30.00")])
def test_variance_terms_are_those_of_the_day_of_occurrence(service, then, now, expected):
    """An issue of 30.00 for which the till took 29.00, posted when the terms have changed."""
    admin = load(service, old={"variance_terms": then}, new={"variance_terms": now})
    admin.close("tern-bay", D0)
    late = admin.post(event("issue", "anchor", at(D0), issued=cups(cup_300=10), amount="29.00"))
    assert money(admin, late)["site_clearing(anchor)"] == expected
    assert {"exception": "off_tariff", "amount": "-1.00"} in late["exceptions"]
    timely = admin.post(event("issue", "anchor", at(D1), issued=cups(cup_300=10), amount="39.00"))
    assert money(admin, timely)["site_clearing(anchor)"] == ("40.00" if now == "charge" else "39.00")
    assert {"exception": "off_tariff", "amount": "-1.00"} in timely["exceptions"]


@pytest.mark.parametrize("then, now", [("absorb", "charge"), ("charge", "absorb")])
def test_shortage_terms_are_those_of_the_day_of_occurrence(service, then, now):
    """Three cups are missing at anchor and two at brick. One count is late, and the other is not. In both, a missing
    cup costs the value of the posting day."""
    admin = load(service, old={"shortage_terms": then}, new={"shortage_terms": now})
    admin.post_many([event("supply", s, at(D0), cups=cups(cup_300=10)) for s in ("anchor", "brick")])
    admin.close("tern-bay", D0)

    def count(site, day, n):
        return admin.post(event("count", site, at(day, "20:00"), cups=[{"cup_type": "cup-300", "counted": n}]))

    late, timely = count("anchor", D0, 7), count("brick", D1, 8)
    assert money(admin, late) == (
        {"site_clearing(anchor)": "12.00", "loss_charges": "-12.00"} if then == "charge" else {}
    )
    assert money(admin, timely) == (
        {"site_clearing(brick)": "8.00", "loss_charges": "-8.00"} if now == "charge" else {}
    )


def test_a_cup_type_that_is_new_since_has_no_tariff(service):
    """It had no value on the day of occurrence. So the tariff is that of the posting day, and a person should look at
    it."""
    admin = load(service)
    sale = event("issue", "anchor", at(D0), issued=cups(cup_450=2))
    damage = event("damage", "anchor", at(D0), cups=cups(cup_450=1))
    for refused in (
        sale,
        damage,
        event("supply", "anchor", at(D0), cups=cups(cup_450=9)),
        event("count", "anchor", at(D0), cups=[{"cup_type": "cup-450", "counted": 0}]),
    ):
        admin.refused("POST", "/v1/events", refused, 422, "no_refund_value")
    admin.close("tern-bay", D0)
    admin.post(event("supply", "anchor", at(D1, "04:00"), cups=cups(cup_450=9)))
    answer = admin.post({**sale, "amount": "10.00"})
    assert by_name(answer["exceptions"]) == [{"exception": "late"}, {"exception": "no_tariff", "cup_type": "cup-450"}]
    assert money(admin, answer) == {"site_clearing(anchor)": "10.00", "customer_deposits(cup-450)": "-10.00"}
    exchange = admin.post(
        event("exchange", "anchor", at(D0), returned=cups(("cup-450", 1), cup_450=1), issued=cups(cup_300=1, cup_450=1))
    )
    assert [e for e in exchange["exceptions"] if e["exception"] == "no_tariff"] == [
        {"exception": "no_tariff", "cup_type": "cup-450"}
    ]
    assert {"exception": "late_tariff", "amount": "-1.00"} in exchange["exceptions"]  # cup-300 alone
    assert [e["exception"] for e in admin.post(damage)["exceptions"]] == ["late"]


@pytest.mark.parametrize("says", ("the event", "the scheme"))
@pytest.mark.parametrize(
    "bearer, expected",
    [
        ("sender", {"transit_deposits(cup-300)": "80.00", "loss_charges": "-80.00"}),
        (
            "receiver",
            {
                "transit_deposits(cup-300)": "80.00",
                "loss_charges": "-80.00",
                "site_clearing(dock)": "80.00",
                "site_clearing(anchor)": "-60.00",
                "refund_variance": "-20.00",
            },
        ),
        (
            "operator",
            {"transit_deposits(cup-300)": "80.00", "site_clearing(anchor)": "-60.00", "refund_variance": "-20.00"},
        ),
    ],
)
def test_a_loss_pays_the_sender_what_it_had_placed(service, bearer, expected, says):
    """20 cups left at 3.00 and are given up at 4.00. Nobody earns the change of value."""
    admin = load(service, "on_deposit", loss_bearer="sender" if says == "the event" else bearer)
    sent = event("dispatch", "anchor", at(D0), cups=cups(cup_300=20), to="dock")
    admin.post_many([event("supply", "anchor", at(D0, "06:00"), cups=cups(cup_300=20)), sent])
    admin.close("tern-bay", D0)
    lost = admin.post(
        event(
            "transit_loss",
            "anchor",
            at(D1),
            cups=cups(cup_300=20),
            dispatch=sent["event_id"],
            **({"bearer": bearer} if says == "the event" else {}),
        )
    )
    assert money(admin, lost) == expected
    admin.assert_holds()


@pytest.mark.parametrize(
    "bearer, expected",
    [
        ("sender", {"site_clearing(anchor)": "80.00", "loss_charges": "-80.00"}),
        ("receiver", {"site_clearing(dock)": "80.00", "loss_charges": "-80.00"}),
        ("operator", {}),
    ],
)
def test_on_loan_the_scheme_says_who_pays_for_a_loss(service, bearer, expected):
    """The table of the accounting contract, on loan: 20 cups at 4.00."""
    admin = load(service, loss_bearer=bearer)
    sent = event("dispatch", "anchor", at(D1), cups=cups(cup_300=20), to="dock")
    admin.post_many([event("supply", "anchor", at(D1, "06:00"), cups=cups(cup_300=20)), sent])
    lost = admin.post(event("transit_loss", "anchor", at(D1), cups=cups(cup_300=20), dispatch=sent["event_id"]))
    assert money(admin, lost) == expected
    assert admin.get(f"/v1/events/{lost['event_id']}")["event"]["bearer"] == bearer
    admin.assert_holds()


def test_a_reversal_takes_back_the_fees_of_its_original_s_day(service):
    """A thousand issues and some returns are reversed after fees and tax have changed. The site has its old balance
    again."""
    admin = load(service, old=OLD, new=NEW)
    admin.post(event("supply", "anchor", at(D0, "06:00"), cups=cups(cup_300=5000)))
    sales = [event("issue", "anchor", at(D0), issued=cups(cup_300=1)) for _ in range(999)]
    back = event("return", "anchor", at(D0, "11:00"), returned=cups(cup_300=7))
    changed = event("exchange", "anchor", at(D0, "11:30"), returned=cups(cup_300=1), issued=cups(cup_300=1))
    admin.post_many([*sales, back])
    admin.post(changed)
    first = admin.close("tern-bay", D0)
    assert fees(first)["anchor"] == ("99.68", "14.95")  # 100.00 - 0.32, and 15.00 - 0.05
    admin.post_many([event("reversal", "anchor", at(D1), reverses=e["event_id"]) for e in [*sales[1:], back, changed]])
    admin.post(event("reversal", "anchor", at(D0, "12:00"), reverses=sales[0]["event_id"]))  # late
    second = admin.close("tern-bay", D1)
    assert fees(second)["anchor"] == ("-99.68", "-14.95")
    accounts = admin.accounts("tern-bay")
    assert [accounts[a] for a in ("service_fees", "handling_fees", "tax")] == ["0.00"] * 3
    admin.assert_holds()
    # If an older version had closed the day, the fees would have to be those of the version's own terms.
    service.database.run(f"INSERT INTO older_fee_rule VALUES (1, '{D1}')")
    assert [c["check"] for c in admin.get("/v1/checks")["items"] if c["verdict"] != "holds"] == ["fees_match"]


def test_the_day_s_own_cups_and_reversed_ones_are_taxed_in_one_sum(service):
    """Own: 10 issued at 0.25, 10 %; of D0: 4 at 0.10, 15 %, reversed on D1. 2.50 - 0.40, tax 0.25 - 0.06. A reversal
    of a cup of the same day counts by that day's terms. The figures leave out brick."""
    admin = load(service, old=OLD, new=NEW)
    old, own = (event("issue", "anchor", at(d), issued=cups(cup_300=n)) for d, n in ((D0, 4), (D1, 3)))
    admin.post_many([old, event("issue", "brick", at(D0), issued=cups(cup_300=2))])
    admin.close("tern-bay", D0)
    admin.post_many(
        [
            own,
            event("issue", "anchor", at(D1), issued=cups(cup_300=10)),
            event("issue", "brick", at(D1), issued=cups(cup_300=1)),
        ]
    )
    admin.post_many([event("reversal", "anchor", at(D1, "12:00"), reverses=e["event_id"]) for e in (old, own)])
    settlement = admin.close("tern-bay", D1)
    # 0.025 to even
    assert fees(settlement)["anchor"] == ("2.10", "0.19") and fees(settlement)["brick"] == ("0.25", "0.02")
    [statement] = admin.items("/v1/reports/site-statement", scheme="tern-bay", site="anchor", **{"from": D1, "to": D1})
    assert (statement["fees"], statement["tax"]) == ("2.10", "0.19")
    admin.assert_holds()


def test_a_reversal_occurs_no_earlier_than_what_it_reverses_was_posted(service):
    """The original was late, so its posting day is later than the reversal's own instant. The reversal is not late."""
    admin = load(service, old=OLD, new=NEW)
    admin.close("tern-bay", D0)
    late = admin.post(event("issue", "anchor", at(D0), issued=cups(cup_300=3)))
    assert late["late"] and late["business_date"] == str(D1)
    reversal = admin.post(event("reversal", "anchor", at(D0, "12:00"), reverses=late["event_id"]))
    assert (reversal["late"], reversal["business_date"], reversal["exceptions"]) == (False, str(D1), [])
    assert fees(admin.close("tern-bay", D1)).get("anchor", ("0.00", "0.00")) == ("0.00", "0.00")


def test_payouts_are_held_for_a_late_tariff(service):
    """The event's amount counts towards the variance limit, as that of an off-tariff event does."""
    admin = load(service)
    scheme = {k: v for k, v in admin.get("/v1/schemes/tern-bay").items() if k != "scheme"}
    admin.put("/v1/schemes/tern-bay", {**scheme, "variance_limit": "9.99"})
    admin.close("tern-bay", D0)
    admin.post(event("return", "brick", at(D0), returned=cups(cup_300=10)))
    [payment] = admin.close("tern-bay", D1)["payments"]
    assert (payment["to"], payment["amount"], payment["held"]["reason"]) == ("miller", "30.00", "variance_limit")


def test_the_rules_as_data_say_so(service):
    rules = service.admin.get("/v1/posting-rules")["items"]
    loss = [r for r in rules if r["kinds"] == ["transit_loss"] and r["terms"] == "on_deposit"]
    paid = {
        r["when"]: r["measure"]
        for r in loss
        if (r["account"], r.get("owner"), r["side"]) == ("site_clearing", "sender", "credit")
    }
    within = (f"the {bearer} bears the loss, within the scheme" for bearer in ("receiver", "operator"))
    assert paid == dict.fromkeys(within, "n w")
    assert {r["when"] for r in loss if r["account"] == "refund_variance" and r["measure"] == "rest"} == set(paid)
    assert {
        r["when"]
        for r in rules
        if r["kinds"] == ["count"] and r["terms"] == "on_loan" and r["account"] == "site_clearing"
    } == {"shortages are charged, by the terms of the day of occurrence"}
    fees = [
        (r["account"], r["measure"])
        for r in rules
        if r["kinds"] == ["fees"] and r["account"] in ("service_fees", "handling_fees")
    ]
    by_cup = {account for account, measure in fees if "less reversed at the fee of its day" in measure}
    assert by_cup == {"service_fees", "handling_fees"}
    assert len(fees) == 3, "a month's standing fee is a service fee as well, and no reversal takes it back"
