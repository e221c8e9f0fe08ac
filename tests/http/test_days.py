# SPDX-License-Identifier: ISC
"""Business days: PostgreSQL's own AT TIME ZONE, and the facts of the check values, give their bounds across clock
changes."""
from datetime import date, datetime, timedelta

import pytest

import network
from model import DAY, instant

TODAY = date.today()
LONG_AGO, OPEN_DAY = TODAY - 40 * DAY, TODAY - 4 * DAY
EARLY = timedelta(minutes=5)  # the next day may exist so long before it begins, because an event may be that far ahead
# zone, cut-off. These zones are unusual: half an hour, at midnight, or more than an hour.
ZONES = [
    ("Pacific/Auckland", "03:00"),
    ("Australia/Lord_Howe", "03:00"),
    ("Australia/Lord_Howe", "01:45"),
    ("Europe/Oslo", "03:00"),
    ("Europe/Oslo", "02:30"),
    ("America/St_Johns", "03:00"),
    ("America/Santiago", "00:00"),
    ("Africa/Cairo", "00:30"),
    ("Asia/Kathmandu", "04:15"),
    ("Antarctica/Troll", "02:00"),
    ("Pacific/Kiritimati", "23:59"),
]

# Check values, "Business days (COMPUTED; PostgreSQL 15's AT TIME ZONE agrees)" and section 12 (tz database).
LENGTHS = [
    ("Pacific/Auckland", "03:00", date(2026, 4, 4), 25.0, "2026-04-03T14:00:00Z"),
    ("Pacific/Auckland", "03:00", date(2026, 9, 26), 23.0, None),
    ("Australia/Lord_Howe", "03:00", date(2026, 4, 4), 24.5, None),
    ("Australia/Lord_Howe", "03:00", date(2026, 10, 3), 23.5, None),
    ("Europe/Oslo", "03:00", date(2026, 3, 28), 23.0, None),
    ("Europe/Oslo", "03:00", date(2026, 10, 24), 25.0, None),
    ("America/St_Johns", "03:00", date(2026, 3, 7), 23.0, "2026-03-07T06:30:00Z"),
    ("Pacific/Apia", "03:00", date(2011, 12, 30), 0.0, "2011-12-30T13:00:00Z"),
    ("America/Sao_Paulo", "00:00", date(2018, 11, 4), 23.0, "2018-11-04T03:00:00Z"),
]


def load(client, zones, first_day):
    """Loads a scheme with a site for each zone, and lends a cup at each on the second day. Returns the schemes'
    codes."""
    codes = [f"zone-{n}" for n in range(len(zones))]
    client.load(
        network.reference(
            [
                network.scheme(c, first_day, {"cup-300": "2.50"}, time_zone=z, cut_off=cut)
                for c, (z, cut) in zip(codes, zones)
            ],
            {f"site-{c}": (c, "hearth") for c in codes},
        )
    )
    for code, (zone, _) in zip(codes, zones):
        noon = network.at(first_day + DAY, "12:00", zone)
        client.post(network.event("issue", f"site-{code}", noon, issued=network.cups(cup_300=1)))
    return codes


def test_days_are_there_before_anything_is_posted(service):
    """They exist from the first terms through the day that contains now, and the close works on them."""
    first_day = date.today() - 3 * DAY
    scheme = network.scheme("tern-bay", first_day, {"cup-300": "2.50"}, time_zone="UTC", cut_off="00:00")
    service.admin.load(network.reference([scheme], {"anchor": ("tern-bay", "hearth")}))
    days = service.admin.items("/v1/schemes/tern-bay/days")
    assert [d["date"] for d in days] == [str(first_day + n * DAY) for n in range(len(days))]
    now = datetime.now().astimezone()
    assert instant(days[-1]["starts_at"]) <= now + EARLY and now < instant(days[-1]["ends_at"])
    assert {(d["state"], d["entries"], d["events"], d["late_events"]) for d in days} == {("open", 0, 0, 0)}
    service.admin.close("tern-bay", first_day)
    closed, *others = [d["state"] for d in service.admin.items("/v1/schemes/tern-bay/days")]
    assert closed == "closed" and len(others) >= 3 and set(others) == {"open"}


def test_a_year_of_days_is_postgresqls(service):
    first_day = TODAY - timedelta(days=400)
    for code, (zone, cut_off) in zip(load(service.admin, ZONES, first_day), ZONES):
        days = service.admin.items(f"/v1/schemes/{code}/days", limit=1000)
        expected = service.database.rows(
            "SELECT d::date, (d + %s::time) AT TIME ZONE %s, (d + interval '1 day' + %s::time) AT TIME ZONE %s"
            " FROM generate_series(%s::timestamp, %s::timestamp, '1 day') d",
            cut_off,
            zone,
            cut_off,
            zone,
            first_day,
            TODAY + 2 * DAY,
        )
        now = datetime.now().astimezone()
        bounds = {d["date"]: (instant(d["starts_at"]), instant(d["ends_at"])) for d in days}
        assert {d: both for d, both in bounds.items() if both[0] <= now} == {
            str(d): (start, end) for d, start, end in expected if start <= now
        }, zone
        assert instant(days[-1]["starts_at"]) <= now + EARLY
        assert {d["state"] for d in days} == {"open"}


@pytest.mark.parametrize("zone, cut_off, day, hours, starts", LENGTHS)
def test_lengths(service, zone, cut_off, day, hours, starts):
    if day >= TODAY:
        pytest.skip(f"{day} is still to come")
    (code,) = load(service.admin, [(zone, cut_off)], day - 2 * DAY)
    days = {d["date"]: d for d in service.admin.get(f"/v1/schemes/{code}/days", limit=1000)["items"]}
    assert str(day) in days, "the first page has the oldest days"
    bounds = [instant(days[str(day)][k]) for k in ("starts_at", "ends_at")]
    assert (bounds[1] - bounds[0]).total_seconds() / 3600 == hours
    assert starts is None or bounds[0] == instant(starts)
    assert instant(days[str(day - DAY)]["ends_at"]) == bounds[0]


def last_sunday(year, month):
    day = date(year, month + 1, 1) - DAY
    return day - timedelta(days=(day.weekday() + 1) % 7)


def test_an_ambiguous_and_a_skipped_cut_off(service):
    """Europe/Berlin 02:30. The check values name 2026; the European rule (last Sundays, 01:00 UTC) is the same each
    year."""
    year = TODAY.year if last_sunday(TODAY.year, 10) + DAY < TODAY else TODAY.year - 1
    spring, autumn = last_sunday(year, 3), last_sunday(year, 10)
    (code,) = load(service.admin, [("Europe/Berlin", "02:30")], spring - 5 * DAY)
    for when, expected in [
        (f"{autumn}T01:10:00Z", autumn - DAY),
        (f"{autumn}T01:29:59Z", autumn - DAY),
        (f"{autumn}T01:30:00Z", autumn),
        (f"{autumn}T01:31:00Z", autumn),
        (f"{spring}T01:29:59Z", spring - DAY),
        (f"{spring}T01:30:00Z", spring),
    ]:
        answer = service.admin.post(network.event("issue", f"site-{code}", when, issued=network.cups(cup_300=1)))
        assert answer["business_date"] == str(expected), when


def test_a_day_without_hours_closes(service):
    """Samoa skipped 2011-12-30: an event at its instant belongs to the 31st, and the close passes over it."""
    (code,) = load(service.admin, [("Pacific/Apia", "03:00")], date(2011, 12, 28))
    issue = network.event("issue", f"site-{code}", "2011-12-30T13:00:00Z", issued=network.cups(cup_300=2))
    assert service.admin.post(issue)["business_date"] == "2011-12-31"
    closed = [service.admin.close(code, date(2011, 12, d)) for d in (28, 29, 30, 31)]
    assert [s["positions"][0]["amount"] for s in closed] == ["0.00", "2.50", "0.00", "5.00"]
    assert [s["seal"]["entries"] > 0 for s in closed] == [False, True, False, True]


def issue(site, day):
    return network.event("issue", site, network.at(day, zone="UTC"), issued=network.cups(cup_300=1))


def test_days_that_closed_long_ago(service):
    """The writer has only a month of closed days at hand, and asks the database for older ones. Nobody sees a
    difference."""
    schemes = ["tern-bay", "skerry"]  # skerry has no entries at first
    service.admin.load(
        network.reference(
            [network.scheme(code, LONG_AGO, {"cup-300": "2.50"}, time_zone="UTC") for code in schemes],
            {"anchor": ("tern-bay", "hearth"), "gull": ("skerry", "hearth")},
        )
    )
    lent = issue("anchor", LONG_AGO)
    service.admin.post(lent)
    for day in (LONG_AGO + n * DAY for n in range((OPEN_DAY - LONG_AGO).days)):
        for code in schemes:
            service.admin.close(code, day)
    check_opening(service.admin)
    check_reversal(service, lent)
    check_late_events(service.admin)
    service.admin.assert_holds()


def check_opening(admin):
    """It finds the scheme's first day, not the first of those at hand."""
    places = [{"place": "with_customers", "cup_type": "cup-300", "quantity": 1}]
    for n in range((OPEN_DAY - LONG_AGO).days):
        when = network.at(LONG_AGO + n * DAY, zone="UTC")
        opening = network.event("opening", None, when, scheme="skerry", places=places, bank="0.00")
        status, reason = (422, "opening_not_on_first_day") if n else (409, "first_day_closed")
        admin.refused("POST", "/v1/events", opening, status, reason)


def check_reversal(service, lent):
    reversal = network.event("reversal", "anchor", network.at(TODAY - DAY, zone="UTC"), reverses=lent["event_id"])
    till = service.client(service.create_key("till", "pos", sites=["anchor"]))
    till.refused("POST", "/v1/events", reversal, 403, "reversal_needs_accountant")
    assert service.admin.post(reversal)["business_date"] == str(TODAY - DAY)


def check_late_events(admin):
    cases = [
        (issue(site, day), expected)
        for day, expected in [
            (TODAY - DAY, TODAY - DAY),
            (LONG_AGO, OPEN_DAY),
            (LONG_AGO - DAY, "before_first_day"),
            (LONG_AGO + 5 * DAY, OPEN_DAY),
            (OPEN_DAY - DAY, OPEN_DAY),
        ]
        for site in ("anchor", "gull")
    ]
    results = admin.post_many([posted for posted, _ in cases])
    for (_, expected), result in zip(cases, results):
        if expected == "before_first_day":
            assert result["problem"]["reason"] == expected
        else:
            assert (result["business_date"], result["late"]) == (str(expected), expected == OPEN_DAY)
