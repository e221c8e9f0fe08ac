# SPDX-License-Identifier: ISC
"""Closing by the clock, across time zones. The test computes with Python's zoneinfo, not with the service's calendar,
which days are due. Also tests when payments fall due after a close, by a published calendar of closing days."""
from datetime import date, datetime, timedelta, timezone

import pytest

import network
from harness import Service, wait_until
from model import DAY, day_start
from network import at, cups, event

FIRST = date.today() - timedelta(days=6)
# Zones on both sides of the date line, with offsets of hours, half and quarter hours. Each has its own cut-off and
# patience.
SCHEMES = {
    "tern-bay": ("America/St_Johns", "03:00", 60),
    "harbour": ("Pacific/Auckland", "04:30", 0),
    "ridge": ("Asia/Kathmandu", "00:00", 5),
    "atoll": ("Pacific/Kiritimati", "23:59", 90),
    "skerry": ("Pacific/Pago_Pago", "02:15", 30),
}


def due_days(code, then):
    """The days whose end and the scheme's patience had passed at an instant. Also the days for which the instant is
    too near to tell, or which have fallen due since."""
    zone, cut_off, minutes = SCHEMES[code]
    closes = {
        d: day_start(d + DAY, cut_off, zone) + timedelta(minutes=minutes)
        for d in (FIRST + n * DAY for n in range((date.today() - FIRST).days + 2))
    }
    first, last = then - timedelta(minutes=2), datetime.now(timezone.utc) + timedelta(minutes=2)
    return [d for d, at_ in closes.items() if at_ <= first], [d for d, at_ in closes.items() if first < at_ < last]


def load(service):
    service.admin.load(
        network.reference(
            [
                network.scheme(
                    code, FIRST, {"cup-300": "2.50"}, time_zone=zone, cut_off=cut_off, close_after_minutes=minutes
                )
                for code, (zone, cut_off, minutes) in SCHEMES.items()
            ],
            {f"site-{code}": (code, "hearth") for code in SCHEMES},
        )
    )
    for code, (zone, cut_off, _) in SCHEMES.items():
        service.admin.post_many(
            [
                event(
                    "issue",
                    f"site-{code}",
                    network.utc(day_start(FIRST + n * DAY, cut_off, zone) + timedelta(hours=5)),
                    issued=cups(cup_300=n + 1),
                )
                for n in range(4)
            ]
        )


def closed_days(service, code):
    return [date.fromisoformat(s["date"]) for s in service.admin.items("/v1/settlements", scheme=code)]


def wait_until_closed(service, code, days):
    wait_until(
        lambda: set(days) <= set(closed_days(service, code)),
        lambda: f"{code}: the clock closed {days}, not only {closed_days(service, code)}",
    )


def assert_closed_in_order(service, code, now):
    """Exactly the days that are due are closed by the clock, each once and in order, and the checks hold."""
    due, near = due_days(code, now)
    closed = closed_days(service, code)
    assert closed[: len(due)] == due and set(closed[len(due) :]) <= set(near), (code, closed, due)
    rows = service.database.rows(
        "SELECT business_date, closed_at, closed_by FROM settlement JOIN scheme ON id = scheme"
        " WHERE code = %s"
        " ORDER BY closed_at, business_date",
        code,
    )
    assert [day for day, _, _ in rows] == closed and len({instant for _, instant, _ in rows}) == len(rows)
    settles = [e["business_date"] for e in service.admin.feed(code) if e["kind"] == "settle"]
    assert settles == [str(FIRST + n * DAY) for n in range(4)], "one for each day with dealings"
    service.admin.assert_holds(code)
    return rows


@pytest.mark.parametrize("instances", [1, 2])
def test_due_days_are_closed_in_order_in_all_zones(database, service, instances):
    load(service)
    now = datetime.now(timezone.utc)
    clocks = []
    try:
        for _ in range(instances):
            clocks.append(Service(database, close_by_clock="yes").start())
        for code in SCHEMES:
            wait_until_closed(service, code, due_days(code, now)[0])
    finally:
        for clock in clocks:
            clock.stop()
    for code in SCHEMES:
        assert all(by is None for _, _, by in assert_closed_in_order(service, code, now))
    if instances == 1:
        log = clocks[0].log_text()
        for code in SCHEMES:
            due, near = due_days(code, now)
            said = [line.partition("date=")[2] for line in log.splitlines() if f'"day closed" scheme={code} ' in line]
            assert said[: len(due)] == [str(day) for day in due]


def test_a_missed_night_is_caught_up(database, service):
    """The first days were closed by hand. Then no instance ran for some nights, and a close was broken off at its cut.
    The next instance finishes that close first, and then closes the other days in order."""
    load(service)
    now = datetime.now(timezone.utc)
    for code in SCHEMES:
        service.admin.close(code, FIRST)
        service.admin.close(code, FIRST + DAY)
        service.database.run(
            f"UPDATE business_day SET state = 'closing' WHERE business_date = '{FIRST + 2 * DAY}' AND"
            " scheme ="
            f" (SELECT id FROM scheme WHERE code = '{code}');"
            f" INSERT INTO day_cut SELECT h.scheme, '{FIRST + 2 * DAY}', h.last_entry, now() FROM scheme_head h"
            f" JOIN scheme s ON s.id = h.scheme WHERE s.code = '{code}';"
            f" UPDATE scheme_head SET calendar_version = calendar_version + 1"
        )
    clock = Service(database, close_by_clock="yes").start()
    try:
        for code in SCHEMES:
            wait_until_closed(service, code, due_days(code, now)[0])
        warned = [line for line in clock.log_text().splitlines() if "a close is late" in line]
    finally:
        clock.stop()
    for code in SCHEMES:
        rows = assert_closed_in_order(service, code, now)
        assert [by is None for _, _, by in rows] == [False, False] + [True] * (len(rows) - 2)
        assert any(f"scheme={code} date={FIRST + 2 * DAY} " in line and "close_by_clock=yes" in line for line in warned)


# Closing days of TARGET (European Central Bank, decision of 14 December 2000, from memory): Saturdays, Sundays, New
# Year's Day, Good Friday, Easter Monday, 1 May, 25 and 26 December. Easter Sunday was 20 April in 2025 (Gregorian
# computus, from memory).
CLOSING_DAYS = ["2025-01-01", "2025-04-18", "2025-04-21", "2025-05-01", "2025-12-25", "2025-12-26"]


@pytest.mark.parametrize(
    "day, due",
    [
        ("2025-04-16", "2025-04-17"),
        ("2025-04-17", "2025-04-22"),
        ("2025-04-18", "2025-04-22"),
        ("2025-04-20", "2025-04-22"),
        ("2025-04-21", "2025-04-22"),
        ("2025-04-30", "2025-05-02"),
        ("2025-05-02", "2025-05-05"),
    ],
)
def test_payments_are_due_on_banking_days(service, day, due):
    """Closes run every day, also on Good Friday and Easter Sunday. Their payments fall due on the next day on which
    banks work."""
    day = date.fromisoformat(day)
    service.admin.load(
        network.reference(
            [network.scheme("tern-bay", day, {"cup-300": "2.50"}, time_zone="Europe/Oslo", holidays=CLOSING_DAYS)],
            {"anchor": ("tern-bay", "hearth")},
        )
    )
    service.admin.post(event("issue", "anchor", at(day, "12:00", "Europe/Oslo"), issued=cups(cup_300=1)))
    assert [p["due_on"] for p in service.admin.close("tern-bay", day)["payments"]] == [due]
    assert service.admin.close("tern-bay", day + DAY)["date"] == str(day + DAY)
