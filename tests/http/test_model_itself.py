# SPDX-License-Identifier: ISC
"""The naive model alone must give the contract's worked example. An unchecked oracle is only an opinion."""
import random
from datetime import date

import pytest

import named_cups
import network
import test_model
from model import DAY, Model, Refused, day_start, fewest_payments, instant
from network import WORKED_DAY


def worked(stock_terms):
    model = Model(network.worked_reference(stock_terms), "tern-bay")
    return model, [(e, model.post(e)) for e in network.worked_events()]


@pytest.mark.parametrize("column, stock_terms", enumerate(("on_loan", "on_deposit")))
def test_worked_example(column, stock_terms):
    model, answers = worked(stock_terms)
    for account, expected in network.WORKED_BEFORE_CLOSE.items():
        assert model.amount(model.balances[account]) == expected[column], account
    assert {a: model.balances[a] for a in network.WORKED_CUPS} == network.WORKED_CUPS
    for event, answer in answers:
        expected = network.WORKED_EXCEPTIONS.get((event["kind"], event["site"]), [])
        assert answer["exceptions"] == expected, event
        assert answer["business_date"] == str(WORKED_DAY) and not answer["late"]
    settlement = model.close(WORKED_DAY)
    assert {p: model.amount(a) for p, a in settlement["positions"].items()} == {
        p: columns[column] for p, columns in network.WORKED_POSITIONS.items()
    }
    assert {
        s: (model.amount(v["fees"]), model.amount(v["tax"])) for s, v in settlement["sites"].items()
    } == network.WORKED_FEES
    pool = -sum(settlement["positions"].values())
    assert fewest_payments([*settlement["positions"].values(), pool]) == len(network.WORKED_PAYMENTS[column])


@pytest.mark.parametrize("name", network.more_cases())
def test_more_cases(name):
    stock_terms, steps, expected = network.more_cases()[name]
    model = Model(network.more_cases_reference(stock_terms), "tern-bay")
    for step in steps:
        if step == "close":
            model.close(model.next_day)
        else:
            offset, clock, event = step
            model.post(network.timed(event, offset, clock))
    for account, value in expected.items():
        have = model.balances[account]
        assert (have if model.unit(account) else model.amount(have)) == value, account


@pytest.mark.parametrize("stock_terms, currency, unit", [("on_loan", "CAD", 0.05), ("on_deposit", "ISK", 10)])
def test_random_days_keep_deposits_covered(stock_terms, currency, unit):
    """Tests the contract's own rules: after every close each deposit equals its cups at the day's value."""
    rng = random.Random(stock_terms)
    scheme, sites = test_model.random_scheme(rng, "tern-bay", currency, "Europe/Oslo", stock_terms, unit, "a", days=60)
    cup_types = [{"cup_type": c} for c in test_model.CUP_TYPES]
    model = Model(network.reference([scheme], sites, cup_types), "tern-bay")
    stream = test_model.Stream(rng, model, 50)
    recorded, found = 0, set()
    for day in (test_model.FIRST_DAY + n * DAY for n in range(60)):
        for event in stream.day(day):
            try:
                answer = model.post(event)
                recorded += answer["status"] == "recorded"
                found |= {e["exception"] for e in answer["exceptions"]}
            except Refused:
                pass
        settlement = model.close(day)
        balances = model.through(day)
        for cup in model.cup_types:
            value = model.value(cup, day) or 0
            assert balances[f"customer_deposits({cup})"] == -value * balances[f"with_customers({cup})"]
            assert balances[f"transit_deposits({cup})"] == -value * balances[f"in_transit({cup})"] * model.on_deposit
            for site in model.sites:
                held = balances[f"site_stock({site},{cup})"] + balances[f"damaged({site},{cup})"]
                assert balances[f"stock_deposits({site},{cup})"] == -value * held * model.on_deposit
        assert sum(v for a, v in balances.items() if a.startswith("site_clearing")) == sum(
            settlement["positions"][p] - settlement["arrears"][p] for p in settlement["carried"]
        )
    assert recorded > 300
    # Events that are rare in a day must occur in two months. Otherwise the comparison with the service would say
    # little.
    assert found >= {
        "late",
        "late_tariff",
        "no_tariff",
        "off_tariff",
        "site_closed",
        "receipt_over",
        "receipt_short",
        "count_off",
    }


# Asset types: the GRAI of GS1's data dictionary page of `grai` (BDT00000065, 2021-11-16), and that of gs1/EPCIS's
# urn:epc:id:grai:4012345.55555.987.
def test_names_of_cups():
    assert named_cups.canonical("urn:epc:id:grai:4012345.55555.987") == "04012345555554987"
    cup = "07300015200154a/5"
    for spelling in (cup, f"(8003){cup}", f"https://example.org/8003/{cup.replace('/', '%2F')}", f"]Q3\x1d8003{cup}"):
        assert named_cups.canonical(spelling) == cup
    assert [named_cups.canonical(text) for text in named_cups.MALFORMED] == [None] * len(named_cups.MALFORMED)


# Own small instances of the check values (section 7), and a zero position that takes no part.
@pytest.mark.parametrize(
    "positions, fewest",
    [
        ([4, 4, -3, -3, -2], 4),
        ([5, 5, -2, -3, -5], 3),
        ([20, 15, -5, -10, -20], 3),
        ([8, 7, -3, -5, -2, -5], 4),
        ([3, 1, 1, 2, 2, 1, -5, -5], 6),
        ([4, 3, -2, -2, -3], 3),
        ([5, 4, 1, -3, -3, -4], 4),
        ([6, 0, -6], 1),
        ([], 0),
    ],
)
def test_fewest_payments(positions, fewest):
    assert fewest_payments(positions) == fewest


# Facts of the check values, "Business days" (PostgreSQL 15's AT TIME ZONE agrees).
@pytest.mark.parametrize(
    "zone, cut_off, day, starts",
    [
        ("Pacific/Auckland", "03:00", date(2026, 4, 4), "2026-04-03T14:00:00Z"),
        ("Pacific/Auckland", "03:00", date(2026, 4, 5), "2026-04-04T15:00:00Z"),
        ("America/St_Johns", "03:00", date(2026, 3, 7), "2026-03-07T06:30:00Z"),
        ("America/St_Johns", "03:00", date(2026, 3, 8), "2026-03-08T05:30:00Z"),
        ("Europe/Berlin", "02:30", date(2026, 10, 25), "2026-10-25T01:30:00Z"),  # ambiguous: the later
        ("Europe/Berlin", "02:30", date(2026, 3, 29), "2026-03-29T01:30:00Z"),  # skipped: after the gap
        ("Pacific/Apia", "03:00", date(2011, 12, 30), "2011-12-30T13:00:00Z"),  # a day without hours
        ("Pacific/Apia", "03:00", date(2011, 12, 31), "2011-12-30T13:00:00Z"),
    ],
)
def test_day_starts(zone, cut_off, day, starts):
    assert day_start(day, cut_off, zone) == instant(starts)
