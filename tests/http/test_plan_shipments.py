# SPDX-License-Identifier: ISC
"""A plan of moves becomes shipments that are asked for: the bodies in its JSON, and the form to which its page leads.
The quantities are compared with the plan's own and with limits of the OpenAPI document; that people look at a plan
before they ask for its shipments is common practice, no source."""
from collections import Counter
from datetime import timedelta
from uuid import uuid4

import pytest

import network
from browser import Browser
from network import at, business_day, cups, event
from office import form, led_to, page, shown

DAY = timedelta(days=1)
TODAY = business_day()
PLAN = "/v1/plans?scheme=tern-bay&box=20"
WORD = "Ask for these shipments"
MANY = 120

# Sites with their par stock of each cup type. Invented, on an open sea. Nothing is issued, so the par stock is all that
# they need.
BAY = {"harbour": 0, "anchor": 35, "dock": 30}
SOUND = {"inlet": 0} | {f"site-{n:03}": 10 for n in range(MANY)}
SHOAL = {"shallow": 0, "deep": 1000000}


def sites(scheme, par, cup_types):
    return {
        site: (
            scheme,
            "quay",
            {"latitude": 47 + n / 1000, "longitude": -50.0}
            | ({"par_stock": [{"cup_type": c, "quantity": quantity} for c in cup_types]} if quantity > 0 else {}),
        )
        for n, (site, quantity) in enumerate(par.items())
    }


@pytest.fixture(scope="module")
def admin(shared):
    """In each of three schemes, the first site has cups for the others, which have none."""
    first = TODAY - 20 * DAY
    values = {"cup-300": "2.50", "cup-450": "3.50"}
    shared.admin.load(
        network.reference(
            [network.scheme(scheme, first, values) for scheme in ("tern-bay", "eider-sound", "cod-shoal")],
            sites("tern-bay", BAY, ("cup-300", "cup-450"))
            | sites("eider-sound", SOUND, ("cup-300",))
            | sites("cod-shoal", SHOAL, ("cup-300",)),
        )
    )
    for site, lines in (
        ("harbour", cups(cup_300=600, cup_450=500)),
        ("inlet", cups(cup_300=5000)),
        ("shallow", cups(cup_300=1000000)),
        ("shallow", cups(cup_300=1000000)),
    ):
        shared.admin.post(event("supply", site, at(first), cups=lines))
    return shared.admin


@pytest.fixture(scope="module")
def ann(shared, admin):
    browser = Browser(shared)
    assert browser.sign_in("ann", shared.create_key("ann", "accountant")).status == 303
    return browser


@pytest.fixture(autouse=True)
def afterwards(admin):
    """A plan leaves out what is asked for, so each test withdraws what it has asked for."""
    yield
    for scheme in ("tern-bay", "eider-sound", "cod-shoal"):
        for shipment in kept(admin, scheme):
            answer = admin.send("POST", f"/v1/shipments/{shipment}/withdraw", {"reason": "a test is over"})
            assert answer.status == 200


def asked_by(plan):
    """The cups in the plan's requests, by pair of sites."""
    return {
        (s["site"], s["to"]): {c["cup_type"]: c["quantity"] for c in s["cups"]}
        for request in plan["requests"]
        for s in request["shipments"]
    }


def planned(plan):
    return {(s["from"], s["to"]): {c["cup_type"]: c["quantity"] for c in s["cups"]} for s in plan["shipments"]}


def kept(admin, scheme="tern-bay"):
    """{id: pair of sites} of the shipments that wait for their senders."""
    return {s["shipment"]: (s["site"], s["to"]) for s in admin.items("/v1/shipments", scheme=scheme, state="requested")}


def asked(admin, shipment):
    return {c["cup_type"]: c["requested"] for c in admin.get(f"/v1/shipments/{shipment}")["cups"]}


def links(seen, word=WORD):
    return [a.get("href") for a in seen.all("a") if a.text == word]


def test_the_requests_of_a_plan_can_be_posted(admin):
    plan = admin.get(PLAN)
    assert set(planned(plan)) == {("harbour", "anchor"), ("harbour", "dock")}
    assert asked_by(plan) == planned(plan)
    [request] = plan["requests"]
    before = kept(admin)
    for shipment in request["shipments"]:
        shipment["shipment"] = str(uuid4())
    for status in (201, 200):
        assert admin.send("POST", "/v1/shipments", request).status == status
    assert {pair: asked(admin, i) for i, pair in kept(admin).items() if i not in before} == planned(plan)
    assert planned(admin.get(PLAN)) == {}, "what is asked for is not planned again"


def cells(plan):
    return {(row["site"], row["cup_type"]): row for row in plan["sites"]}


def test_cups_that_are_asked_for_are_not_planned_again(admin):
    """anchor lacks 35 and asks for 20: it lacks 15, one box. harbour has promised them, and has 580 of its 600 left."""
    before = planned(admin.get(PLAN))
    wanted = {"site": "harbour", "to": "anchor", "wanted_on": str(TODAY), "cups": cups(cup_300=20)}
    [shipment] = ask_for(admin, wanted)
    plan = admin.get(PLAN)
    after = planned(plan)
    assert before["harbour", "anchor"] == {"cup-300": 40, "cup-450": 40}
    assert after["harbour", "anchor"] == {"cup-300": 20, "cup-450": 40}
    assert after["harbour", "dock"] == before["harbour", "dock"]
    anchor, harbour = cells(plan)["anchor", "cup-300"], cells(plan)["harbour", "cup-300"]
    assert (anchor["awaited"], anchor["promised"], anchor["stock"], anchor["expected_stock"]) == (20, 0, 0, 20)
    assert (harbour["awaited"], harbour["promised"], harbour["expected_stock"]) == (0, 20, harbour["stock"] - 20)
    sent = event("dispatch", "harbour", at(TODAY - DAY), to="anchor", cups=cups(cup_300=20), shipment=shipment)
    admin.post(sent)
    on_road = cells(admin.get(PLAN))
    assert on_road["anchor", "cup-300"]["awaited"] == 20 and on_road["harbour", "cup-300"]["promised"] == 0
    assert planned(admin.get(PLAN)) == after
    undo(admin, sent)


def test_awaited_cups_are_no_surplus_and_wait_for_their_day(admin):
    """dock lacks 30. It is asked to get 100, of which it has no more than 30 by then; in a later week it has none."""
    line = {"site": "harbour", "to": "dock", "cups": cups(cup_300=100)}
    ask_for(admin, {**line, "wanted_on": str(TODAY)})
    plan = admin.get(PLAN)
    dock = cells(plan)["dock", "cup-300"]
    assert (dock["awaited"], dock["expected_stock"], dock["surplus"], dock["need"]) == (100, 30, 0, 0)
    for shipment in kept(admin):
        admin.send("POST", f"/v1/shipments/{shipment}/withdraw", {"reason": "for another week"})
    ask_for(admin, {**line, "wanted_on": str(TODAY + 7 * DAY)})
    plan = admin.get(PLAN)
    assert cells(plan)["dock", "cup-300"]["awaited"] == 0 and cells(plan)["dock", "cup-300"]["need"] == 40
    assert cells(plan)["harbour", "cup-300"]["promised"] == 100


def test_a_request_that_is_sent_in_part_counts_once(admin):
    """40 are asked for. 15 of them are sent, so 25 are promised and 40 awaited. Then 10 of the 15 come: they are stock,
    and the other 5 count no more, because somebody has to find them."""
    wanted = {"site": "harbour", "to": "anchor", "wanted_on": str(TODAY), "cups": cups(cup_300=40)}
    [shipment] = ask_for(admin, wanted)
    there = cells(admin.get(PLAN))["harbour", "cup-300"]["stock"]
    sent = event("dispatch", "harbour", at(TODAY - DAY), to="anchor", cups=cups(cup_300=15), shipment=shipment)
    admin.post(sent)
    plan = cells(admin.get(PLAN))
    anchor, harbour = plan["anchor", "cup-300"], plan["harbour", "cup-300"]
    assert (anchor["awaited"], anchor["expected_stock"], anchor["need"]) == (40, 35, 0)
    assert (harbour["promised"], harbour["stock"], harbour["expected_stock"]) == (25, there - 15, there - 40)
    came = event("receipt", "anchor", at(TODAY - DAY, "11:00"), dispatch=sent["event_id"], cups=cups(cup_300=10))
    admin.post(came)
    plan = cells(admin.get(PLAN))
    anchor, harbour = plan["anchor", "cup-300"], plan["harbour", "cup-300"]
    assert (anchor["awaited"], anchor["stock"], anchor["expected_stock"]) == (25, 10, 35)
    assert (harbour["promised"], harbour["expected_stock"]) == (25, there - 40)
    undo(admin, came, sent)
    assert cells(admin.get(PLAN))["anchor", "cup-300"]["awaited"] == 40


def test_cups_of_another_type_came_in_their_place(admin):
    """anchor waits for 20 small and 20 large cups, and gets 20 large ones. Nobody waits for the small ones by then."""
    sent = event("dispatch", "harbour", at(TODAY - DAY), to="anchor", cups=cups(cup_300=20, cup_450=20))
    admin.post(sent)
    plan = cells(admin.get(PLAN))
    assert [plan["anchor", c]["awaited"] for c in ("cup-300", "cup-450")] == [20, 20]
    came = event("receipt", "anchor", at(TODAY - DAY, "11:00"), dispatch=sent["event_id"], cups=cups(cup_450=20))
    admin.post(came)
    plan = cells(admin.get(PLAN))
    assert [plan["anchor", c]["awaited"] for c in ("cup-300", "cup-450")] == [0, 0]
    assert [plan["anchor", c]["need"] for c in ("cup-300", "cup-450")] == [40, 20]
    undo(admin, came, sent)


def test_a_site_that_passes_cups_on_keeps_none_of_them(admin):
    """dock is to get 60 and to send 40 of them on. The other 20 are 10 fewer than its par stock."""
    ask_for(
        admin,
        {"site": "harbour", "to": "dock", "wanted_on": str(TODAY), "cups": cups(cup_300=60)},
        {"site": "dock", "to": "anchor", "wanted_on": str(TODAY), "cups": cups(cup_300=40)},
    )
    plan = cells(admin.get(PLAN))
    dock, anchor = plan["dock", "cup-300"], plan["anchor", "cup-300"]
    assert (dock["awaited"], dock["promised"], dock["expected_stock"], dock["need"]) == (60, 40, 20, 20)
    assert (anchor["awaited"], anchor["expected_stock"], anchor["need"]) == (40, 35, 0)


def test_damaged_cups_that_are_asked_for_count_nowhere(admin):
    """A plan is of sound cups."""
    before = cells(admin.get(PLAN))
    damaged = [{"cup_type": "cup-300", "quantity": 20, "condition": "damaged"}]
    ask_for(admin, {"site": "harbour", "to": "dock", "wanted_on": str(TODAY), "cups": damaged})
    assert cells(admin.get(PLAN)) == before


def undo(admin, *events):
    for one in events:
        admin.post(event("reversal", one["site"], at(TODAY - DAY, "12:00"), reverses=one["event_id"]))


def ask_for(admin, *shipments):
    body = {"scheme": "tern-bay", "shipments": [{**s, "shipment": str(uuid4())} for s in shipments]}
    assert admin.send("POST", "/v1/shipments", body).status == 201
    return [s["shipment"] for s in body["shipments"]]


@pytest.mark.parametrize("ahead, wanted", [(0, 0), (1, 0), (4, 3)])
def test_cups_should_leave_on_the_day_before(admin, ahead, wanted):
    plan = admin.get(f"{PLAN}&date={TODAY + ahead * DAY}")
    days = {s["wanted_on"] for request in plan["requests"] for s in request["shipments"]}
    assert days == {str(TODAY + wanted * DAY)}


def test_a_plan_without_moves_asks_for_nothing(admin, ann):
    assert admin.get(f"{PLAN}&minimum_load=1000")["requests"] == []
    assert links(page(ann, f"{PLAN}&minimum_load=1000")) == []


def test_a_person_can_leave_out_and_change(admin, ann):
    before = kept(admin)
    ask = form(ann, links(page(ann, PLAN))[0])
    out = {name: "" for name in ask.fields if name.startswith("/shipments/1/")}
    led_to(ask.fill({**out, "/shipments/0/cups/0/quantity": "7"}).send())
    [only] = kept(admin).keys() - before.keys()
    assert kept(admin)[only] == ("harbour", "anchor") and asked(admin, only) == {"cup-300": 7, "cup-450": 40}


def test_many_shipments_are_several_requests(admin, ann):
    """A request has at most as many shipments as the document says, and people ask for one after the other."""
    most = admin.get("/openapi.json")["components"]["schemas"]["ShipmentsAsked"]["properties"]["shipments"]["maxItems"]
    target = "/v1/plans?scheme=eider-sound"
    plan = admin.get(target)
    assert [len(request["shipments"]) for request in plan["requests"]] == [most, MANY - most]
    assert asked_by(plan) == planned(plan) and len(planned(plan)) == MANY
    for _ in plan["requests"]:  # the plan leaves out what is asked for, so the next request is the first then
        led_to(form(ann, links(page(ann, target))[0]).send())
    assert links(page(ann, target)) == []
    assert Counter(kept(admin, "eider-sound").values()) == Counter(list(planned(plan)))


def test_a_line_of_too_many_cups_is_several_shipments(admin):
    """deep needs 11 boxes of 99,999 cups. A line takes a million cups, so ten boxes."""
    plan = admin.get("/v1/plans?scheme=cod-shoal&box=99999")
    [request] = plan["requests"]
    assert [s["cups"][0]["quantity"] for s in request["shipments"]] == [10 * 99999, 99999]
    assert planned(plan) == {("shallow", "deep"): {"cup-300": 11 * 99999}}
    assert admin.send("POST", "/v1/shipments", request).status == 201


def test_a_plan_that_cannot_be_read_begins_no_form(admin, ann):
    [link] = links(page(ann, PLAN))
    assert "It has changed since you looked" in ann.send("GET", link.replace("part%3D1", "part%3D2")).text
    for change, status in (("part%3D2", 412), ("part%3D0", 412), ("part%3Dx", 412)):
        shown(ann.send("GET", link.replace("part%3D1", change)), status)
    shown(ann.send("GET", link.replace("tern-bay", "no-bay")), 422)


def test_from_a_plan_to_shipments_and_their_arrival(admin, ann):
    plan, before = admin.get(PLAN), kept(admin)
    seen = page(ann, PLAN)
    [row] = seen.table("Requests")
    quantity = sum(n for lines in planned(plan).values() for n in lines.values())
    assert (row["Request"], row["Wanted on"], row["Shipments"], row["Cups"]) == ("1", str(TODAY), "2", str(quantity))
    ask = form(ann, links(seen)[0])
    shipments = plan["requests"][0]["shipments"]
    for n, shipment in enumerate(shipments):
        lines = {f"cups/{i}/{m}": str(c[m]) for i, c in enumerate(shipment["cups"]) for m in c}
        stated = {m: shipment[m] for m in ("site", "to", "wanted_on")} | lines
        assert {m: ask.fields[f"/shipments/{n}/{m}"] for m in stated} == stated
    ids = {ask.fields[f"/shipments/{n}/shipment"] for n in range(len(shipments))}
    assert kept(admin) == before

    target = led_to(ask.send())
    assert led_to(ask.send()) == target, "a double click"
    assert kept(admin).keys() - before.keys() == ids
    assert led_to(ask.fill({"once": str(uuid4())}).send()) == target, "as if the first answer had been lost"
    assert kept(admin).keys() - before.keys() == ids
    assert {f"/v1/shipments/{i}" for i in ids} <= {link.partition("?")[0] for link in page(ann, target).links}

    [one] = [i for i in ids if kept(admin)[i] == ("harbour", "anchor")]
    send = form(ann, links(page(ann, f"/v1/shipments/{one}"), "Dispatch")[0])
    sent = led_to(send.fill({"/occurred_at": f"{TODAY - DAY}T10:00"}).send())
    assert admin.get(f"/v1/shipments/{one}")["state"] == "in_transit"
    receive = form(ann, links(page(ann, sent), "Receive")[0])
    led_to(receive.fill({"/occurred_at": f"{TODAY - DAY}T11:00"}).send())
    assert admin.get(f"/v1/shipments/{one}")["state"] == "arrived"
    assert planned(admin.get(PLAN)) == {}, "all that was lacking has come, or is asked for"
