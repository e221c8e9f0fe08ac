# SPDX-License-Identifier: ISC
"""Return rates: of the cups issued in a period, how many came back. The rules are the accounting contract's (first in,
first out; a forfeit takes the oldest; cups of an opening come first); there is no published source."""
import random
from datetime import date, timedelta

import pytest

import network
from cup_queue import CupQueue
from harness import wait_until
from network import at, cups, event
from pages import Page

SCHEME = 4000  # that no other row knows
FIRST = date(2026, 3, 2)  # a Monday
HTML = {"Accept": "text/html"}


# Against the naive model ----------------------------------------------------------------------------------------------
def random_flows(rng, days):
    """Rows of cup_flow of a cup type: with reversals on days of their own, reinstatements, and cups that came back
    before they were issued."""
    opened, lost = rng.choice(((0, 0), (20, 0), (15, 5)))
    out, forfeited, rows = opened, lost, []
    issued_before = returned_before = 0
    for n in range(days):
        issued = rng.choice((0, 3, 10, 40)) if rng.random() < 0.8 else -rng.randint(0, min(issued_before, 5))
        returned = (
            rng.randint(0, max(out + issued, 0) + 3) if rng.random() < 0.8 else -rng.randint(0, min(returned_before, 5))
        )
        taken = rng.randint(0, max(out + issued - returned, 0)) if rng.random() < 0.1 else 0
        given = rng.randint(0, forfeited) if rng.random() < 0.1 else 0
        issued_before, returned_before = max(issued_before + issued, 0), max(returned_before + returned, 0)
        out, forfeited = out + issued - returned - taken + given, forfeited + taken - given
        rows.append(
            (
                FIRST + timedelta(days=n),
                opened + lost if n == 0 else 0,
                lost if n == 0 else 0,
                issued,
                returned,
                taken,
                given,
            )
        )
    return opened, lost, rows


def expected_fates(opened, lost, rows):
    queue = CupQueue(opened, lost)
    for day, _, _, issued, returned, taken, given in rows:
        queue.move("issued", day, issued)
        queue.move("returned", day, returned)
        queue.move("forfeited", day, taken - given)
    return queue.fates()


@pytest.mark.parametrize("seed", range(30))
def test_fates_are_those_of_the_naive_model(shared, seed):
    """Cup by cup, also from a later day on and through an earlier one."""
    rng = random.Random(seed)
    opened, lost, rows = random_flows(rng, rng.randint(1, 60))
    shared.database.run(f"DELETE FROM cup_flow WHERE scheme = {SCHEME}")
    for row in rows:
        values = ", ".join(map(str, row[1:]))
        shared.database.run(f"INSERT INTO cup_flow VALUES ({SCHEME}, '{row[0]}', 1, {values})")
    through = rows[rng.randrange(len(rows) // 2, len(rows))][0]
    want = expected_fates(opened, lost, [r for r in rows if r[0] <= through])
    for first in (FIRST, rows[rng.randrange(len(rows))][0]):
        found = shared.database.rows(
            "SELECT issued_on, fate, ended_on - issued_on, cups FROM cup_fates(%s, %s, %s)",
            SCHEME,
            first,
            through,
        )
        assert {(day, fate, days): n for day, fate, days, n in found} == {
            (day, *(("out", None) if fate == "out" else fate)): n
            for day, fates in want.items()
            for fate, n in fates.items()
            if day >= first
        }
    shared.database.run(f"DELETE FROM cup_flow WHERE scheme = {SCHEME}")


# By hand --------------------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def bay(shared):
    """Ten cups go out on each of the first two days, eight come back on day 3 and six on day 9. On day 7 six go out;
    two of these were a mistake, and day 8 reverses it. Day 40 forfeits three. Day 41 reinstates one, and it comes back.
    """
    today = network.business_day()
    first = today - timedelta(days=63 + today.weekday())
    shared.admin.load(
        network.reference(
            [network.scheme("fulmar-bay", first, {"cup-300": "2.50", "cup-450": "3.50"})],
            {"anchor": ("fulmar-bay", "hearth"), "brick": ("fulmar-bay", "miller")},
        )
    )

    def day(n, hour="10:00"):
        return at(first + timedelta(days=n), hour)

    mistake = event("issue", "anchor", day(7, "11:00"), issued=cups(cup_300=2))
    for posted in (
        event("supply", "anchor", day(0, "06:00"), cups=cups(cup_300=100)),
        event("issue", "anchor", day(0), issued=cups(cup_300=10)),
        event("issue", "anchor", day(1), issued=cups(cup_300=10)),
        event("return", "brick", day(3), returned=cups(cup_300=8)),
        event("issue", "anchor", day(7), issued=cups(cup_300=4)),
        mistake,
        event("reversal", "anchor", day(8), reverses=mistake["event_id"]),
        event("return", "brick", day(9), returned=cups(cup_300=6)),
        event("forfeit", None, day(40), scheme="fulmar-bay", cups=cups(cup_300=3)),
        event("reinstate", None, day(41), scheme="fulmar-bay", cups=cups(cup_300=1)),
        event("return", "brick", day(41, "12:00"), returned=cups(cup_300=1)),
    ):
        shared.admin.post(posted)
    shared.first = first
    return shared


def close_through(bay, through):
    """And wait until the day's flows are kept, a moment after the close."""
    [[closed]] = bay.database.rows(
        "SELECT max(t.business_date) FROM settlement t JOIN scheme s ON s.id = t.scheme WHERE s.code = 'fulmar-bay'"
    )
    day = bay.first if closed is None else closed + timedelta(days=1)
    while day <= through:
        bay.admin.close("fulmar-bay", day)
        day += timedelta(days=1)
    kept = (
        "SELECT FROM return_rate_kept k JOIN scheme s ON s.id = k.scheme WHERE s.code = 'fulmar-bay' AND k.through = %s"
    )
    wait_until(lambda: bay.database.rows(kept, through), "the flows are kept")


def report(bay, name, **query):
    return bay.admin.get(f"/v1/reports/{name}", scheme="fulmar-bay", **query)["items"]


def on(bay, n):
    return str(bay.first + timedelta(days=n))


FIGURES = ("issued", "returned_7", "returned_30", "returned", "forfeited", "out")


def test_the_start_page_and_the_report_agree(bay):
    """First a scheme of six days, then the latest week that has had thirty."""
    for closed, through, figures in (
        (5, 5, {"issued": 20, "returned": 8, "rate": "0.4000", "state": "running"}),
        (37, 6, {"issued": 20, "returned": 14, "rate": "0.7000", "state": "whole"}),
    ):
        close_through(bay, bay.first + timedelta(days=closed))
        [scheme] = [s for s in bay.admin.get("/")["schemes"] if s["scheme"] == "fulmar-bay"]
        assert scheme["return_rate"] == {
            "from": on(bay, 0),
            "to": on(bay, through),
            "as_of": on(bay, closed),
            **figures,
        }
        page = Page(bay.admin.send("GET", "/", headers=HTML).body)
        [target] = [
            a.get("href") for a in page.all("a") if "/v1/reports/return-rate?scheme=fulmar-bay" in a.get("href")
        ]
        [row] = [r for r in bay.admin.get(target)["items"] if r["cup_type"] == "cup-300"]
        assert {k: row[k] for k in ("issued", "returned", "rate", "state")} == figures


def test_weeks(bay):
    close_through(bay, bay.first + timedelta(days=45))
    rows = report(bay, "return-rate")
    assert [(r["first_day"], r["last_day"], r["state"], *(r[k] for k in FIGURES)) for r in rows] == [
        (on(bay, 0), on(bay, 6), "whole", 20, 8, 14, 15, 2, 3),
        (on(bay, 7), on(bay, 13), "whole", 4, 0, 0, 0, 0, 4),
    ]
    assert [(r["rate_7"], r["rate_30"], r["rate"]) for r in rows] == [
        ("0.4000", "0.7000", "0.7500"),
        ("0.0000", "0.0000", "0.0000"),
    ]


def test_days(bay):
    """The reversal takes its cups from the day that issued them, and none of a day is less than zero."""
    days = {"from": on(bay, 0), "to": on(bay, 20)}
    rows = report(bay, "return-rate-daily", **days, totals="shown")
    assert [(r["date"], r["posted"], *(r[k] for k in FIGURES)) for r in rows] == [
        (on(bay, 0), 10, 10, 8, 10, 10, 0, 0),
        (on(bay, 1), 10, 10, 0, 4, 5, 2, 3),
        (on(bay, 7), 6, 4, 0, 0, 0, 0, 4),
        (on(bay, 8), -2, 0, 0, 0, 0, 0, 0),
        ("total", 24, 24, 8, 14, 15, 2, 7),
    ]


def test_as_it_stood(bay):
    """Through day 9 nothing was forfeited, and day 6 had not had its week."""
    rows = report(bay, "return-rate", as_of=on(bay, 9), **{"from": on(bay, 0), "to": on(bay, 6)})
    assert [(r["state"], *(r[k] for k in FIGURES)) for r in rows] == [("running", 20, None, None, 14, 0, 6)]


def test_periods(bay):
    """A week that the report cuts; months; and all days as one. Every way has the same cups."""
    close_through(bay, bay.first + timedelta(days=45))
    days = {"from": on(bay, 1), "to": on(bay, 8)}
    rows = report(bay, "return-rate", **days)
    assert [(r["first_day"], r["last_day"], r["state"], r["issued"], r["returned"]) for r in rows] == [
        (on(bay, 1), on(bay, 6), "cut_short", 10, 5),
        (on(bay, 7), on(bay, 8), "cut_short", 4, 0),
    ]
    [row] = report(bay, "return-rate", by="all", **days)
    assert (row["first_day"], row["last_day"], row["state"], row["issued"], row["returned"]) == (
        on(bay, 1),
        on(bay, 8),
        "whole",
        14,
        5,
    )
    months = report(bay, "return-rate", by="month", cup_type="cup-300")
    assert sum(r["issued"] for r in months) == 24 and {r["first_day"][:7] for r in months} == {
        on(bay, n)[:7] for n in (0, 1, 7)
    }
    assert report(bay, "return-rate", cup_type="cup-450") == []


def test_flows_of_sites(bay):
    rows = report(bay, "site-flows", totals="shown", **{"from": on(bay, 0), "to": on(bay, 45)})
    assert [(r["site"], r["cup_type"], r["issued"], r["returned"], r["net"]) for r in rows] == [
        ("anchor", "cup-300", 24, 0, 24),
        ("brick", "cup-300", 0, 15, -15),
        ("total", "cup-300", 24, 15, 9),
    ]


def test_only_the_database_keeps_them(bay):
    """The service's own role can't write what its triggers keep."""
    for table in ("cup_flow", "return_rate_kept"):
        assert bay.database.rows(
            "SELECT has_table_privilege('depositd_service', %s, 'INSERT, UPDATE, DELETE, TRUNCATE')", table
        ) == [(False,)]
    bay.admin.assert_holds()
