# SPDX-License-Identifier: ISC
"""depositd verify of one business month: it finds what was changed in the month, and needs the entries of no other."""
import pytest

import network
from between import HOME, HOST, followed
from harness import new_service, wait_until
from model import DAY
from network import WORKED_DAY, at, business_day, cups, event
from test_between_schemes import posted

DAYS = 35  # more than any month has
FIRST = WORKED_DAY - DAYS * DAY
LATER = WORKED_DAY.replace(day=1)
EARLIER = LATER - DAY  # the last day of the month before


@pytest.fixture(scope="module")
def ledger(module_database):
    """Five weeks of closed days, with a late event on every third day. No service runs while rows are changed."""
    service = new_service(module_database)
    service.admin.load(
        network.reference(
            [network.scheme("tern-bay", FIRST, {"cup-300": "2.50", "cup-450": "3.50"})],
            {s: ("tern-bay", p) for s, p in network.WORKED_SITES.items()},
        )
    )
    service.admin.post_many(
        [event("supply", s, at(FIRST, "06:00"), cups=cups(cup_300=200, cup_450=60)) for s in network.WORKED_SITES]
    )
    for n in range(DAYS):
        day = FIRST + n * DAY
        events = [event("issue", s, at(day, "09:00"), issued=cups(cup_300=2)) for s in ("anchor", "copper")]
        if n % 3 == 2:
            events.append(event("return", "brick", at(day - DAY, "16:00"), returned=cups(cup_300=1)))
        assert {r["status"] for r in service.admin.post_many(events)} == {"recorded"}
        service.admin.close("tern-bay", day)
    wait_until(
        lambda: service.database.rows("SELECT count(*) FROM particulars") == [(DAYS,)], "the particulars are kept"
    )
    service.stop()
    return service


def found(ledger, day, expect=1):
    return ledger.run("verify", "--scheme", "tern-bay", "--month", f"{day:%Y-%m}", expect=expect)


def tampered(ledger, statement):
    """Changes rows past all triggers."""
    ledger.database.run("SET session_replication_role = replica; " + statement)


def test_each_month_holds(ledger):
    for day in (EARLIER, LATER):
        assert found(ledger, day, 0).endswith(" in 3 checks of 1 schemes: 0 do not hold\n")
    of_all = int(ledger.run("verify").split("examined ")[1].split()[0])
    assert 0 < int(found(ledger, LATER, 0).split("examined ")[1].split()[0]) < of_all


IN_MONTH = "business_date = '{day}'"
FIRST_ENTRY = (
    "entry = (SELECT first_entry FROM business_day WHERE scheme = 1 AND business_date = '{day}') AND " + IN_MONTH
)
CHANGES = {  # a change, which is taken back afterwards, and the words of its finding
    "amounts": (f"entry SET amounts[1] = amounts[1] {{by}} 1 WHERE {FIRST_ENTRY}", "does not balance"),
    "a movement": (f"balance SET movement = movement {{by}} 1 WHERE {IN_MONTH}", "is not what its legs say"),
    "a closing": (f"balance SET closing = closing {{by}} 1 WHERE {IN_MONTH}", "is not what its legs say"),
    "a counter": (f"business_day SET entries = entries {{by}} 1 WHERE {IN_MONTH}", "the counters of"),
    "a time": (
        f"entry SET recorded_at = recorded_at {{by}} interval '1 s' WHERE {FIRST_ENTRY}",
        "recorded have changed",
    ),
    "a site": (
        f"entry SET site = site {{by}} 1 WHERE {FIRST_ENTRY}",
        "has not the site and instant of its event",
    ),
    "a seal's number": (f"settlement SET entries = entries {{by}} 1 WHERE {IN_MONTH}", "the root of"),
}


@pytest.mark.parametrize("name", CHANGES)
@pytest.mark.parametrize("day, other", [(EARLIER, LATER), (LATER, EARLIER)])
def test_a_change_is_found_in_its_month(ledger, name, day, other):
    statement, finding = CHANGES[name]
    tampered(ledger, "UPDATE " + statement.format(day=day, by="+"))
    said = found(ledger, day)
    tampered(ledger, "UPDATE " + statement.format(day=day, by="-"))
    assert finding in said, said
    assert found(ledger, day, 0)
    if name != "a closing" or day > other:  # a month begins with the balances before it
        tampered(ledger, "UPDATE " + statement.format(day=day, by="+"))
        assert found(ledger, other, 0)
        tampered(ledger, "UPDATE " + statement.format(day=day, by="-"))


@pytest.mark.parametrize(
    "what, finding",
    [
        ("UPDATE settlement SET seal = sha256(seal) WHERE business_date = '{day}'", "does not follow"),
        ("UPDATE balance SET closing = closing + 1 WHERE business_date = '{day}'", "is not what its legs say"),
    ],
)
def test_a_month_follows_what_was_before_it(ledger, what, finding):
    saved = "CREATE TABLE saved AS SELECT * FROM {0} WHERE business_date = '{1}'"
    table = what.split()[1]
    ledger.database.run(saved.format(table, EARLIER))
    tampered(ledger, what.format(day=EARLIER))
    said = found(ledger, LATER)
    tampered(
        ledger,
        f"DELETE FROM {table} WHERE business_date = '{EARLIER}';"
        f" INSERT INTO {table} SELECT * FROM saved; DROP TABLE saved",
    )
    assert finding in said, said
    assert found(ledger, LATER, 0)


@pytest.mark.parametrize("month", ["2026", "2026-13", "2026-1", "may", "2026-05-01", ""])
def test_a_month_that_there_is_not(ledger, month):
    assert ledger.run("verify", "--month", month, expect=64) == ""


def test_what_was_agreed_with_another_scheme(service):
    day = business_day() - DAY
    posted(service, "host", "on_loan", day)
    followed(service)
    month = ("verify", "--month", f"{day:%Y-%m}")
    assert " 0 do not hold" in service.run(*month)
    for code in (HOME, HOST):
        of_scheme = f"WHERE scheme = (SELECT id FROM scheme WHERE code = '{code}')"
        change = f"UPDATE agreed_amount SET amount = amount {{0}} 1 {of_scheme}"
        service.database.run("SET session_replication_role = replica; " + change.format("+"))
        said = service.run(*month, "--scheme", code, expect=1)
        service.database.run("SET session_replication_role = replica; " + change.format("-"))
        assert "does not book what is agreed" in said and "is not what its hash says" in said, said


def test_the_entries_of_other_months_may_be_away(ledger):
    """The last test of the ledger: it deletes the entries of all days before the later month."""
    tampered(ledger, f"DELETE FROM entry WHERE scheme = 1 AND business_date < '{LATER}'")
    assert " 0 do not hold" in found(ledger, LATER, 0)
    assert " 0 do not hold" not in ledger.run("verify", expect=1)
    assert "the counters of" in found(ledger, EARLIER)
