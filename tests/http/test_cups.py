# SPDX-License-Identifier: ISC
"""Cups with identity: events name some of their cups, and the service derives where each cup is. The model here is a
walk over the events by hand: each says where its cups are then."""
import json
import os
import random
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import quote

import pytest

from harness import Service, wait_until
from network import at, business_day, event, reference, scheme
from pages import Page

MIGRATION = Path(__file__).parents[2] / "sql/migrations/0047_known_cups.sql"
SITES = {
    "anchor": ("tern-bay", "hearth"),
    "brick": ("tern-bay", "miller"),
    "dock": ("tern-bay", "quay", {"kind": "hub"}),
}
# Asset types: the GRAI of GS1's data dictionary page of `grai` (BDT00000065, 2021-11-16), and that of gs1/EPCIS's
# urn:epc:id:grai:4012345.55555.987.
SMALL, LARGE = "07300015200154", "04012345555554"
TYPES = [
    {"cup_type": "cup-300", "name": "Cup 300 ml", "volume_ml": 300, "mass_g": 48, "grai": SMALL},
    {"cup_type": "cup-450", "name": "Cup 450 ml", "volume_ml": 450, "mass_g": 62, "grai": LARGE},
]


def named(*serials, quantity=None, cup_type="cup-300", **more):
    """A list of a single line that names cups by their serial numbers."""
    base = SMALL if cup_type == "cup-300" else LARGE
    ids = [base + s for s in serials]
    count = {} if "counted" in more else {"quantity": quantity or len(ids)}
    return [{"cup_type": cup_type, **count, **more, "ids": ids}]


class Network:
    """A network of three sites on a day that is open."""

    def __init__(self, service):
        self.service, self.admin = service, service.admin
        self.day = business_day() - timedelta(days=1)
        document = reference(
            [scheme("tern-bay", self.day, {"cup-300": "2.50", "cup-450": "3.50"})], SITES, cup_types=TYPES
        )
        self.admin.load(document)

    def post(self, kind, site, clock, client=None, **members):
        stated = event(kind, site, at(self.day, clock), **members)
        answer = (client or self.admin).send("POST", "/v1/events", stated)
        assert answer.status == 201, answer.text
        return stated

    def followed(self):
        """Waits until all entries were looked at."""
        wait_until(
            lambda: not self.service.database.rows(
                "SELECT FROM scheme_head h LEFT JOIN sighting_place p USING (scheme)"
                " WHERE h.last_entry > coalesce(p.entry, 0)"
            )
        )

    def cup(self, serial, client=None, base=SMALL):
        self.followed()
        answer = (client or self.admin).send("GET", f"/v1/cups/{quote(base + serial, safe='')}")
        assert answer.status in (200, 404), answer.text
        return answer.json if answer.status == 200 else None

    def where(self, serial):
        found = self.cup(serial)["whereabouts"]
        return found["place"], found.get("site")


@pytest.fixture
def net(service):
    return Network(service)


def test_a_cup_is_where_the_last_event_says(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2", "a/b%", quantity=50))
    assert net.where("A1") == net.where("a/b%") == ("site_stock", "anchor")
    net.post("issue", "anchor", "09:00", issued=named("A1", "A2"))
    assert net.where("A1") == ("with_customers", None)
    net.post("exchange", "brick", "10:00", returned=named("A1"), issued=named("A1"))
    assert net.where("A1") == ("with_customers", None), "in an exchange the return comes first"
    net.post("return", "brick", "11:00", returned=named("A2", condition="damaged"))
    assert net.where("A2") == ("damaged", "brick")
    net.post("damage", "anchor", "11:00", cups=named("a/b%"))
    assert net.where("a/b%") == ("damaged", "anchor")
    net.post("retire", "anchor", "11:30", cups=named("a/b%"))
    assert net.where("a/b%") == ("retired", None)
    net.post("forfeit", None, "12:00", scheme="tern-bay", cups=named("A1"))
    assert net.where("A1") == ("unaccounted", None)
    net.post("reinstate", None, "12:30", scheme="tern-bay", cups=named("A1"))
    assert net.where("A1") == ("with_customers", None)
    net.post("count", "dock", "13:00", cups=named("A1", counted=1))
    assert net.where("A1") == ("site_stock", "dock")
    assert [s["kind"] for s in net.cup("A1")["sightings"]] == [
        "count", "reinstate", "forfeit", "exchange", "exchange", "issue", "supply",
    ]  # fmt: skip
    assert net.cup("A9") is None


def test_late_and_reversed_events_keep_the_order_in_which_things_happened(net):
    net.post("supply", "anchor", "06:00", cups=named("A1"))
    back = net.post("return", "brick", "11:00", returned=named("A1"))
    net.post("issue", "anchor", "09:00", issued=named("A1"))  # posted later, happened before
    assert net.where("A1") == ("site_stock", "brick")
    undo = net.post("reversal", "brick", "12:00", reverses=back["event_id"])
    cup = net.cup("A1")
    assert cup["whereabouts"]["place"] == "with_customers"
    assert cup["sightings"][0]["reversed_by_entry"] == net.admin.get(f"/v1/events/{undo['event_id']}")["entry"]


def test_a_receipt_brings_what_its_dispatch_names(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2", "A3", quantity=50))
    sent = net.post("dispatch", "anchor", "08:00", to="dock", cups=named("A1", "A2", "A3", quantity=20))
    found = net.cup("A1")["whereabouts"]
    assert (found["place"], found["to"]) == ("in_transit", "dock")
    arrived = {"dispatch": sent["event_id"]}
    net.post("receipt", "dock", "09:00", **arrived, cups=named("A2", quantity=4))
    net.post("receipt", "dock", "09:10", **arrived, cups=[{"cup_type": "cup-300", "quantity": 5}])
    assert net.where("A1") == ("in_transit", None), "the dispatch is not complete"
    net.post("transit_loss", "anchor", "09:20", **arrived, bearer="operator", cups=named("A3", quantity=1))
    net.post("receipt", "dock", "09:30", **arrived, cups=[{"cup_type": "cup-300", "quantity": 10}])
    assert [net.where(s) for s in ("A1", "A2", "A3")] == [
        ("site_stock", "dock"), ("site_stock", "dock"), ("unaccounted", None),
    ]  # fmt: skip
    assert [s["brought"] for s in net.cup("A1")["sightings"]] == [True, False, False]


def test_what_a_receipt_brings_does_not_depend_on_what_is_looked_at_together(net):
    """All at once: a receipt that is reversed before the next one, and one more receipt than was sent."""
    sent = event("dispatch", "anchor", at(net.day, "08:00"), to="dock", cups=named("A1", "A2"))
    arrived = {"dispatch": sent["event_id"]}
    first = event("receipt", "dock", at(net.day, "09:00"), **arrived, cups=named("A1", quantity=2))
    net.admin.post_many(
        [
            event("supply", "anchor", at(net.day, "06:00"), cups=named("A1", "A2")),
            sent,
            first,
            event("reversal", "dock", at(net.day, "09:10"), reverses=first["event_id"]),
            event("receipt", "dock", at(net.day, "09:20"), **arrived, cups=plain(2)),
            event("receipt", "brick", at(net.day, "09:30"), **arrived, cups=plain(2)),
        ]
    )
    assert net.where("A1") == net.where("A2") == ("site_stock", "dock")
    assert [(s["kind"], s["brought"]) for s in net.cup("A1")["sightings"]] == [
        ("receipt", True), ("receipt", False), ("dispatch", False), ("supply", False),
    ]  # fmt: skip
    net.admin.assert_holds()


def test_an_opening_names_cups_at_its_places(net):
    shipment = "6f1c0000-0000-4000-8000-00000000000b"
    net.admin.send("POST", "/v1/keys", {"name": "bea", "holder": "Bea", "role": "accountant"})
    other = net.service.client(net.service.create_key("ann", "accountant"))
    stated = event(
        "opening", None, at(net.day, "03:00"), scheme="tern-bay", bank="0.00",
        places=[
            {"site": "anchor", **named("A1", "A2", quantity=9)[0]},
            {"site": "anchor", "condition": "damaged", **named("A3")[0]},
            {"place": "with_customers", **named("A4")[0]},
            {"place": "retired", **named("A5")[0]},
        ],
        shipments=[
            {
                "dispatch": shipment, "site": "anchor", "to": "dock",
                "cups": named("A6", quantity=2) + named("A7", condition="damaged"),
            },
        ],
    )  # fmt: skip
    assert net.admin.send("POST", "/v1/events", stated).status == 202
    assert other.send("POST", f"/v1/openings/{stated['event_id']}/approve?scheme=tern-bay", {}).status == 200
    assert [net.where(f"A{n}") for n in range(1, 7)] == [
        ("site_stock", "anchor"), ("site_stock", "anchor"), ("damaged", "anchor"), ("with_customers", None),
        ("retired", None), ("in_transit", None),
    ]  # fmt: skip
    net.post("receipt", "dock", "08:00", dispatch=shipment, cups=plain(2) + plain(1, condition="damaged"))
    assert net.where("A6") == ("site_stock", "dock")
    assert net.where("A7") == ("damaged", "dock")


SPELLINGS = [
    SMALL + "A/1",
    f"(8003){SMALL}A/1",
    "urn:epc:id:grai:7300015.20015.A%2F1",
    f"https://example.org/cups/8003/{SMALL}A%2F1?x=1",
    f"]Q3\x1d8003{SMALL}A/1",
]


def test_all_spellings_are_one_cup_and_one_event(net):
    first = net.post("supply", "anchor", "06:00", cups=[{"cup_type": "cup-300", "quantity": 1, "ids": [SPELLINGS[0]]}])
    for spelling in SPELLINGS:
        again = {**first, "cups": [{"cup_type": "cup-300", "quantity": 1, "ids": [spelling]}]}
        answer = net.admin.send("POST", "/v1/events", again)
        assert (answer.status, answer.json["status"]) == (200, "duplicate"), spelling
        assert net.cup("A/1") == net.admin.get(f"/v1/cups/{quote(spelling, safe='')}")
        assert [c["cup_id"] for c in net.admin.items(f"/v1/cups?cup_id={quote(spelling, safe='')}")] == [SMALL + "A/1"]
    assert net.admin.get(f"/v1/events/{first['event_id']}")["event"]["cups"][0]["ids"] == [SMALL + "A/1"]
    for other in ({"ids": [SMALL + "A/2"]}, {}):
        answer = net.admin.send(
            "POST", "/v1/events", {**first, "cups": [{"cup_type": "cup-300", "quantity": 1, **other}]}
        )
        assert answer.json["reason"] == "event_id_conflict"


def test_what_is_malformed_is_refused_with_its_place(net):
    for ids, quantity, faults in [
        (["x", SMALL + "1"], 2, [("/cups/0/ids/0", "bad_format")]),
        ([SMALL], 1, [("/cups/0/ids/0", "bad_format")]),
        ([7], 1, [("/cups/0/ids/0", "wrong_type")]),
        ("x", 1, [("/cups/0/ids", "wrong_type")]),
        ([], 1, [("/cups/0/ids", "too_few")]),
        ([SMALL + "1", SMALL + "2"], 1, [("/cups/0/ids", "too_many")]),
        ([f"{SMALL}{n}" for n in range(1001)], 2000, [("/cups/0/ids", "too_many")]),
    ]:
        stated = event(
            "supply", "anchor", at(net.day), cups=[{"cup_type": "cup-300", "quantity": quantity, "ids": ids}]
        )
        answer = net.admin.send("POST", "/v1/events", stated)
        assert answer.status == 422 and [(f["pointer"], f["reason"]) for f in answer.json["errors"]] == faults
    net.post("supply", "anchor", "06:00", cups=named(*map(str, range(1000))))
    assert net.where("999") == ("site_stock", "anchor")


def test_identity_changes_no_posting(net):
    plain = [{"cup_type": "cup-300", "quantity": 3}]
    legs = []
    for lines in (plain, named("A1", "A2", "A3")):
        net.post("supply", "anchor", "06:00", cups=lines)
        sold = net.post("issue", "anchor", "09:00", issued=lines)
        legs.append(net.admin.get(f"/v1/events/{sold['event_id']}")["legs"])
    assert legs[0] == legs[1]


def test_a_key_sees_only_what_happened_at_its_sites(net):
    till = net.service.client(net.service.create_key("till", "pos", sites=["brick"]))
    miller = net.service.client(net.service.create_key("miller", "participant", participant="miller"))
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2"))
    net.post("issue", "anchor", "07:00", issued=named("A1"))
    for client in (till, miller):
        assert net.cup("A1", client) is None and client.items("/v1/cups") == []
        assert client.items(f"/v1/cups?cup_id={SMALL}A1") == []
    net.post("return", "brick", "08:00", till, returned=named("A1"))
    for client in (till, miller):
        seen = net.cup("A1", client)
        assert [s["site"] for s in seen["sightings"]] == ["brick"] and seen["whereabouts"]["site"] == "brick"
        assert [c["cup_id"] for c in client.items("/v1/cups")] == [SMALL + "A1"] and net.cup("A2", client) is None
    sent = net.post("dispatch", "brick", "09:00", to="dock", cups=named("A1"))
    net.post("receipt", "dock", "10:00", dispatch=sent["event_id"], cups=named("A1"))
    for client in (till, miller):
        seen = net.cup("A1", client)
        assert seen["sighting_count"] == len(seen["sightings"]) == 2
        assert "whereabouts" not in seen and "cup_type" not in seen and "dock" not in json.dumps(seen)
        [listed] = client.items("/v1/cups")
        assert listed == {"cup_id": SMALL + "A1"}
    assert len(net.admin.items("/v1/cups", limit=1)) == 2


def test_each_entry_is_looked_at_once_by_several_instances_that_are_killed(net):
    others = [Service(net.service.database) for _ in range(2)]
    for other in others:
        other.start()
    stated = [
        event("supply", "anchor", at(net.day, "06:00"), cups=named(*(f"{n}x{i}" for i in range(20)), quantity=30))
        for n in range(60)
    ]
    for n, one in enumerate(stated):
        assert net.admin.send("POST", "/v1/events", one).status == 201
        if n == 30:
            others[0].kill()
    net.followed()
    for other in others[1:]:
        other.stop()
    assert net.service.database.rows("SELECT count(*), count(DISTINCT cup) FROM sighting") == [(1200, 1200)]


# Exceptions and gaps ------------------------------------------------------------------------------------------------
def found(net, **query):
    """(kind, serial, state) of the exceptions of cups in the list, in the order of their entries."""
    net.followed()
    rows = net.admin.items("/v1/reports/exceptions", scheme="tern-bay", **query)
    return [(r["kind"], r["cup_id"][14:], r["state"]) for r in rows if r["kind"].startswith("cup_")]


def plain_counted(counted):
    return [{"cup_type": "cup-300", "counted": counted}]


def plain(quantity, **more):
    return [{"cup_type": "cup-300", "quantity": quantity, **more}]


def test_a_round_of_named_cups_brings_nothing_to_light(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2"))
    for hour in range(7, 12):
        net.post("issue", "anchor", f"{hour:02}:00", issued=named("A1"))
        net.post("return", "brick", f"{hour:02}:10", returned=named("A1"))
        sent = net.post("dispatch", "brick", f"{hour:02}:20", to="anchor", cups=named("A1"))
        net.post("receipt", "anchor", f"{hour:02}:30", dispatch=sent["event_id"], cups=plain(1))
    net.post("count", "anchor", "12:00", cups=named("A1", "A2", counted=2))
    assert found(net) == [] and net.cup("A1")["gaps"] == 0 and net.cup("A1")["exceptions"] == []


@pytest.mark.parametrize(
    "kind, events",
    [
        ("cup_not_out", [("return", "brick", {"returned": named("A1")})]),
        ("cup_issued_elsewhere", [("issue", "brick", {"issued": named("A1")})]),
        (
            "cup_issued_elsewhere",
            [("issue", "anchor", {"issued": named("A1")}), ("issue", "anchor", {"issued": named("A1")})],
        ),
        ("cup_elsewhere", [("count", "brick", {"cups": named("A1", counted=1)})]),
        ("cup_elsewhere", [("dispatch", "brick", {"cups": named("A1"), "to": "dock"})]),
        ("cup_supplied_twice", [("supply", "brick", {"cups": named("A1")})]),
        ("cup_after_end", [("retire", "anchor", {"cups": named("A1")}), ("issue", "anchor", {"issued": named("A1")})]),
        ("cup_other_type", [("issue", "anchor", {"issued": [{**named("A1")[0], "cup_type": "cup-450"}]})]),
        ("cup_twice", [("issue", "anchor", {"issued": named("A1", "A1")})]),
        ("cup_never_supplied", [("return", "brick", {"returned": named("X1")})]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_an_exception(net, kind, events):
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2", quantity=2))
    for n, (event_kind, site, members) in enumerate(events):
        last = net.post(event_kind, site, f"{9 + n:02}:00", **members)
    serial = "X1" if kind == "cup_never_supplied" else "A1"
    assert found(net) == [(kind, serial, "open")]
    entry = net.admin.get(f"/v1/events/{last['event_id']}")["entry"]
    [listed] = [x for x in net.admin.items("/v1/reports/exceptions", scheme="tern-bay") if x["kind"] == kind]
    assert (listed["entry"], listed["amount"], listed["quantity"]) == (entry, None, None)
    assert listed["date"] >= str(net.day), "dated the day on which it came to light"
    shown = net.admin.get(f"/v1/exceptions/{listed['exception_id']}")
    assert shown["cup_id"].endswith(serial) and shown["exception"] == kind
    if kind not in ("cup_never_supplied", "cup_other_type"):
        assert (shown["other_scheme"], shown["other_entry"]) == (
            "tern-bay",
            entry if kind == "cup_twice" else entry - 1,
        )
    assert net.admin.send("POST", f"/v1/exceptions/{listed['exception_id']}/resolve", {"note": "seen"}).status == 200
    assert found(net, state="open") == []
    replay = net.admin.send("POST", "/v1/events", last)
    assert replay.json["status"] == "duplicate" and kind not in [x["exception"] for x in replay.json["exceptions"]]


def test_a_later_event_or_a_reversal_resolves_it(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2"))
    net.post("return", "brick", "11:00", returned=named("A1"))
    assert found(net) == [("cup_not_out", "A1", "open")]
    issue = net.post("issue", "anchor", "10:00", issued=named("A1"))  # late: it explains the return
    assert found(net) == [("cup_not_out", "A1", "resolved")]
    undo = net.post("reversal", "anchor", "12:00", reverses=issue["event_id"])
    assert found(net) == [("cup_not_out", "A1", "resolved"), ("cup_not_out", "A1", "open")]
    back = net.admin.items("/v1/events", scheme="tern-bay", kind="return")[0]["event"]["event_id"]
    net.post("reversal", "brick", "12:30", reverses=back)
    assert [state for _, _, state in found(net)] == ["resolved", "resolved"] and undo
    assert [x["open"] for x in net.cup("A1")["exceptions"]] == [False, False]


def test_a_gap_is_counted_and_no_exception(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2", quantity=50))
    net.post("issue", "anchor", "07:00", issued=plain(3))  # one of these may have been A1
    net.post("return", "brick", "08:00", returned=named("A1"))
    net.post("return", "brick", "08:30", returned=named("A2"))
    assert found(net) == [] and [net.cup(s)["gaps"] for s in ("A1", "A2")] == [1, 1]
    net.post("count", "dock", "09:00", cups=named("A1", counted=1))
    assert found(net) == [("cup_elsewhere", "A1", "open")]
    net.post("dispatch", "brick", "08:45", to="dock", cups=plain(4))  # posted late, and without a name
    assert found(net) == [("cup_elsewhere", "A1", "resolved")] and net.cup("A1")["gaps"] == 2
    net.post("count", "dock", "10:00", cups=named("A1", counted=1))  # finds that none is missing
    net.post("supply", "dock", "10:10", cups=plain(5))
    net.post("count", "dock", "10:20", cups=plain_counted(3))  # A1 may be among the two that are missing
    net.post("count", "anchor", "11:00", cups=named("A1", counted=1))
    assert found(net) == [("cup_elsewhere", "A1", "resolved")] and net.cup("A1")["gaps"] == 3


def test_a_gap_is_looked_at_again_when_the_entry_that_explains_it_is_reversed(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", quantity=50))
    sold = net.post("issue", "anchor", "07:00", issued=plain(3))  # one of these may have been A1
    net.post("return", "brick", "08:00", returned=named("A1"))
    assert found(net) == [] and net.cup("A1")["gaps"] == 1
    again = net.post("issue", "anchor", "07:10", issued=plain(1))  # or this one
    net.post("reversal", "anchor", "09:00", reverses=sold["event_id"])
    assert found(net) == [] and net.cup("A1")["gaps"] == 1, "the other issue explains it as well"
    net.post("reversal", "anchor", "09:10", reverses=again["event_id"])
    assert found(net) == [("cup_not_out", "A1", "open")] and net.cup("A1")["gaps"] == 0
    net.post("issue", "anchor", "07:20", issued=plain(1))
    assert found(net) == [("cup_not_out", "A1", "resolved")] and net.cup("A1")["gaps"] == 1


def test_a_finding_that_stands_follows_the_latest_sighting_before_it(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", quantity=9))
    net.post("supply", "dock", "06:00", cups=plain(9))
    sold = net.post("issue", "brick", "11:00", issued=named("A1"))
    back = net.post("count", "dock", "10:00", cups=named("A1", counted=9))  # late: now it was at the dock before
    entries = {e["event_id"]: net.admin.get(f"/v1/events/{e['event_id']}")["entry"] for e in (sold, back)}
    net.followed()
    rows = [r for r in net.admin.items("/v1/reports/exceptions", scheme="tern-bay", state="open") if r["cup_id"]]
    assert [(r["kind"], r["entry"]) for r in rows] == [
        ("cup_issued_elsewhere", entries[sold["event_id"]]),
        ("cup_elsewhere", entries[back["event_id"]]),
    ]
    shown = net.admin.get(f"/v1/exceptions/{rows[0]['exception_id']}")
    assert shown["other_entry"] == entries[back["event_id"]]
    net.post("dispatch", "dock", "10:30", to="brick", cups=plain(2))  # may have sent it
    assert found(net, state="open") == [("cup_elsewhere", "A1", "open")] and net.cup("A1")["gaps"] == 1


def test_cups_of_another_dispatch_explain_nothing(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", quantity=50))
    sent = [net.post("dispatch", "anchor", "07:00", to="dock", cups=c) for c in (named("A1", quantity=9), plain(9))]
    net.post("receipt", "dock", "08:00", dispatch=sent[1]["event_id"], cups=plain(9))
    net.post("return", "brick", "09:00", returned=named("A1"))
    assert found(net) == [("cup_not_out", "A1", "open")] and net.cup("A1")["gaps"] == 0
    net.post("receipt", "dock", "08:10", dispatch=sent[0]["event_id"], cups=plain(4))  # in part: A1 may be among them
    assert found(net) == [("cup_not_out", "A1", "resolved")] and net.cup("A1")["gaps"] == 1


def test_a_cup_that_one_event_names_as_sound_and_as_damaged_is_named_twice(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", quantity=9))
    net.post("dispatch", "anchor", "07:00", to="dock", cups=named("A1") + named("A1", condition="damaged"))
    assert found(net) == [("cup_twice", "A1", "open")]


def test_a_person_has_resolved_what_an_event_explains_and_a_reversal_brings_back(net):
    """It was resolved once, and stays so. After the reversal it is another exception, which is open."""
    net.post("supply", "anchor", "06:00", cups=named("A1"))
    net.post("return", "brick", "11:00", returned=named("A1"))
    net.followed()
    [listed] = [r for r in net.admin.items("/v1/reports/exceptions", scheme="tern-bay") if r["cup_id"]]
    assert net.admin.send("POST", f"/v1/exceptions/{listed['exception_id']}/resolve", {"note": "seen"}).status == 200
    issue = net.post("issue", "anchor", "10:00", issued=named("A1"))
    assert found(net) == [("cup_not_out", "A1", "resolved")]
    assert net.admin.get(f"/v1/exceptions/{listed['exception_id']}")["resolved"]["note"] == "seen"
    net.post("reversal", "anchor", "12:00", reverses=issue["event_id"])
    assert found(net) == [("cup_not_out", "A1", "resolved"), ("cup_not_out", "A1", "open")]


def test_a_reversal_is_no_gap(net):
    net.post("supply", "anchor", "06:00", cups=named("A1"))
    more = net.post("supply", "anchor", "06:30", cups=plain(5))
    net.post("reversal", "anchor", "07:00", reverses=more["event_id"])
    net.post("return", "brick", "08:00", returned=named("A1"))
    assert found(net) == [("cup_not_out", "A1", "open")] and net.cup("A1")["gaps"] == 0


def test_as_many_strangers_as_were_supplied_without_identity(net):
    net.post("supply", "anchor", "06:00", cups=plain(2))
    net.post("supply", "anchor", "06:10", cups=named("A1"))
    for n in range(3):
        net.post("issue", "anchor", f"0{7 + n}:00", issued=named(f"X{n}"))
    assert found(net) == [("cup_never_supplied", "X2", "open")]
    net.post("supply", "brick", "06:20", cups=plain(1))
    assert found(net) == [("cup_never_supplied", "X2", "resolved")]


def test_a_reversal_leaves_room_for_fewer_strangers(net):
    """It comes to light with the reversal. The strangers that turned up last are those beyond."""
    more = net.post("supply", "anchor", "06:00", cups=plain(2))
    net.post("supply", "anchor", "06:10", cups=plain(1))
    for n in range(3):
        net.post("issue", "anchor", f"0{7 + n}:00", issued=named(f"X{n}"))
    assert found(net) == []
    net.post("reversal", "anchor", "10:00", reverses=more["event_id"])
    assert found(net) == [("cup_never_supplied", "X1", "open"), ("cup_never_supplied", "X2", "open")]
    net.post("supply", "brick", "06:20", cups=plain(1))
    assert found(net, state="open") == [("cup_never_supplied", "X2", "open")]
    net.post("supply", "brick", "06:30", cups=named("A1", quantity=3))
    assert found(net, state="open") == []
    net.admin.assert_holds()


def test_a_stranger_that_is_seen_again_stays_what_it_was(net):
    """There is room for two, so only the third is beyond, however often the first two turn up."""
    net.post("supply", "anchor", "06:00", cups=plain(2))
    for n in range(3):
        net.post("issue", "anchor", f"0{7 + n}:00", issued=named(f"X{n}"))
    for n in range(2):
        net.post("return", "anchor", f"1{n}:00", returned=named(f"X{n}"))
        assert found(net) == [("cup_never_supplied", "X2", "open")]
    net.admin.assert_holds()


def test_a_stranger_that_is_supplied_by_name_after_all_makes_room(net):
    net.post("supply", "anchor", "06:00", cups=plain(1))
    for n in range(2):
        net.post("issue", "anchor", f"0{7 + n}:00", issued=named(f"X{n}"))
    assert found(net) == [("cup_never_supplied", "X1", "open")]
    late = net.post("supply", "anchor", "06:30", cups=named("X0"))
    assert found(net, state="open") == []
    net.post("reversal", "anchor", "12:00", reverses=late["event_id"])
    assert found(net, state="open") == [("cup_never_supplied", "X0", "open")], "X1 has taken the room"
    net.admin.assert_holds()


def test_exceptions_of_cups_leave_closed_days_as_they_were(net):
    sold = net.post("issue", "anchor", "09:00", issued=named("A1"))
    net.admin.close("tern-bay", net.day)
    net.followed()
    before = found(net)
    today = net.day + timedelta(days=1)
    stated = event("return", "brick", at(today, "03:00"), returned=named("A2"))
    net.post("reversal", "anchor", "10:00", reverses=sold["event_id"])
    assert net.admin.send("POST", "/v1/events", stated).status == 201 and before == [
        ("cup_never_supplied", "A1", "open")
    ]
    assert found(net)[0] == ("cup_never_supplied", "A1", "resolved")
    net.admin.assert_holds()


# Trips ---------------------------------------------------------------------------------------------------------------
def test_trips_are_those_of_a_geometric_distribution(net):
    """A cup comes back from each issue with chance r, until it is lost. So the number of its issues has the geometric
    distribution with mean 1/(1-r) and variance r/(1-r)² (NIST/SEMATECH e-Handbook, section 1.3.6.6, from memory), and
    the report has the very figures of the sample."""
    rng, r, cups = random.Random(20260512), 0.75, 400
    issues = []
    while len(issues) < cups:
        n = 1
        while rng.random() < r:
            n += 1
        issues.append(n)
    mean, error = 1 / (1 - r), (r / (1 - r) ** 2 / cups) ** 0.5
    assert abs(sum(issues) / cups - mean) < 4 * error, "the sample is fit for the test"
    net.post("supply", "anchor", "05:00", cups=named(*map(str, range(cups))))
    stated = []
    for turn in range(max(issues)):
        out = [str(c) for c in range(cups) if issues[c] > turn]
        back = [c for c in out if issues[int(c)] > turn + 1]
        minute = 6 * 60 + 12 * turn
        at_minute = [f"{m // 60:02}:{m % 60:02}" for m in (minute, minute + 6)]
        stated.append(event("issue", "anchor", at(net.day, at_minute[0]), issued=named(*out)))
        if back:
            stated.append(event("return", "anchor", at(net.day, at_minute[1]), returned=named(*back)))
    net.admin.post_many(stated)
    assert found(net) == []
    [row] = net.admin.items("/v1/reports/trips", scheme="tern-bay")
    trips = sum(issues) - cups
    assert (row["cups"], row["issues"], row["trips"]) == (cups, sum(issues), trips)
    assert row["issues_per_cup"] == f"{sum(issues) / cups:.2f}" and row["trips_per_cup"] == f"{trips / cups:.2f}"
    assert abs(float(row["issues_per_cup"]) - mean) < 4 * error and row["hours_out"] == row["hours_out_most"] == "0.1"
    counts = net.admin.items("/v1/reports/trip-counts", scheme="tern-bay")
    assert {c["trips"]: c["cups"] for c in counts} == {n: issues.count(n + 1) for n in {i - 1 for i in issues}}


def test_a_trip_ends_anywhere_and_before_the_next_issue(net):
    net.post("supply", "anchor", "05:00", cups=named("A1", "A2", quantity=20))
    net.post("issue", "anchor", "06:00", issued=named("A1", "A2"))
    net.post("return", "brick", "08:00", returned=named("A1", condition="damaged"))
    net.post("issue", "anchor", "09:00", issued=named("A2"))  # it came back unnamed: no trip
    back = net.post("return", "anchor", "10:00", returned=named("A2"))
    net.post("retire", "brick", "11:00", cups=named("A1"))
    rows = net.admin.items("/v1/reports/trips", scheme="tern-bay") if net.followed() is None else []
    assert [
        (r["cups"], r["issues"], r["trips"], r["hours_out"], r["retired"], r["trips_until_retired"]) for r in rows
    ] == [(2, 3, 2, "1.5", 1, "1.00")]
    net.post("reversal", "anchor", "10:30", reverses=back["event_id"])
    net.followed()
    [row] = net.admin.items("/v1/reports/trips", scheme="tern-bay")
    assert (row["trips"], row["rate"]) == (1, "0.3333")


def test_the_check_finds_sightings_that_no_event_gives(net):
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2", quantity=20))
    issue = net.post("issue", "anchor", "07:00", issued=named("A1"))
    net.post("return", "anchor", "08:00", returned=named("X1", "X1"))
    sent = net.post("dispatch", "anchor", "08:00", to="dock", cups=named("A2", quantity=2))
    net.post("receipt", "dock", "09:00", dispatch=sent["event_id"], cups=plain(2))
    net.post("reversal", "anchor", "09:30", reverses=issue["event_id"])
    net.post("return", "anchor", "09:40", returned=plain(1))
    net.post("return", "anchor", "09:50", returned=plain(1))
    net.followed()
    net.admin.assert_holds()
    for tampering in (
        "UPDATE sighting SET cup = (SELECT max(cup) FROM cup) WHERE position = 1 AND entry = 1",
        "UPDATE sighting SET reversed_by = NULL",
        "UPDATE sighting SET occurred_at = occurred_at + interval '1 second' WHERE entry = 2",
        "UPDATE cup_finding SET kind = 'gap'",
        "DELETE FROM sighting WHERE entry = 4",
        "UPDATE cup_supply SET unnamed = unnamed + 1",
        "DELETE FROM cup_supply",
        "UPDATE stranger_sum SET beyond = beyond + 1",
        "UPDATE stranger_sum SET covered = covered - 1, beyond = beyond + 1; UPDATE cup SET stranger_beyond = true"
        " WHERE stranger_of IS NOT NULL",
        "UPDATE unnamed_stretch SET last_at = first_at",
        "DELETE FROM unnamed_stretch",
    ):
        kept = ("sighting", "cup_finding", "cup_supply", "stranger_sum", "unnamed_stretch", "cup")
        net.service.database.run("".join(f"CREATE TABLE saved_{t} AS TABLE {t};" for t in kept) + tampering)
        answer = net.admin.get("/v1/checks", scheme="tern-bay")
        assert [c["check"] for c in answer["items"] if c["verdict"] != "holds"] == ["cups_match"], tampering
        net.service.database.run(
            "".join(
                f"DELETE FROM {t}; INSERT INTO {t} OVERRIDING SYSTEM VALUE TABLE saved_{t}; DROP TABLE saved_{t};"
                for t in kept
            )
        )
    net.admin.assert_holds()


def test_what_an_older_version_followed_is_taken_over(net):
    """The migration derives from the rows of an older version what the follower keeps; the check derives it anew."""
    more = net.post("supply", "anchor", "06:00", cups=plain(2))
    net.post("supply", "anchor", "06:10", cups=named("A1", "A2", quantity=3))
    for n in range(3):
        net.post("issue", "anchor", f"0{7 + n}:00", issued=named(f"X{n}", quantity=2))
    net.post("return", "anchor", "10:00", returned=named("A1", quantity=3))
    back = net.post("return", "anchor", "10:10", returned=plain(1))
    for reversed_ in (more, back):
        net.post("reversal", "anchor", "11:00", reverses=reversed_["event_id"])
    net.post("supply", "anchor", "06:20", cups=named("A3"))
    net.followed()
    kept = ("cup_supply ORDER BY 1, 2", "stranger_sum", "unnamed_stretch ORDER BY 1, 2, 3", "cup ORDER BY 1")
    columns = dict.fromkeys(kept, "*") | {kept[0]: "scheme, cup_type, unnamed"}
    before = [net.service.database.rows(f"SELECT {columns[t]} FROM {t}") for t in kept]
    assert all(before)
    derived = MIGRATION.read_text().partition("INSERT INTO cup_supply")[1:]
    net.service.database.run(
        "DELETE FROM cup_supply; DELETE FROM stranger_sum; DELETE FROM unnamed_stretch;"
        " UPDATE cup SET stranger_beyond = false; " + "".join(derived).partition("GRANT")[0]
    )
    assert [net.service.database.rows(f"SELECT {columns[t]} FROM {t}") for t in kept] == before
    net.admin.assert_holds()


def test_pages_lead_to_cups(net):
    sold = net.post("issue", "anchor", "07:00", issued=named("000356", "a/b"))
    net.followed()
    html = {"Accept": "text/html"}
    event_page = Page(net.admin.send("GET", f"/v1/events/{sold['event_id']}", headers=html).body)
    target = f"/v1/cups/{SMALL}a%2Fb"
    assert target in event_page.links and f"/v1/cups/{SMALL}000356" in event_page.links
    page = Page(net.admin.send("GET", target, headers=html).body)
    assert f"{SMALL}a/b" in page.root.text
    assert "with_customers" in page.root.text
    assert SMALL in page.root.text, "an identity is no figure, however many digits it has"
    listed = Page(net.admin.send("GET", "/v1/cups", headers=html).body)
    assert target in listed.links and "cup_id" in [i.get("name") for i in listed.all("input")]
    assert Page(net.admin.send("GET", "/", headers=html).body).links.count("/v1/cups") >= 1


# A second opinion ----------------------------------------------------------------------------------------------------
class Walk:
    """Cups by hand: the events that were not reversed, in the order in which they happened."""

    def __init__(self, posted):
        self.at, self.supplied, self.found = {}, set(), set()
        for entry, one in posted:
            self.take(entry, one)

    def take(self, entry, one):
        kind, site = one["kind"], one["site"]
        for name in ("returned", "issued", "cups"):
            for line in one.get(name, []):
                for cup in line["ids"]:
                    self.move(entry, kind, name, site, cup, line.get("condition"))

    def move(self, entry, kind, name, site, cup, condition):
        before, stock = self.at.get(cup), ("damaged" if condition else "site_stock", site)
        come, go = {
            "supply": (None, stock),
            "damage": (site, ("damaged", site)),
            "retire": (site, ("retired", None)),
        }.get(kind) or (("out", stock) if name == "returned" else (site, ("with_customers", None)))
        was = before and ("out" if before[0] == "with_customers" else before[1] or before[0])
        if kind == "supply":
            found = "cup_supplied_twice" if cup in self.supplied else None
            self.supplied.add(cup)
        elif before is None:
            found = "cup_never_supplied"
        elif was == come:
            found = None
        elif before[0] == "retired":
            found = "cup_after_end"
        else:
            found = (
                "cup_not_out" if name == "returned" else "cup_issued_elsewhere" if name == "issued" else "cup_elsewhere"
            )
        if found:
            self.found.add((found, cup, entry))
        self.at[cup] = go


def random_event(rng, net, minute):
    """Names all of its cups, so that nothing is a gap. It is no count: a shortage makes gaps."""
    kind = rng.choice(["supply", "issue", "issue", "return", "return", "exchange", "damage", "retire"])
    serials = rng.sample([f"R{n}" for n in range(8)], rng.randint(1, 3))
    more = {"condition": "damaged"} if rng.random() < 0.2 else {}
    lines = {
        "issue": {"issued": named(*serials)},
        "return": {"returned": named(*serials, **more)},
        "exchange": {"returned": named(*serials[:1]), "issued": named(*serials)},
    }.get(kind, {"cups": named(*serials)})
    return event(kind, rng.choice(list(SITES)), at(net.day, f"{6 + minute // 60:02}:{minute % 60:02}"), **lines)


def test_a_walk_by_hand_finds_the_same(net):
    """Events are posted in another order than they happen, some at the same instant, and some are reversed."""
    seed = int(os.environ.get("DEPOSITD_MODEL_SEED", "0")) or random.SystemRandom().randrange(1, 10**9)
    rng, posted, undone = random.Random(seed), [], set()
    print(f"DEPOSITD_MODEL_SEED={seed}")
    waiting = [random_event(rng, net, rng.randrange(300)) for _ in range(150)]
    for part in range(0, len(waiting), 50):
        for one in waiting[part : part + 50]:
            net.admin.post(one)
            posted.append(one)
        for one in rng.sample(posted, 8):
            if one["event_id"] not in undone:
                undone.add(one["event_id"])
                net.admin.post(event("reversal", one["site"], at(net.day, "20:00"), reverses=one["event_id"]))
        net.followed()
    entries = {
        e["event"]["event_id"]: e["entry"] for e in net.admin.items("/v1/events", scheme="tern-bay") if "event" in e
    }
    done = [(entries[p["event_id"]], p) for p in posted if p["event_id"] not in undone]
    walk = Walk(sorted(done, key=lambda pair: (datetime.fromisoformat(pair[1]["occurred_at"]), pair[0])))
    for cup in {f"{SMALL}R{n}" for n in range(8)} & walk.at.keys():
        there = net.admin.get(f"/v1/cups/{cup}")["whereabouts"]
        assert (there["place"], there.get("site")) == walk.at[cup], cup
    rows = net.admin.items("/v1/reports/exceptions", scheme="tern-bay", state="open")
    assert {(r["kind"], r["cup_id"], r["entry"]) for r in rows if r["cup_id"]} == walk.found
    net.admin.assert_holds()


def test_the_journey_of_a_cup_is_a_picture(net):
    """A line that goes from lane to lane, in the order in which things happened, and a mark for each sighting that
    counts."""
    net.post("supply", "anchor", "06:00", cups=named("A1", "A2"))
    html = {"Accept": "text/html"}
    net.followed()
    target = f"/v1/cups/{SMALL}A1"
    assert Page(net.admin.send("GET", target, headers=html).body).all("svg") == [], "one place is no journey"
    net.post("return", "brick", "12:00", returned=named("A1", condition="damaged"))
    net.post("issue", "anchor", "09:00", issued=named("A1"))  # posted later, happened before
    wrong = net.post("count", "dock", "13:00", cups=named("A1", counted=1))
    net.post("reversal", "dock", "14:00", reverses=wrong["event_id"])
    net.followed()
    page = Page(net.admin.send("GET", target, headers=html).body)
    [svg] = page.all("svg")
    lanes = [t.text for t in svg.all("text")]
    assert lanes[:3] == ["anchor", "with customers", "damaged"] and lanes[3:] == [str(net.day)]
    y = [float(line.get("y1")) for line in svg.all("line")]
    points = [tuple(map(float, point.split(","))) for point in svg.first("polyline").get("points").split()]
    left, right = points[0][0], points[-1][0]
    half = left + (right - left) / 2  # 09:00 is half way from 06:00 to 12:00
    expected = [(left, y[0]), (half, y[0]), (half, y[1]), (right, y[1]), (right, y[2])]
    assert [(round(a), b) for a, b in points] == [(round(a), b) for a, b in expected]
    told = [g.first("title").text.split()[-1] for g in svg.all("g")]
    assert told == ["supply", "issue", "return"], "a sighting that was taken back is not there"
    assert svg.first("desc").text.startswith(f"From {net.day} to {net.day} it was seen 3 times, at 3 places.")
