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
HISTORY = 42  # days

# Sites with their par stock of each cup type. Invented, on an open sea. Nothing is issued, so the par stock is all that
# they need.
BAY = {"harbour": 0, "anchor": 35, "dock": 30, "jetty": 0}
SOUND = {"inlet": 0} | {f"site-{n:03}": 10 for n in range(MANY)}
SHOAL = {"shallow": 0, "deep": 1000000}
ROCK = {"ledge": 30, "cave": 0}


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
    """In each of three schemes, the first site has cups for the others, which have none. In the fourth, ledge issues 15
    cups a day and has 10 left."""
    first = TODAY - HISTORY * DAY
    values = {"cup-300": "2.50", "cup-450": "3.50"}
    shared.admin.load(
        network.reference(
            [network.scheme(scheme, first, values) for scheme in ("tern-bay", "eider-sound", "cod-shoal", "gull-rock")],
            sites("tern-bay", BAY, ("cup-300", "cup-450"))
            | sites("eider-sound", SOUND, ("cup-300",))
            | sites("cod-shoal", SHOAL, ("cup-300",))
            | sites("gull-rock", ROCK, ("cup-300",))
            | {"pier": ("tern-bay", "quay", {"closed_on": str(TODAY - 2 * DAY)})},
        )
    )
    for site, lines in (
        ("harbour", cups(cup_300=600, cup_450=500)),
        ("inlet", cups(cup_300=5000)),
        ("shallow", cups(cup_300=1000000)),
        ("shallow", cups(cup_300=1000000)),
        ("ledge", cups(cup_300=HISTORY * 15 + 10)),
        ("cave", cups(cup_300=100)),
    ):
        shared.admin.post(event("supply", site, at(first, "08:00"), cups=lines))
    days = [first + n * DAY for n in range(HISTORY)]
    shared.admin.post_many([event("issue", "ledge", at(day), issued=cups(cup_300=15)) for day in days])
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
    """dock has a par stock of 30 and no cups. If it waits for 100, it is expected to have 30: it lacks none, and
    has none to give. If these cups are wanted in a week only, it still lacks 30 tomorrow."""
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


@pytest.mark.parametrize(
    "first, wanted, counts", [(0, 0, True), (0, 1, False), (1, 0, True), (1, 1, False), (4, 3, True)]
)
def test_cups_that_leave_on_the_first_day_are_not_there_at_its_start(admin, first, wanted, counts):
    """For a plan of today, those that are wanted today count: the plan's own are wanted then."""
    ask_for(admin, {"site": "harbour", "to": "dock", "wanted_on": str(TODAY + wanted * DAY), "cups": cups(cup_300=20)})
    plan = cells(admin.get(f"{PLAN}&date={TODAY + first * DAY}"))
    assert plan["dock", "cup-300"]["awaited"] == (20 if counts else 0)
    assert plan["harbour", "cup-300"]["promised"] == 20


@pytest.mark.parametrize("age, counted", [(7, 20), (8, 0)])
def test_what_is_older_than_a_week_counts_no_more(admin, age, counted):
    """Seven days before today, or eight."""
    before = cells(admin.get(PLAN))
    day = TODAY - age * DAY
    [late] = ask_for(admin, {"site": "harbour", "to": "dock", "wanted_on": str(day), "cups": cups(cup_300=20)})
    plan = cells(admin.get(f"{PLAN}&date={TODAY + 8 * DAY}"))
    assert (plan["dock", "cup-300"]["awaited"], plan["harbour", "cup-300"]["promised"]) == (counted, counted)
    assert admin.send("POST", f"/v1/shipments/{late}/withdraw", {"reason": "nobody sends it"}).status == 200
    sent = event("dispatch", "harbour", at(day), to="dock", cups=cups(cup_300=20))
    admin.post(sent)
    assert cells(admin.get(PLAN))["dock", "cup-300"]["awaited"] == counted
    undo(admin, sent)
    assert cells(admin.get(PLAN)) == before


def test_cups_on_the_road_meet_the_demand_until_the_first_day(admin):
    """ledge has 10 cups, and 40 are on the road to it. Two days issue 15 each, so 20 are there on the third day: 10
    fewer than its par stock of 30."""
    sent = event("dispatch", "cave", at(TODAY - DAY), to="ledge", cups=cups(cup_300=40))
    admin.post(sent)
    ledge = cells(admin.get(f"/v1/plans?scheme=gull-rock&box=10&date={TODAY + 3 * DAY}"))["ledge", "cup-300"]
    assert (ledge["stock"], ledge["awaited"], ledge["par"], ledge["par_by"]) == (10, 40, 30, "stated")
    assert (ledge["expected_stock"], ledge["need"]) == (20, 10)
    undo(admin, sent)
    ledge = cells(admin.get(f"/v1/plans?scheme=gull-rock&box=10&date={TODAY + 3 * DAY}"))["ledge", "cup-300"]
    assert (ledge["expected_stock"], ledge["need"]) == (0, 30), "demand that is not met is lost"


def test_who_has_promised_more_than_it_has_needs_the_rest(admin):
    """anchor has none. It needs 100 for its promise and 35 for its par stock: seven boxes. Then dock lacks none."""
    ask_for(admin, {"site": "anchor", "to": "dock", "wanted_on": str(TODAY), "cups": cups(cup_300=100)})
    plan = admin.get(PLAN)
    anchor, dock = cells(plan)["anchor", "cup-300"], cells(plan)["dock", "cup-300"]
    assert (anchor["promised"], anchor["expected_stock"], anchor["par"], anchor["need"]) == (100, 0, 35, 140)
    assert (dock["awaited"], dock["expected_stock"], dock["need"]) == (100, 30, 0)
    assert planned(plan)["harbour", "anchor"]["cup-300"] == 140


def test_a_site_that_has_ended_gets_nothing_for_its_promises(admin):
    ask_for(admin, {"site": "pier", "to": "dock", "wanted_on": str(TODAY), "cups": cups(cup_300=100)})
    pier = cells(admin.get(PLAN))["pier", "cup-300"]
    assert (pier["promised"], pier["expected_stock"], pier["need"]) == (100, 0, 0)


def test_a_site_that_has_had_no_cups_yet_is_in_the_plan(admin):
    """jetty has neither a stock, a par stock, nor a history."""
    assert ("jetty", "cup-300") not in cells(admin.get(PLAN))
    ask_for(admin, {"site": "harbour", "to": "jetty", "wanted_on": str(TODAY), "cups": cups(cup_300=20)})
    jetty = cells(admin.get(PLAN))["jetty", "cup-300"]
    assert (jetty["awaited"], jetty["promised"], jetty["stock"], jetty["need"]) == (20, 0, 0, 0)
    ask_for(admin, {"site": "jetty", "to": "dock", "wanted_on": str(TODAY), "cups": cups(cup_300=50)})
    jetty = cells(admin.get(PLAN))["jetty", "cup-300"]
    assert (jetty["awaited"], jetty["promised"], jetty["need"]) == (20, 50, 40)


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
