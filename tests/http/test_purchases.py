# SPDX-License-Identifier: ISC
"""Purchases: every figure against an independent computation from the feed of events, cup by cup. The quantile of the
normal distribution is that of Python's library; Little's law and the means that it rests on are tested in
tests/unit/test_purchase.c against published examples."""
import csv
import io
import math
import random
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from statistics import NormalDist, mean, stdev

import pytest

import network
from cup_queue import CupQueue
from harness import wait_until
from network import at, business_day, cups, event
from pages import Page, tidy

DAY = timedelta(days=1)
DAYS = 70  # of issues; the history that is looked at has 84
HISTORY = 84
CSV, HTML = {"Accept": "text/csv"}, {"Accept": "text/html"}
GRAI = "04012345555554"  # gs1/EPCIS's urn:epc:id:grai:4012345.55555.987
TYPES = [
    {"cup_type": "cup-300", "name": "Cup 300 ml", "volume_ml": 300, "mass_g": 48},
    {"cup_type": "cup-450", "name": "Cup 450 ml", "volume_ml": 450, "mass_g": 62, "grai": GRAI},
    {"cup_type": "cup-600", "name": "Cup 600 ml", "volume_ml": 600, "mass_g": 90},
    {"cup_type": "cup-700", "name": "Cup 700 ml", "volume_ml": 700, "mass_g": 95},
    {"cup_type": "cup-800", "name": "Cup 800 ml", "volume_ml": 800, "mass_g": 99},
]
SITES = {
    "anchor": ("tern-bay", "hearth", {"par_stock": [{"cup_type": "cup-450", "quantity": 75}]}),
    "brick": ("tern-bay", "miller"),
    "copper": ("tern-bay", "hearth"),
    "harbour": ("tern-bay", "quay", {"kind": "hub"}),
}


def some_days(rng, first, today):
    """cup-300: few are lost, and some forfeited, damaged, retired, missed by a count or still on the road. cup-450: ten
    known cups go out for a day or two each. cup-600: issued for a few days only. cup-700: supplied, and never issued.
    cup-800: none comes back."""
    events, out, known = [], 0, {}
    values = dict(cup_300=2000, cup_450=500, cup_600=100, cup_700=40)
    events.append(event("supply", "harbour", at(first, "06:00"), cups=cups(**values)))
    events.append(event("supply", "anchor", at(first, "06:00"), cups=cups(cup_300=700, cup_450=300, cup_800=200)))
    for n in range(DAYS):
        day = first + n * DAY
        for site, least in (("anchor", 10), ("brick", 4)):
            quantity = least + rng.randint(0, 5) + (12 if day.weekday() == 5 else 0)
            out += quantity
            events.append(event("issue", site, at(day, "09:00"), issued=cups(cup_300=quantity)))
        back = max(out * 3 // 10, 1)
        out -= back
        events.append(event("return", "harbour", at(day, "19:00"), returned=cups(cup_300=back)))
        events.append(event("issue", "anchor", at(day, "11:00"), issued=cups(cup_450=6, cup_800=1)))
        if n > 1:
            events.append(event("return", "brick", at(day, "12:00"), returned=cups(cup_450=5)))
        events += with_known_cup(rng, day, known, n)
    last = today - 3 * DAY
    events.append(event("issue", "copper", at(last, "13:00"), issued=cups(cup_300=7, cup_600=9)))
    events.append(event("issue", "copper", at(today - DAY, "13:00"), issued=cups(cup_600=9)))
    events.append(event("return", "copper", at(today - DAY, "14:00"), returned=cups(cup_600=2)))
    events.append(event("return", "harbour", at(last, "18:00"), returned=cups(("cup-300", 12))))
    events.append(event("retire", "harbour", at(last, "18:10"), cups=cups(cup_300=8)))
    events.append(event("damage", "anchor", at(last, "18:20"), cups=cups(cup_300=3)))
    events.append(event("forfeit", None, at(last, "20:00"), scheme="tern-bay", cups=cups(cup_300=15)))
    events.append(event("reinstate", None, at(last, "21:00"), scheme="tern-bay", cups=cups(cup_300=2)))
    events.append(event("dispatch", "harbour", at(last, "22:00"), cups=cups(cup_300=60), to="brick"))
    events.append(event("receipt", "brick", at(last, "23:00"), cups=cups(cup_300=50), dispatch=events[-1]["event_id"]))
    taken_back = event("issue", "brick", at(last, "15:00"), issued=cups(cup_300=40))
    events += [taken_back, event("reversal", "brick", at(last, "15:10"), reverses=taken_back["event_id"])]
    events.append(event("count", "harbour", at(last, "23:30"), cups=[{"cup_type": "cup-700", "counted": 37}]))
    return sorted(events, key=lambda e: datetime.fromisoformat(e["occurred_at"]))


def with_known_cup(rng, day, known, n):
    """One of ten cups is out for a day or two."""
    due = [(serial, clock) for serial, (back, clock) in known.items() if back == day]
    for serial, clock in due:
        del known[serial]
        line = [{"cup_type": "cup-450", "quantity": 1, "ids": [GRAI + serial]}]
        yield event("return", "brick", at(day, clock), returned=line)
    serial = f"K{n % 10}"
    if serial not in known:
        line = [{"cup_type": "cup-450", "quantity": 1, "ids": [GRAI + serial]}]
        known[serial] = (day + rng.randint(1, 2) * DAY, rng.choice(("10:00", "15:30")))
        yield event("issue", "anchor", at(day, "08:00"), issued=line)


class Bay:
    def __init__(self, service):
        self.service, self.admin = service, service.admin
        self.today = business_day()
        self.first = self.today - DAYS * DAY
        values = {t["cup_type"]: "2.50" for t in TYPES}
        scheme = network.scheme("tern-bay", self.first, values, count_tolerance=1000)
        self.admin.load(network.reference([scheme], SITES, cup_types=TYPES))
        stated = some_days(random.Random(20260512), self.first, self.today)
        results = [r for i in range(0, len(stated), 500) for r in self.admin.post_many(stated[i : i + 500])]
        assert {r["status"] for r in results} == {"recorded"}
        wait_until(
            lambda: not service.database.rows(
                "SELECT FROM scheme_head h LEFT JOIN sighting_place p USING (scheme)"
                " WHERE h.last_entry > coalesce(p.entry, 0)"
            ),
            "the cups are followed",
        )
        self.naive = Naive(self.admin.feed("tern-bay"), self.first, self.today)

    def ask(self, **query):
        return self.admin.get("/v1/purchases", scheme="tern-bay", **query)


@pytest.fixture(scope="module")
def bay(shared):
    return Bay(shared)


class Naive:
    """The same from the feed: events say what was issued and returned, legs where the cups are."""

    def __init__(self, feed, first, today):
        self.first, self.today = first, today
        self.issued = defaultdict(Counter)  # (site, cup type) -> day -> cups
        self.out_change = defaultdict(Counter)  # cup type -> day -> cups
        self.queues, self.known = defaultdict(CupQueue), defaultdict(list)
        self.places = defaultdict(Counter)  # cup type -> place -> cups
        self.gone_today = defaultdict(Counter)
        self.supplied, self.trips, self.forfeited = Counter(), Counter(), Counter()
        self.whereabouts = {}
        by_id = {row["event"]["event_id"]: row["event"] for row in feed if "event" in row}
        for row in sorted(feed, key=lambda row: (row["business_date"], row["entry"])):
            self.take(row, by_id)

    def take(self, row, by_id):
        day, said, sign = date.fromisoformat(row["business_date"]), row["event"], 1
        if said["kind"] == "reversal":
            said, sign = by_id[said["reverses"]], -1
        for line in said.get("issued", ()):
            self.issued[said["site"], line["cup_type"]][day] += sign * line["quantity"]
            self.queues[line["cup_type"]].move("issued", day, sign * line["quantity"])
        for line in said.get("returned", ()):
            self.queues[line["cup_type"]].move("returned", day, sign * line["quantity"])
            self.trips[line["cup_type"]] += sign * line["quantity"]
        if said["kind"] in ("forfeit", "reinstate"):
            n = said["cups"][0]["quantity"] * (1 if said["kind"] == "forfeit" else -1)
            self.queues["cup-300"].move("forfeited", day, n)
            self.forfeited["cup-300"] += n
        for line in said.get("issued", []) + said.get("returned", []):
            for cup in line.get("ids", ()):
                self.see(cup, line["cup_type"], said)
        for leg in row["legs"]:
            if "cups" in leg:
                place, _, owner = leg["account"].partition("(")
                cup_type = owner.rstrip(")").split(",")[-1]
                self.places[cup_type][place] += leg["cups"]
                if place == "with_customers":
                    self.out_change[cup_type][day] += leg["cups"]

    def see(self, cup, cup_type, said):
        when = datetime.fromisoformat(said["occurred_at"].replace("Z", "+00:00"))
        if said["kind"] == "return":
            self.known[cup_type].append((when - self.whereabouts[cup]).total_seconds() / 86400)
        self.whereabouts[cup] = when

    def days(self, of_day):
        """The numbers of each day through yesterday, from the first with any on."""
        begins = min(day for day, n in of_day.items() if n > 0)
        return [max(of_day[begins + n * DAY], 0) for n in range((self.today - begins).days)], begins

    def demand(self, cup_type):
        total = Counter()
        for (_, of_type), of_day in self.issued.items():
            if of_type == cup_type:
                total.update({day: n for day, n in of_day.items() if n > 0})
        return self.days(total)

    def time_out(self, cup_type):
        if len(self.known[cup_type]) >= 30:
            return mean(self.known[cup_type]), "known_cups", len(self.known[cup_type])
        ends = [
            (days, n)
            for fates in self.queues[cup_type].fates().values()
            for fate, n in fates.items()
            if fate != "out" and fate[0] == "returned"
            for days in (fate[1],)
        ]
        trips = sum(n for _, n in ends)
        return sum(d * n for d, n in ends) / trips, "first_in_first_out", trips

    def par(self, site, cup_type, level, days, growth=0.0):
        series, _ = self.days(self.issued[site, cup_type])
        stock = mean(series) * days + NormalDist().inv_cdf(level) * stdev(series) * math.sqrt(days)
        return max(math.ceil((1 + growth) * stock - 1e-6), 0)

    def never_returned(self, cup_type, time_out):
        series, _ = self.demand(cup_type)
        half = len(series) // 2 // 7 * 7
        moment = self.today - half * DAY
        more = sum(n for day, n in self.out_change[cup_type].items() if day >= moment)
        padded = [0] * (HISTORY - len(series)) + series
        then, now = padded[HISTORY - half - 14 : HISTORY - half], padded[-14:]
        return max(round((more - time_out * (mean(now) - mean(then))) * len(series) / half), 0)


def one(rows, cup_type="cup-300"):
    [row] = [row for row in rows if row["cup_type"] == cup_type]
    return row


def test_demand_is_that_of_the_events(bay):
    answer = bay.ask()
    assert (answer["history_from"], answer["history_to"]) == (
        str(bay.today - HISTORY * DAY),
        str(bay.today - DAY),
    )
    for cup_type in ("cup-300", "cup-450"):
        row, (series, begins) = one(answer["demand"], cup_type), bay.naive.demand(cup_type)
        assert (row["days"], row["issued"]) == (len(series), sum(series))
        assert row["demand_mean"] == f"{mean(series):.1f}" and row["demand_sd"] == f"{stdev(series):.1f}"
        of_weekday = defaultdict(list)
        for n, number in enumerate(series):
            of_weekday[(begins + n * DAY).strftime("%A").lower()].append(number)
        assert mean(of_weekday[row["peak_weekday"]]) == max(map(mean, of_weekday.values()))
        assert row["peak_demand"] == f"{max(map(mean, of_weekday.values())):.1f}"
        days, by, trips = bay.naive.time_out(cup_type)
        assert (row["time_out_days"], row["time_out_by"], row["time_out_trips"]) == (f"{days:.2f}", by, trips)
    assert one(answer["demand"])["peak_weekday"] == "saturday"
    assert {one(answer["demand"], c)["time_out_by"] for c in ("cup-300", "cup-450")} == {
        "known_cups",
        "first_in_first_out",
    }


def test_losses_are_those_of_the_events(bay):
    answer, naive = bay.ask(), bay.naive
    for cup_type in ("cup-300", "cup-450"):
        row, places = one(answer["losses"], cup_type), naive.places[cup_type]
        never = naive.never_returned(cup_type, naive.time_out(cup_type)[0])
        assert row["damaged"] == places["retired"] + places["damaged"]
        assert row["forfeited"] == naive.forfeited[cup_type]
        assert row["missing"] == places["unaccounted"] - naive.forfeited[cup_type]
        assert abs(row["never_returned"] - never) <= 1
        assert row["lost"] == sum(row[k] for k in ("damaged", "missing", "forfeited", "never_returned"))
        assert row["loss_rate"] == f"{row['lost'] / sum(naive.demand(cup_type)[0]):.4f}"
        assert row["loss_rate_by"] == "measured"
    assert one(answer["losses"])["damaged"] == 15 and one(answer["losses"])["forfeited"] == 13


TERMS = dict(service_level="0.98", stock_days=2, wash_days=1, horizon_days=180, growth="0.25", cup_price="1.80")


@pytest.mark.parametrize("cup_type", ["cup-300", "cup-450"])
def test_the_quantity_is_made_of_its_parts(bay, cup_type):
    answer, naive = bay.ask(**TERMS), bay.naive
    row, places, sites = one(answer["cup_types"], cup_type), naive.places[cup_type], answer["sites"]
    series, _ = naive.demand(cup_type)
    days, by, _ = naive.time_out(cup_type)
    lost = one(answer["losses"], cup_type)["lost"]
    par = {s: naive.par(s, cup_type, 0.98, 2, 0.25) for s, of in naive.issued if of == cup_type and s != "copper"}
    if cup_type == "cup-450":
        par["anchor"] = max(par["anchor"], 75)
    assert {s["site"]: s["par"] for s in sites if s["cup_type"] == cup_type and "par" in s} == par
    explained = math.ceil(mean(series) * days - 1e-6)
    out = places["with_customers"] if by == "first_in_first_out" else min(places["with_customers"], explained)
    expected = {
        "out": math.ceil(1.25 * mean(series) * days - 1e-6),
        "par": sum(par.values()),
        "wash": math.ceil(1.25 * mean(series) - 1e-6),
        "expected_losses": math.ceil(1.125 * mean(series) * 180 * min(lost / sum(series), 1) - 1e-6),
        "on_road": places["in_transit"],
        "at_sites": places["site_stock"],
        "with_customers": places["with_customers"],
        "out_counted": out,
    }
    assert {name: row[name] for name in expected} == expected
    needed = sum(expected[n] for n in ("out", "par", "wash", "expected_losses", "on_road"))
    in_service = expected["at_sites"] + expected["on_road"] + expected["out_counted"]
    assert (row["needed"], row["in_service"]) == (needed, in_service)
    assert (row["quantity"], row["surplus"]) == (max(needed - in_service, 0), max(in_service - needed, 0))
    cost = row["quantity"] * 180
    assert row["cost"] == f"{cost // 100}.{cost % 100:02}" and row["estimate"] == "made"
    assert places["in_transit"] == (10 if cup_type == "cup-300" else 0)


def test_a_stated_loss_rate_takes_the_place_of_the_measured_one(bay):
    plain, stated = bay.ask(), bay.ask(loss_rate="0.5", horizon_days=731)
    row = one(stated["losses"])
    assert (row["loss_rate"], row["loss_rate_by"], row["lost"]) == ("0.5000", "stated", one(plain["losses"])["lost"])
    wanted = math.ceil(mean(bay.naive.demand("cup-300")[0]) * 731 * 0.5 - 1e-6)
    assert one(stated["cup_types"])["expected_losses"] == wanted
    assert one(stated["cup_types"])["quantity"] > 0 and one(stated["trips"])["uses_expected"] == "2.0"


def test_trips_and_break_even(bay):
    """1.80 for a cup and 0.05 for each use, against 0.13 for a disposable cup of 11.5 g: 1.80 / 0.08 = 22.5, and 48 /
    11.5 = 4.2."""
    answer = bay.ask(
        cup_price="1.80", trip_cost="0.05", disposable_price="0.13", disposable_mass_g="11.5", cup_type="cup-300"
    )
    assert [row["cup_type"] for row in answer["cup_types"]] == ["cup-300"]
    row, trips = one(answer["trips"]), bay.naive.trips["cup-300"]
    assert (row["supplied"], row["trips"], row["mass_g"]) == (2700, trips, 48)
    assert row["trips_per_cup"] == f"{trips / 2700:.2f}"
    assert row["cost_per_trip"] == f"{1.80 * 2700 / trips + 0.05:.4f}"
    assert (row["uses_to_pay"], row["uses_to_weigh"]) == (23, 5)
    losses = one(answer["losses"])
    assert row["uses_expected"] == f"{losses_uses(losses, bay):.1f}"
    never = one(bay.ask(cup_price="1.80", trip_cost="0.13", disposable_price="0.13")["trips"])
    assert "uses_to_pay" not in never and "uses_to_weigh" not in never
    assert not one(bay.ask()["trips"]).keys() & {"cost_per_trip", "uses_to_pay", "uses_to_weigh"}


def losses_uses(losses, bay):
    return sum(bay.naive.demand("cup-300")[0]) / losses["lost"]


def test_each_assumption_says_where_it_comes_from(bay):
    rows = {row["assumption"]: row for row in bay.ask(growth="-0.10", cup_price="1.80")["assumptions"]}
    assert rows["growth"] == {"assumption": "growth", "value": "-0.10", "source": "stated"}
    assert rows["service_level"] == {"assumption": "service_level", "value": "0.95", "source": "default"}
    assert rows["loss_rate"] == {"assumption": "loss_rate", "source": "measured"}
    assert rows["disposable_price"] == {"assumption": "disposable_price", "source": "none"}
    operation = bay.admin.get("/openapi.json")["paths"]["/v1/purchases"]["get"]
    asked = {p["name"] for p in operation["parameters"] if p.get("in") == "query"}
    assert asked >= set(rows) and "Little" in operation["description"]


def test_too_little_history_gives_no_number(bay):
    answer = bay.ask(cup_price="1.80")
    estimates = {row["cup_type"]: row["estimate"] for row in answer["cup_types"]}
    assert estimates == {
        "cup-300": "made",
        "cup-450": "made",
        "cup-600": "too_short",
        "cup-700": "no_demand",
        "cup-800": "no_returns",
    }
    for cup_type in ("cup-600", "cup-700", "cup-800"):
        assert not one(answer["cup_types"], cup_type).keys() & {"quantity", "surplus", "needed", "cost", "out"}
        assert cup_type not in {row["cup_type"] for row in answer["losses"]}
    assert one(answer["cup_types"], "cup-700")["at_sites"] == 37
    copper = [row for row in answer["sites"] if row["site"] == "copper"]
    assert {row["par_by"] for row in copper} == {"unknown"} and not any("par" in row for row in copper)
    assert one(answer["cup_types"])["sites_unknown"] == 1


def test_csv_has_the_same_figures(bay):
    answer = bay.admin.send("GET", "/v1/purchases?scheme=tern-bay&cup_price=1.80", headers=CSV)
    assert f"purchases_tern-bay_{bay.today}.csv" in answer.headers["Content-Disposition"]
    rows = {row["cup_type"]: row for row in csv.DictReader(io.StringIO(answer.body.decode()))}
    told = bay.ask(cup_price="1.80")
    for part in ("cup_types", "demand", "losses", "trips"):
        for row in told[part]:
            line = rows[row["cup_type"]]
            assert {name: line[name] for name in row} == {name: str(value) for name, value in row.items()}
    assert rows["cup-700"]["quantity"] == "" and rows["cup-300"]["currency"] == "CAD"


def test_the_page_has_a_form_a_picture_and_the_caution(bay):
    answer = bay.admin.send("GET", "/v1/purchases?scheme=tern-bay&cup_price=1.80", headers=HTML)
    assert answer.status == 200 and tidy(answer.body) == ""
    page = Page(answer.body)
    fields = {field.get("name") for field in page.all("input", "select")}
    assert fields >= {"cup_type", "service_level", "stock_days", "wash_days", "horizon_days", "growth", "loss_rate"}
    assert fields >= {"cup_price", "trip_cost", "disposable_price", "disposable_mass_g"}
    [picture] = page.all("svg")
    assert len(list(picture.all("rect"))) == 2
    assert "need evidence that local rules accept" in page.root.text
    plan = Page(bay.admin.send("GET", "/v1/plans?scheme=tern-bay", headers=HTML).body)
    assert any(link.startswith("/v1/purchases?scheme=tern-bay") for link in plan.links)


@pytest.mark.parametrize(
    "query",
    [
        "service_level=0.4",
        "service_level=1",
        "stock_days=0",
        "stock_days=15",
        "wash_days=31",
        "horizon_days=0",
        "horizon_days=732",
        "growth=-0.95",
        "growth=9.1",
        "growth=much",
        "growth=999999999999999999",
        "loss_rate=1.1",
        "cup_price=1.8",
        "cup_price=-1.80",
        "trip_cost=0.001",
        "disposable_price=x",
        "disposable_mass_g=0",
        "disposable_mass_g=-1",
        "cup_type=no-cup",
    ],
)
def test_refused_queries(bay, query):
    refused = bay.admin.refused("GET", f"/v1/purchases?scheme=tern-bay&{query}", None, 422, "parameter_invalid")
    assert refused.json["errors"][0]["parameter"] == query.partition("=")[0]


def test_the_scheme_must_be_known(bay):
    bay.admin.refused("GET", "/v1/purchases", None, 422, "parameter_missing")
    bay.admin.refused("GET", "/v1/purchases?scheme=no-bay", None, 422, "parameter_invalid")


def test_nothing_is_recorded(bay):
    before = len(bay.admin.feed("tern-bay"))
    bay.ask()
    assert len(bay.admin.feed("tern-bay")) == before
