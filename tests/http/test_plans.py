# SPDX-License-Identifier: ISC
"""Plans of moves: stock, foreseen demand and par stock per site and cup type, and the hauls that follow. The figures
are worked out by hand for a network whose demand repeats each week to the cup, so that any sound forecast finds it.
How good forecasts and hauls are otherwise, the unit tests of the domain compare with other libraries."""
import math
from collections import Counter
from datetime import timedelta

import pytest

import network
from network import at, business_day, cups, event
from pages import Page, tidy

DAY = timedelta(days=1)
WEEKS = 8
PLACES = {  # invented, on an open sea
    "harbour": (47.0, -50.0),
    "anchor": (47.1, -50.0),
    "brick": (47.12, -50.0),
    "dock": (47.0, -50.03),
}
RADIUS = 6371.0088  # km: the mean radius of WGS 84
HTML, CSV = {"Accept": "text/html"}, {"Accept": "text/csv"}


def at_anchor(day):
    """A weekly rhythm, never below 40."""
    return 40 + 5 * day.weekday()


def kilometres(a, b):
    """The haversine formula."""
    (north, west), (south, east) = PLACES[a], PLACES[b]
    half = (
        math.sin(math.radians(south - north) / 2) ** 2
        + math.cos(math.radians(north)) * math.cos(math.radians(south)) * math.sin(math.radians(east - west) / 2) ** 2
    )
    return 2 * RADIUS * math.asin(math.sqrt(half))


class Bay:
    """harbour is a hub with 600 cups. anchor has 15 left and will need more; brick has 500 and issues 20 a day. dock is
    new, and 30 is its stated par stock. copper issued on a few days only, and nobody knows where it is."""

    def __init__(self, service):
        self.service, self.admin = service, service.admin
        self.today = business_day()
        self.first = self.today - WEEKS * 7 * DAY
        more = {site: dict(zip(("latitude", "longitude"), place)) for site, place in PLACES.items()}
        more["harbour"]["kind"] = "hub"
        more["dock"]["par_stock"] = [{"cup_type": "cup-300", "quantity": 30}]
        owners = {"harbour": "quay", "anchor": "hearth", "brick": "miller", "dock": "quay", "copper": "hearth"}
        sites = {site: ("tern-bay", owner, more.get(site, {})) for site, owner in owners.items()}
        self.admin.load(
            network.reference([network.scheme("tern-bay", self.first, {"cup-300": "2.50", "cup-450": "3.50"})], sites)
        )
        days = [self.first + n * DAY for n in range(WEEKS * 7)]
        issued = {"anchor": [at_anchor(d) for d in days], "brick": [20 for _ in days]}
        supplied = {"harbour": 600, "anchor": sum(issued["anchor"]) + 15, "brick": sum(issued["brick"]) + 500}
        events = [event("supply", s, at(self.first, "08:00"), cups=cups(cup_300=n)) for s, n in supplied.items()]
        for site, numbers in issued.items():
            events += [event("issue", site, at(d), issued=cups(cup_300=n)) for d, n in zip(days, numbers)]
        events += [event("issue", "copper", at(d), issued=cups(cup_300=3)) for d in days[-5:]]
        results = self.admin.post_many(events)
        assert {r["status"] for r in results} == {"recorded"}

    def plan(self, **query):
        return self.admin.get("/v1/plans", scheme="tern-bay", **query)

    def ask(self, status=200, **body):
        answer = self.admin.send("POST", "/v1/plans", {"scheme": "tern-bay", **body})
        assert answer.status == status, answer.body
        return answer


@pytest.fixture(scope="module")
def bay(shared):
    return Bay(shared)


def by_site(plan):
    return {row["site"]: row for row in plan["sites"]}


def moves(plan):
    return {(s["from"], s["to"]): s for s in plan["shipments"]}


def test_stock_demand_and_par(bay):
    plan = bay.plan(box=20)
    tomorrow = bay.today + DAY
    assert plan["service_level"] == "0.95" and bay.plan(service_level="0.9125")["service_level"] == "0.9125"
    assert (plan["date"], plan["days"], plan["history_to"]) == (str(tomorrow), 1, str(bay.today - DAY))
    rows = by_site(plan)
    assert set(rows) == {"harbour", "anchor", "brick", "dock", "copper"}
    anchor, brick = rows["anchor"], rows["brick"]
    expected = at_anchor(tomorrow)
    assert (anchor["stock"], anchor["expected_stock"], anchor["par"], anchor["par_by"]) == (
        15,
        15,
        expected,
        "forecast",
    )
    assert anchor["expected_demand"] == f"{expected}.0" and anchor["forecast_error"] == "0.0"
    assert (brick["stock"], brick["par"], brick["surplus"], brick["need"]) == (500, 20, 480, 0)
    assert anchor["need"] == math.ceil((expected - 15) / 20) * 20 and anchor["gets"] == anchor["need"]
    assert (rows["dock"]["par"], rows["dock"]["par_by"], rows["dock"]["need"]) == (30, "stated", 40)
    assert (rows["harbour"]["par"], rows["harbour"]["par_by"], rows["harbour"]["surplus"]) == (0, "no_demand", 600)
    assert rows["copper"]["par_by"] == "unknown" and "par" not in rows["copper"] and rows["copper"]["need"] == 0


def test_hauls_and_their_cost(bay):
    """brick is nearer to anchor than harbour is, harbour is nearer to dock."""
    plan = bay.plan(box=20, cost_per_km="1.50", cost_per_stop="4.00")
    made = moves(plan)
    assert set(made) == {("brick", "anchor"), ("harbour", "dock")}
    total = 0
    for (giver, taker), shipment in made.items():
        distance = kilometres(giver, taker)
        cost = round(400 + 150 * distance)
        total += cost
        assert shipment["distance_km"] == f"{distance:.1f}" and shipment["hauls"] == 1
        assert shipment["cost"] == f"{cost // 100}.{cost % 100:02}"
        [line] = shipment["cups"]
        assert line["quantity"] == line["boxes"] * 20 == by_site(plan)[taker]["gets"]
    assert plan["cost"] == f"{total // 100}.{total % 100:02}"
    assert float(plan["bound"]) <= float(plan["cost"])
    assert plan["gap"] == f"{1 - float(plan['bound']) / float(plan['cost']):.4f}"


def test_sums_are_those_of_the_sites(bay):
    plan = bay.plan(box=20)
    [row] = plan["cup_types"]
    for own, of_sites in (("surplus", "surplus"), ("need", "need"), ("moved", "gets"), ("moved", "sends")):
        assert row[own] == sum(site[of_sites] for site in plan["sites"]), own
    methods = Counter(site["method"] for site in plan["sites"] if "method" in site)
    assert {m: row[f"sites_by_{m}"] for m in methods} == methods and sum(methods.values()) == 2
    assert row["need"] == row["moved"] + row["left"] + row["short"] and row["short"] == 0


def test_several_days_and_a_later_day(bay):
    """Three days from the day after tomorrow on. Until then anchor issues tomorrow's cups, and none come back."""
    day = bay.today + 2 * DAY
    anchor = by_site(bay.plan(date=day, days=3))["anchor"]
    expected = sum(at_anchor(day + n * DAY) for n in range(3))
    assert (anchor["expected_demand"], anchor["par"]) == (f"{expected}.0", expected)
    assert anchor["expected_stock"] == 0 and anchor["need"] == expected
    brick = by_site(bay.plan(date=day))["brick"]
    assert brick["expected_stock"] == 480


def test_a_small_load_waits(bay):
    plan = bay.plan(box=20, minimum_load=50)
    anchor = by_site(bay.plan(box=20))["anchor"]["need"]
    assert set(moves(plan)) == ({("brick", "anchor")} if anchor >= 50 else set())
    [row] = plan["cup_types"]
    assert row["left"] == 40 + (0 if anchor >= 50 else anchor) and row["need"] == row["moved"] + row["left"]


def test_costs_and_boxes_of_the_clients_own(bay):
    """A ferry makes the way from brick dear, so harbour serves anchor. dock gets one box of 40."""
    body = {
        "boxes": [{"cup_type": "cup-300", "cups": 40}],
        "prices": [
            {"from": "brick", "to": "anchor", "cost": "90.00"},
            {"from": "harbour", "to": "dock", "cost": "1.23"},
        ],
        "haul_boxes": 1,
    }
    plan = bay.ask(**body).json
    made = moves(plan)
    assert set(made) == {("harbour", "anchor"), ("harbour", "dock")}
    assert made["harbour", "dock"]["cost"] == "1.23" and made["harbour", "dock"]["cups"][0]["quantity"] == 40
    boxes = made["harbour", "anchor"]["cups"][0]["boxes"]
    assert made["harbour", "anchor"]["hauls"] == boxes == math.ceil((at_anchor(bay.today + DAY) - 15) / 40)


def test_what_is_nowhere_to_be_had_is_short(bay):
    """dock and anchor share the cups that brick and harbour have in boxes of 500."""
    plan = bay.ask(boxes=[{"cup_type": "cup-300", "cups": 500}], days=7).json
    [row] = plan["cup_types"]
    assert (row["need"], row["surplus"], row["moved"], row["short"]) == (1000, 500, 500, 500)


def test_csv_is_the_shipments(bay):
    answer = bay.admin.send("GET", "/v1/plans?scheme=tern-bay&box=20", headers=CSV)
    assert answer.status == 200 and f"plan_tern-bay_{bay.today + DAY}.csv" in answer.headers["Content-Disposition"]
    head, *lines = [line.split(",") for line in answer.body.decode().splitlines()]
    assert head == "from,to,cup_type,quantity,boxes,distance_km,hauls,cost,scheme,currency".split(",")
    plan = bay.plan(box=20)
    assert [(line[0], line[1], line[2], int(line[3]), int(line[4]), line[7]) for line in lines] == [
        (s["from"], s["to"], c["cup_type"], c["quantity"], c["boxes"], s["cost"])
        for s in plan["shipments"]
        for c in s["cups"]
    ]
    posted = bay.admin.send("POST", "/v1/plans", {"scheme": "tern-bay", "box": 20}, CSV)
    assert posted.body == answer.body


def test_the_page_has_a_form_a_picture_and_the_caution(bay):
    answer = bay.admin.send("GET", "/v1/plans?scheme=tern-bay&box=20", headers=HTML)
    assert answer.status == 200 and tidy(answer.body) == ""
    page = Page(answer.body)
    fields = {field.get("name") for field in page.all("input", "select")}
    assert {
        "date",
        "days",
        "service_level",
        "cost_per_km",
        "cost_per_stop",
        "minimum_load",
        "haul_boxes",
        "box",
    } <= fields
    [picture] = page.all("svg")
    assert picture.get("role") == "img" and "An arrow for each of 2 ways" in picture.first("desc").text
    assert len([p for p in picture.all("path")]) == 2 and len([c for c in picture.all("circle")]) == len(PLACES)
    assert "Counts say nothing about hygiene" in answer.body.decode()
    assert {"brick", "anchor"} <= {cell.text for cell in page.all("td", "th")}


@pytest.mark.parametrize(
    "query",
    [
        "service_level=0.4",
        "service_level=1",
        "days=0",
        "days=8",
        "days=x",
        "date=2020-01-01",
        "date=soon",
        "cost_per_km=1.5",
        "cost_per_km=-1.50",
        "box=0",
        "haul_boxes=0",
        "minimum_load=-1",
    ],
)
def test_refused_queries(bay, query):
    refused = bay.admin.refused("GET", f"/v1/plans?scheme=tern-bay&{query}", None, 422, "parameter_invalid")
    assert refused.json["errors"][0]["parameter"] == query.partition("=")[0]


@pytest.mark.parametrize(
    "body, reason, pointer",
    [
        ({"scheme": "no-bay"}, "scheme_unknown", "/scheme"),
        ({"service_level": "0.9999"}, "out_of_range", "/service_level"),
        ({"cost_per_km": "1.5"}, "amount_decimals", "/cost_per_km"),
        ({"boxes": [{"cup_type": "no-cup", "cups": 2}]}, "cup_type_unknown", "/boxes/0"),
        ({"boxes": [{"cup_type": "cup-300", "cups": n} for n in (1, 2)]}, "cup_type_repeated", "/boxes/1"),
        ({"prices": [{"from": "brick", "to": "no-site", "cost": "1.00"}]}, "site_unknown", "/prices/0"),
        ({"prices": [{"from": "brick", "to": "brick", "cost": "1.00"}]}, "same_site", "/prices/0"),
        ({"prices": [{"from": "brick", "to": "dock", "cost": "1.00"}] * 2}, "value_repeated", "/prices"),
        ({"prices": [{"from": "brick", "to": "dock", "cost": "99999999.00"}]}, "out_of_range", "/prices/0/cost"),
        ({"boxes": [{"cup_type": "cup-300", "cups": 0}]}, "out_of_range", "/boxes/0/cups"),
        ({"colour": 1}, "member_unknown", "/colour"),
    ],
)
def test_refused_bodies(bay, body, reason, pointer):
    answer = bay.admin.refused("POST", "/v1/plans", {"scheme": "tern-bay", **body}, 422, reason)
    assert answer.json["errors"][0]["pointer"] == pointer


def test_nothing_is_recorded(bay):
    before = len(bay.admin.feed("tern-bay"))
    assert bay.admin.send("POST", "/v1/plans?dry_run=true", {"scheme": "tern-bay"}).json["dry_run"] is True
    bay.plan()
    assert len(bay.admin.feed("tern-bay")) == before
    bay.admin.refused("GET", "/v1/plans", None, 422, "parameter_missing")
