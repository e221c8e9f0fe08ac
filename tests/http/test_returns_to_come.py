# SPDX-License-Identifier: ISC
"""Cups that may still come back. The projection itself stands against published triangles in
tests/unit/test_estimate.c; here, a network whose future is known."""
import csv
import io
from datetime import date, timedelta

import pytest

import network
from harness import wait_until
from network import at, cups, event
from pages import Page

WEEKS = 12


@pytest.fixture(scope="module")
def bay(shared):
    """Every Monday 100 cups go out. Of these 60 come back on the same day, 20 a week later, 10 after two weeks, and no
    more. First in, first out: the returns of a week take the oldest cups first."""
    today = network.business_day()
    first = today - timedelta(days=7 * WEEKS + today.weekday())
    shared.admin.load(
        network.reference(
            [network.scheme("petrel-bay", first, {"cup-300": "2.50", "cup-450": "3.50"})],
            {"anchor": ("petrel-bay", "hearth")},
        )
    )
    for n in range(WEEKS):
        monday = first + timedelta(days=7 * n)
        shared.admin.post(event("issue", "anchor", at(monday), issued=cups(cup_300=100)))
        shared.admin.post(event("return", "anchor", at(monday, "18:00"), returned=cups(cup_300=80 + 10 * (n % 2))))
    shared.first, shared.rows = first, {}
    return shared


def close_through(bay, through):
    rows = bay.database.rows(
        "SELECT max(t.business_date) FROM settlement t JOIN scheme s ON s.id = t.scheme WHERE s.code = 'petrel-bay'"
    )
    day = rows[0][0] + timedelta(days=1) if rows[0][0] else bay.first
    while day <= through:
        bay.admin.close("petrel-bay", day)
        day += timedelta(days=1)
    kept = (
        "SELECT FROM particulars p JOIN scheme s ON s.id = p.scheme WHERE s.code = 'petrel-bay' AND business_date = %s"
    )
    wait_until(lambda: bay.database.rows(kept, through), "the day is kept")


TARGET = "/v1/schemes/petrel-bay/returns-to-come/cup-300"


def csv_of(bay, target):
    answer = bay.admin.send("GET", target, headers={"Accept": "text/csv"})
    assert answer.status == 200
    return list(csv.DictReader(io.StringIO(answer.body.decode())))


def test_too_little_history_gives_no_number(bay):
    """Before a week is closed there is nothing, and three weeks are too few."""
    answer = bay.admin.get(TARGET)
    assert (answer["estimate"], answer["weeks"], answer["factors"]) == ("too_short", [], [])
    assert csv_of(bay, TARGET) == []
    close_through(bay, bay.first + timedelta(days=20))
    answer = bay.admin.get(TARGET)
    assert (answer["estimate"], len(answer["weeks"]), answer["factors"]) == ("too_short", 3, [])
    assert not answer.keys() & {"expected", "unclaimed", "unclaimed_deposits", "back_test"}
    assert not answer["weeks"][0].keys() & {"expected", "unclaimed"}
    lines = csv_of(bay, TARGET)
    assert len(lines) == 3 + 1 and {(line["estimate"], line["expected"]) for line in lines} == {("too_short", "")}
    assert sum(int(line["out"]) for line in lines) == answer["out"]


def naive(bay):
    """Cups by week of issue and weeks until they came back, one by one."""
    queue, back = [], {}
    for n in range(WEEKS):
        queue += [n] * 100
        for _ in range(80 + 10 * (n % 2)):
            issued = queue.pop(0)
            back[issued, n - issued] = back.get((issued, n - issued), 0) + 1
    return back, len(queue)


def test_the_triangle_and_its_projection(bay):
    """By the plain chain ladder, as anybody would do it on paper."""
    close_through(bay, bay.first + timedelta(days=7 * WEEKS - 1))
    answer, (back, out) = bay.admin.get(TARGET), naive(bay)
    triangle = [[sum(back.get((i, d), 0) for d in range(k + 1)) for k in range(WEEKS - i)] for i in range(WEEKS)]
    assert [w["back_by_week"] for w in answer["weeks"]] == triangle
    assert (answer["estimate"], answer["out"], answer["older_out"]) == ("made", out, 0)
    factors = [
        sum(row[k + 1] for row in triangle[: WEEKS - 1 - k]) / sum(row[k] for row in triangle[: WEEKS - 1 - k])
        for k in range(WEEKS - 1)
    ]
    assert [f["factor"] for f in answer["factors"]] == [f"{f:.4f}" for f in factors]
    total = 0
    for week, row in zip(answer["weeks"], triangle):
        cups_back = row[-1]
        for factor in factors[len(row) - 1 :]:
            cups_back *= factor
        expected = min(max(cups_back - row[-1], 0), week["out"])
        total += expected
        assert week["issued"] == 100 == week["back"] + week["out"] and week["forfeited"] == 0
        assert abs(week["expected"] - expected) <= 0.5 and week["unclaimed"] == week["out"] - week["expected"]
        assert 0 <= week["expected_low"] <= week["expected"] <= week["expected_high"] <= week["out"]
    assert abs(answer["expected"] - total) <= 0.5
    assert answer["unclaimed"] == out - answer["expected"]
    assert answer["unclaimed_deposits"] == f"{answer['unclaimed'] * 2.5:.2f}"


def test_the_method_is_tested_on_the_past(bay):
    """A quarter of the weeks ago, and against what came since."""
    close_through(bay, bay.first + timedelta(days=7 * WEEKS - 1))
    answer, test = bay.admin.get(TARGET), bay.admin.get(TARGET)["back_test"]
    ago = WEEKS // 4
    assert test["as_of"] == str(date.fromisoformat(answer["to"]) - timedelta(days=7 * ago))
    rows = [w["back_by_week"] for w in answer["weeks"]][: WEEKS - ago]
    known = [len(row) - ago - 1 for row in rows]
    assert test["came"] == sum(row[min(k + ago, WEEKS - ago - 1)] - row[k] for row, k in zip(rows, known))


def test_its_csv_has_the_weeks(bay):
    close_through(bay, bay.first + timedelta(days=7 * WEEKS - 1))
    lines = csv_of(bay, TARGET)
    weeks = bay.admin.get(TARGET)["weeks"]
    told = {"scheme": "petrel-bay", "cup_type": "cup-300", "currency": "CAD", "estimate": "made"}
    nothing = {"week": "", "issued": "", "back": "", "forfeited": ""}
    older = {**nothing, **dict.fromkeys(("out", "expected", "expected_low", "expected_high", "unclaimed"), 0)}
    assert lines == [
        {**{name: str(value) for name, value in week.items() if name != "back_by_week"}, **told}
        for week in [*weeks, older]
    ]
    rows = csv_of(bay, TARGET.replace("cup-300", "cup-450"))
    assert len(rows) == WEEKS + 1 and {row["expected"] for row in rows} == {""}
    assert {row["estimate"] for row in rows} == {"too_thin"}


def test_its_page(bay):
    close_through(bay, bay.first + timedelta(days=7 * WEEKS - 1))
    page = Page(bay.admin.send("GET", TARGET, headers={"Accept": "text/html"}).body)
    assert len(page.all("svg")) == 1 and "licensed practice" in page.root.text
    answer = bay.admin.get("/v1/schemes/petrel-bay/returns-to-come/cup-450")
    assert (answer["estimate"], answer["out"]) == ("too_thin", 0)
    bay.admin.refused("GET", "/v1/schemes/petrel-bay/returns-to-come/cup-999", None, 404, "not_found")
