# SPDX-License-Identifier: ISC
"""The demo's fortnight, as its reader meets it: the text that it prints, and the page of each story, with its picture.
The demo's own program trades with a part of its custom. The expected figures are those that the stories tell."""
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from harness import wait_until
from pages import Page

TOP = Path(__file__).parents[2]
BUSTLE = "0.3"
LINES_MAX, WIDTH_MAX = 470, 130  # a stranger reads it once
HTML = {"Accept": "text/html"}
PLACE = re.compile(r"^  (\S.*?) +http://[^/]+(/\S+)$", re.M)


class Fortnight:
    def __init__(self, service, folder):
        (folder / "admin").write_text(service.create_key("admin", "admin", holder="Odile") + "\n")
        trade = [sys.executable, TOP / "deploy/trade", f"http://127.0.0.1:{service.port}", folder, BUSTLE]
        self.told = subprocess.run(trade, check=True, stdout=subprocess.PIPE, text=True).stdout
        self.admin = service.admin
        self.places = dict(PLACE.findall(self.told))
        behind = (
            "SELECT FROM scheme_head h LEFT JOIN sighting_place p USING (scheme)"
            " WHERE h.last_entry > coalesce(p.entry, 0)"
        )
        wait_until(lambda: not service.database.rows(behind), "all cups are followed")

    def page(self, place):
        answer = self.admin.send("GET", self.places[place], headers=HTML)
        assert answer.status == 200, (place, answer.body)
        return Page(answer.body)

    def json(self, place):
        return self.admin.get(self.places[place])


@pytest.fixture(scope="module")
def fortnight(shared, tmp_path_factory):
    return Fortnight(shared, tmp_path_factory.mktemp("keys"))


def test_it_is_short_and_everything_holds(fortnight):
    lines = fortnight.told.splitlines()
    assert len(lines) <= LINES_MAX and max(map(len, lines)) <= WIDTH_MAX
    assert [line for line in lines if "day 14 of 14" in line] and "raw rows: holds" in fortnight.told
    assert {c["verdict"] for c in fortnight.admin.get("/v1/checks")["items"]} == {"holds"}
    for scheme in ("tern-bay", "eider-sound"):
        days = fortnight.admin.items(f"/v1/schemes/{scheme}/days", limit=100)
        assert Counter(d["state"] for d in days)["closed"] == 14


def test_the_readme_names_each_page(fortnight):
    """In the order in which the demo prints them, and each page has a picture that is described in words."""
    walk = (TOP / "README.md").read_text().partition("## Two minutes in a browser")[2].partition("\n## ")[0]
    named = re.findall(r"^- \*(.+?)\*:", walk, re.M)
    assert [name[0].lower() + name[1:] for name in named] == list(fortnight.places)
    for place in fortnight.places:
        [svg] = fortnight.page(place).all("svg")
        assert svg.get("role") == "img" and svg.first("title").text and svg.first("desc").text, place


def test_shipments_wait_for_whom_they_should(fortnight):
    assert fortnight.page("shipments that wait, by age").bars() == [
        ("not late", "sender", "1"),
        ("3 to 7 days", "receiver", "1"),
        ("3 to 7 days", "accountant", "1"),
        ("more than 7 days", "sender", "1"),
    ]


def test_the_lost_shipment_was_closed_at_the_senders_cost(fortnight):
    page, shipment = fortnight.page("the shipment that got lost"), fortnight.json("the shipment that got lost")
    assert [(step, figure) for step, _, figure in page.bars()] == [
        ("requested", "30"),
        ("dispatched", "30"),
        ("lost", "30"),
    ]
    assert page.facts["State"] == "arrived" and page.facts["Bearer"] == "sender"
    [loss] = [line for line in shipment["events"] if line["kind"] == "transit_loss"]
    legs = fortnight.admin.get(f"/v1/entries/{loss['entry']}", scheme="tern-bay")["legs"]
    # 30 cups of 2.00, which the store's site owes
    assert {leg["account"]: leg["amount"] for leg in legs if "amount" in leg} == {
        "site_clearing(netloft)": "60.00",
        "loss_charges": "-60.00",
    }


def test_cups_are_gone_by_counts_and_vans(fortnight):
    bars = fortnight.page("cups gone: count and losses").bars()
    assert {bar for bar in bars if bar[0] in ("netloft", "plover")} == {
        ("netloft", "cup-240", "30"),
        ("plover", "cup-300", "4"),
    }
    assert ("ferry", "cup-300", "5") in bars and ("copper", "cup-300", "3") in bars
    [late] = [e for e in fortnight.admin.items("/v1/events", scheme="tern-bay", kind="count", limit=1000) if e["late"]]
    assert late["event"]["site"] == "ferry"


def test_cups_travel_and_one_is_read_twice(fortnight):
    travelled = fortnight.json("a cup that travelled")
    assert len({s["site"] for s in travelled["sightings"]}) > 1 and travelled["sighting_count"] > 4
    lanes = [t.text for t in fortnight.page("a cup that travelled").root.first("svg").all("text")]
    assert "with customers" in lanes and len(lanes) > 4
    twice = fortnight.json("the cup that was read twice")
    # Others may have come and gone: tills of several participants post a slice of the day one after the other.
    [waits] = [x for x in twice["exceptions"] if x["open"]]
    assert waits["exception"] == "cup_not_out"
    reads = [(s["site"], s["occurred_at"]) for s in reversed(twice["sightings"]) if s["kind"] == "return"]
    assert any([a[0], b[0]] == ["brick", "copper"] for a, b in zip(reads, reads[1:]))
    # GS1's prefix 952 is for demonstrations and examples (its table of prefixes, from memory).
    assert {c["cup_id"][:4] for c in fortnight.admin.items("/v1/cups", limit=1000)} == {"0952"}
    shown = fortnight.page("the cup that was read twice").table("Exceptions")
    assert ("cup_not_out", waits["exception_id"]) in [(row["Exception"], row["Exception id"]) for row in shown]


def test_the_picture_of_trips_is_that_of_the_cups(fortnight):
    """Each trip ends with the sighting of a return or an exchange, by the cups' own pages."""
    rows = fortnight.json("trips of numbered cups")["items"]
    bars = fortnight.page("trips of numbered cups").bars()
    assert [(label, int(figure)) for label, _, figure in bars] == [(str(r["trips"]), r["cups"]) for r in rows]
    issued = 0
    for cup in fortnight.admin.items("/v1/cups", limit=1000):
        sightings = fortnight.admin.get(f"/v1/cups/{cup['cup_id']}")["sightings"]
        issued += any(s["place"] == "with_customers" for s in sightings)
    assert sum(r["cups"] for r in rows) == issued > 20


def test_broken_cups_come_back_as_new_ones(fortnight):
    rows = {r["cup_type"]: r for r in fortnight.json("broken cups made new")["items"]}
    [batch] = fortnight.admin.items("/v1/remaking-batches", scheme="tern-bay")
    for line in fortnight.admin.get(f"/v1/remaking-batches/tern-bay/{batch['batch']}")["cups"]:
        row = rows[line["cup_type"]]
        assert row["batched"] == line["quantity"] <= row["retired"]
        assert row["remade"] == (line["quantity"] * 2 // 3 if line["quantity"] > 1 else 0), "two of three"
    page = fortnight.page("broken cups made new")
    assert {label: int(figure) for label, _, figure in page.bars()} == {c: r["retired"] for c, r in rows.items()}
    marks = [e for e in page.root.first("svg").all("line") if e.has_class("target")]
    assert len(marks) == len(rows)


def test_cups_come_back_in_the_other_scheme(fortnight):
    """Five cup-300 at 240 ISK and two cup-450 at 340, as two people agreed: 1880 ISK. The rate of 0.0105 gives 10.08,
    2.52 and 7.14 CAD for the three returns. A van brought four cup-300 home."""
    [agreed] = fortnight.admin.items("/v1/schemes/tern-bay/agreements")
    assert {agreed[f"signed_for_{side}"]["holder"] for side in ("home", "host")} == {"Odile", "Tom"}
    rows = fortnight.json("cups at the other scheme")["items"]
    assert {r["item"]: (r["visiting"], r["on_the_way"], r["abroad"]) for r in rows if r["item"] != "money"} == {
        "cup-300": (1, 0, 1),
        "cup-450": (2, 0, 2),
    }
    [money] = [r for r in rows if r["item"] == "money"]
    assert (money["agreed"], money["by_host"], money["by_home"]) == ("1880", "1880", "19.74")
    assert fortnight.page("cups at the other scheme").bars()[0][-1] == "1"


def test_the_plan_was_carried_out(fortnight):
    """Its shipments have arrived, as many cups as the demo says; a new plan has other moves, or none."""
    said = re.search(r"([\d,]+) cups on (\d+) ways cost", fortnight.told)
    open_day = max(d["date"] for d in fortnight.admin.items("/v1/schemes/tern-bay/days", limit=100))
    arrived = fortnight.admin.items("/v1/shipments", scheme="tern-bay", state="arrived", limit=1000)
    planned = [s for s in arrived if s["wanted_on"] == open_day]
    assert len(planned) == int(said[2]) and sum(s["received"] for s in planned) == int(said[1].replace(",", ""))
    page = fortnight.page("a plan on the map")
    ways = {(row["From"], row["To"]) for row in page.table("Shipments")}
    arrows = [e for e in page.root.first("svg").all("path") if e.has_class("line")]
    assert len(arrows) == len(ways) > 0
