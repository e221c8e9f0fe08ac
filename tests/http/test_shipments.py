# SPDX-License-Identifier: ISC
"""Shipments that people ask for: requests, the dispatches that fulfil them, and what is still to be done. The words of
the contract (accounting.md) say what a dispatch, a receipt and a loss are; that a request is work and no fact is common
practice, no source."""
from datetime import date, timedelta
from uuid import uuid4

import psycopg2
import pytest

import network
from browser import Browser
from network import at, business_day, cups, event
from office import form, led_to, page
from pages import Page

DAY = date.today() - timedelta(days=2)
SITES = {
    "anchor": ("tern-bay", "hearth"),
    "brick": ("tern-bay", "miller"),
    "dock": ("tern-bay", "quay"),
    "fjord": ("eider-sound", "hearth"),
    "geyser": ("eider-sound", "quay"),
}
LISTS = ("open", "requested", "in_transit", "short", "arrived", "withdrawn")


@pytest.fixture
def admin(service):
    values = {"cup-300": "2.50", "cup-450": "3.50"}
    schemes = [network.scheme("tern-bay", DAY, values), network.scheme("eider-sound", DAY, values)]
    service.admin.load(network.reference(schemes, SITES))
    return service.admin


def wish(to="dock", site="anchor", **more):
    return {"site": site, "to": to, "cups": cups(cup_300=20), "wanted_on": str(DAY + timedelta(days=1)), **more}


def ask(client, *wishes, status=201):
    answer = client.send("POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": list(wishes)})
    assert answer.status == status, answer.body
    return answer.json["items"]


def read(client, shipment):
    return client.get(f"/v1/shipments/{shipment['shipment']}")


def listed(client, **asked):
    return [i["shipment"] for i in client.items("/v1/shipments", scheme="tern-bay", **asked)]


def in_lists(client, shipment):
    states = {s for s in LISTS if shipment["shipment"] in listed(client, state=s)}
    return states, {
        a for a in ("sender", "receiver", "accountant") if shipment["shipment"] in listed(client, waits_for=a)
    }


def dispatch(n, shipment, to="dock", site="anchor", **more):
    return event("dispatch", site, at(DAY, "10:00"), cups=cups(cup_300=n), to=to, shipment=shipment["shipment"], **more)


def arrival(kind, n, sent, **more):
    site = "dock" if kind == "receipt" else sent["site"]
    return event(kind, site, at(DAY, "11:00"), cups=cups(cup_300=n), dispatch=sent["event_id"], **more)


def figures(shipment):
    return {
        c["cup_type"]: [c[m] for m in ("requested", "dispatched", "received", "lost", "missing", "to_send")]
        for c in shipment["cups"]
    }


def test_a_shipment_from_request_to_arrival(admin):
    [asked] = ask(admin, wish(note="by the side door"))
    assert (asked["state"], asked["waits_for"], asked["note"]) == ("requested", ["sender"], "by the side door")
    assert figures(asked) == {"cup-300": [20, 0, 0, 0, 0, 20]} and asked["events"] == []
    assert in_lists(admin, asked) == ({"open", "requested"}, {"sender"})

    first, rest = dispatch(12, asked), dispatch(8, asked)
    admin.post(first)
    part = read(admin, asked)
    assert (part["state"], part["waits_for"]) == ("in_transit", ["sender", "receiver"])
    assert figures(part) == {"cup-300": [20, 12, 0, 0, 12, 8]}
    admin.post(rest)
    admin.post(arrival("receipt", 10, first))
    short = read(admin, asked)
    assert (short["state"], short["waits_for"]) == ("short", ["receiver", "accountant"])
    assert figures(short) == {"cup-300": [20, 20, 10, 0, 10, 0]}
    assert in_lists(admin, asked) == ({"open", "short"}, {"receiver", "accountant"})

    admin.post(arrival("transit_loss", 2, first))
    admin.post(arrival("receipt", 8, rest))
    done = read(admin, asked)
    assert done["state"] == "arrived" and "waits_for" not in done
    assert figures(done) == {"cup-300": [20, 20, 18, 2, 0, 0]}
    assert in_lists(admin, asked) == ({"arrived"}, set())
    moved = {}
    for line in done["events"]:
        moved[line["kind"]] = moved.get(line["kind"], 0) + line["quantity"]
    assert moved == {"dispatch": 20, "receipt": 18, "transit_loss": 2}
    [row] = [i for i in admin.items("/v1/shipments", scheme="tern-bay") if i["shipment"] == asked["shipment"]]
    assert [row[m] for m in ("requested", "dispatched", "received", "lost", "missing")] == [20, 20, 18, 2, 0]
    admin.assert_holds()


def test_reversals_open_a_shipment_again(admin):
    [asked] = ask(admin, wish())
    sent = dispatch(20, asked)
    admin.post(sent)
    came = arrival("receipt", 20, sent)
    admin.post(came)
    assert in_lists(admin, asked) == ({"arrived"}, set())
    admin.post(event("reversal", "dock", at(DAY, "12:00"), reverses=came["event_id"]))
    assert in_lists(admin, asked) == ({"open", "in_transit"}, {"receiver"})
    admin.post(event("reversal", "anchor", at(DAY, "12:10"), reverses=sent["event_id"]))
    assert in_lists(admin, asked) == ({"open", "requested"}, {"sender"})
    assert figures(read(admin, asked)) == {"cup-300": [20, 0, 0, 0, 0, 20]}
    admin.assert_holds()


def test_nothing_is_refused_for_a_request(admin):
    """A dispatch may name a shipment of other sites, one that is withdrawn, or one that nobody has asked for, and may
    send other cups and more than were asked for. It counts for the request only if it goes between the two sites that
    were asked, as only these are bound by the agreed bearer."""
    [asked, gone] = ask(admin, wish(), wish())
    admin.send("POST", f"/v1/shipments/{gone['shipment']}/withdraw", {"reason": "not needed"})
    unknown = {"shipment": str(uuid4())}
    for named in (asked, gone, unknown):
        for one in (
            dispatch(25, named),
            dispatch(1, named, site="brick"),
            event("dispatch", "anchor", at(DAY), cups=cups(cup_450=2), to="brick", shipment=named["shipment"]),
            event("dispatch", "anchor", at(DAY), cups=cups(cup_450=3), to="dock", shipment=named["shipment"]),
        ):
            assert admin.post(one)["status"] == "recorded"
            assert admin.post(one)["status"] == "duplicate"
            admin.refused("POST", "/v1/events", {**one, "shipment": str(uuid4())}, 409, "event_id_conflict")
    shown = read(admin, asked)
    assert figures(shown) == {"cup-300": [20, 25, 0, 0, 25, 0], "cup-450": [0, 3, 0, 0, 3, 0]}
    assert [(e["site"], e["quantity"]) for e in shown["events"]] == [("anchor", 25), ("anchor", 3)]
    late = ask(admin, wish(shipment=unknown["shipment"]))[0]
    assert figures(late) == figures(read(admin, asked)) and late["state"] == "in_transit"
    admin.assert_holds()


def test_cups_of_other_sites_leave_a_request_open(admin):
    """A sender that is to send 20 cups has not done so because somebody else, or it to somebody else, sent 20."""
    [asked] = ask(admin, wish())
    strange = [dispatch(20, asked, site="brick"), dispatch(20, asked, to="brick")]
    admin.post_many(strange)
    admin.post(arrival("receipt", 20, strange[0]))
    assert figures(read(admin, asked)) == {"cup-300": [20, 0, 0, 0, 0, 20]}
    assert in_lists(admin, asked) == ({"open", "requested"}, {"sender"})
    [listed_] = admin.items("/v1/shipments", scheme="tern-bay")
    assert (listed_["dispatched"], listed_["received"]) == (0, 0)
    paper = admin.get(f"/v1/shipments/{asked['shipment']}/packing-list")
    assert paper["total"] == 20
    admin.assert_holds()


def rows_read(service, statement):
    """The rows that the statement and its triggers read of the tables of shipments. It is taken back."""
    connection = psycopg2.connect(service.database.owner_dsn)
    with connection.cursor() as cursor:
        cursor.execute(statement)
        cursor.execute(
            "SELECT sum(seq_tup_read + idx_tup_fetch) FROM pg_stat_xact_user_tables"
            " WHERE relname = 'transfer' OR relname LIKE 'shipment%'"
        )
        read_rows = cursor.fetchone()[0]
    connection.rollback()
    connection.close()
    return read_rows


def test_a_dispatch_costs_the_same_however_many_name_its_shipment(service, admin):
    [asked] = ask(admin, wish())
    sent = [dispatch(1, asked) for _ in range(1500)]
    cost = []
    for part in (sent[:20], sent[20:1000], sent[1000:]):
        admin.post_many(part)
        [(scheme, last)] = service.database.rows("SELECT scheme, max(dispatch) FROM shipment_dispatch GROUP BY 1")
        service.database.run("ANALYZE")
        arrives = f"UPDATE transfer SET received = 1 WHERE scheme = {scheme} AND dispatch = {last}"
        cost.append(rows_read(service, arrives))
    assert cost[2] < 60, cost
    admin.post_many([arrival("receipt", 1, one) for one in sent[:700]])
    admin.post_many([event("reversal", "anchor", at(DAY, "12:00"), reverses=s["event_id"]) for s in sent[700:900]])
    [row] = admin.items("/v1/shipments", scheme="tern-bay")
    assert [row[m] for m in ("dispatched", "received", "lost", "missing")] == [1300, 700, 0, 600]
    assert in_lists(admin, asked) == ({"open", "in_transit"}, {"receiver"})
    admin.assert_holds()


@pytest.mark.parametrize("bearer", ("sender", "receiver", "operator", None))
def test_the_bearer_that_was_agreed_bears_the_loss(admin, bearer):
    [asked] = ask(admin, wish(**({"bearer": bearer} if bearer else {})))
    sent = dispatch(20, asked)
    loss = arrival("transit_loss", 2, sent)
    admin.post_many([sent, loss])
    assert admin.get(f"/v1/events/{loss['event_id']}")["event"]["bearer"] == (bearer or "receiver")
    assert admin.post(loss)["status"] == "duplicate"
    stated = arrival("transit_loss", 1, sent, bearer="operator")
    admin.post(stated)
    assert admin.get(f"/v1/events/{stated['event_id']}")["event"]["bearer"] == "operator"
    admin.assert_holds()


def test_a_bearer_binds_only_the_sites_that_were_asked(admin):
    """Or a till could shift its losses to the operator: it would name a shipment of others."""
    [asked] = ask(admin, wish(bearer="operator"))
    sent = dispatch(20, asked, site="brick", to="anchor")
    loss = arrival("transit_loss", 2, sent)
    admin.post_many([sent, loss])
    assert admin.get(f"/v1/events/{loss['event_id']}")["event"]["bearer"] == "receiver"
    admin.assert_holds()


def test_withdrawing_says_which_of_two(admin):
    """The same id in two schemes names two shipments."""
    one = wish(shipment=str(uuid4()))
    ask(admin, one)
    other = {**one, "site": "fjord", "to": "geyser"}
    answer = admin.send("POST", "/v1/shipments", {"scheme": "eider-sound", "shipments": [other]})
    assert answer.status == 201, answer.body
    path = f"/v1/shipments/{one['shipment']}/withdraw"
    admin.refused("POST", path, {"reason": "no room"}, 422, "parameter_missing")
    assert admin.send("POST", f"{path}?scheme=eider-sound", {"reason": "no room"}).json["state"] == "withdrawn"
    assert read(admin, {"shipment": f"{one['shipment']}?scheme=tern-bay"})["state"] == "requested"


def test_withdrawing(admin):
    [asked, sent_whole] = ask(admin, wish(), wish())
    path = f"/v1/shipments/{asked['shipment']}/withdraw"
    first = dispatch(5, asked)
    admin.post_many([first, dispatch(20, sent_whole)])
    dry = admin.send("POST", path + "?dry_run=true", {"reason": "no room"})
    assert dry.status == 200 and dry.json["dry_run"] is True and dry.json["withdrawn_by"] == "first-admin"
    assert read(admin, asked)["waits_for"] == ["sender", "receiver"]
    withdrawn = admin.send("POST", path, {"reason": "no room"}).json
    assert (withdrawn["state"], withdrawn["waits_for"], withdrawn["why"]) == ("in_transit", ["receiver"], "no room")
    assert figures(withdrawn) == {"cup-300": [20, 5, 0, 0, 5, 0]}
    assert admin.send("POST", path, {"reason": "no room"}).json == withdrawn
    admin.refused("POST", path, {"reason": "another"}, 409, "shipment_done")
    admin.refused("POST", path, {}, 422, "member_missing")
    admin.refused("POST", f"/v1/shipments/{sent_whole['shipment']}/withdraw", {"reason": "r"}, 409, "shipment_done")
    admin.refused("POST", f"/v1/shipments/{uuid4()}/withdraw", {"reason": "r"}, 404, "not_found")
    admin.post(arrival("receipt", 5, first))
    assert in_lists(admin, asked) == ({"withdrawn"}, set())
    admin.assert_holds()


def test_a_request_is_kept_once(admin):
    one = wish(shipment=str(uuid4()), bearer="sender")
    [first] = ask(admin, one)
    assert ask(admin, one, status=200) == [first]
    [again, other] = ask(admin, dict(reversed(one.items())), wish())
    assert again == first and other["shipment"] != first["shipment"]
    body = {"scheme": "tern-bay", "shipments": [{**one, "note": "changed"}]}
    admin.refused("POST", "/v1/shipments", body, 409, "shipment_conflict")
    assert len(listed(admin)) == 2
    answer = admin.send("POST", "/v1/shipments?dry_run=true", {"scheme": "tern-bay", "shipments": [wish()]})
    assert answer.json["dry_run"] is True and len(listed(admin)) == 2


def test_all_faults_come_at_once_and_nothing_is_kept(admin):
    bad = [
        wish(site="nowhere"),
        wish(to="fjord"),
        wish(to="anchor"),
        wish(cups=cups(cup_999=1)),
        wish(cups=cups(cup_300=1) + cups(cup_300=2)),
        wish(shipment=(twice := str(uuid4()))),
        wish(shipment=twice),
    ]
    answers = [
        admin.send("POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": w}) for w in (bad, [wish(), *bad[:1]])
    ]
    assert {a.status for a in answers} == {422} and listed(admin) == []
    for one, reason, pointer in (
        (bad[:1], "site_unknown", "/shipments/0/site"),
        (bad[1:2], "site_in_other_scheme", "/shipments/0/to"),
        (bad[2:3], "same_site", "/shipments/0/to"),
        (bad[3:4], "cup_type_unknown", "/shipments/0/cups/0/cup_type"),
        (bad[4:5], "cup_type_repeated", "/shipments/0/cups/1/cup_type"),
        (bad[5:], "value_repeated", "/shipments/1/shipment"),
    ):
        answer = admin.send("POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": one})
        assert [(e["reason"], e["pointer"]) for e in answer.json["errors"]] == [(reason, pointer)]
    admin.refused("POST", "/v1/shipments", {"scheme": "nowhere", "shipments": [wish()]}, 422, "scheme_unknown")
    admin.refused("POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": []}, 422, "too_few")
    for query in ("state=none", "waits_for=nobody", "state=open&waits_for=sender", "site=fjord", "overdue=maybe"):
        admin.refused("GET", f"/v1/shipments?scheme=tern-bay&{query}", None, 422, "parameter_invalid")


def test_each_key_sees_the_shipments_of_its_sites(service, admin):
    [mine, other] = ask(admin, wish(), wish(site="brick"))
    anchor = service.client(service.create_key("anchor-till", "pos", sites=["anchor"]))
    dock = service.client(service.create_key("dock-till", "pos", sites=["dock"]))
    hearth = service.client(service.create_key("hearth-books", "participant", participant="hearth"))
    for client, sees in ((anchor, [mine]), (dock, [mine, other]), (hearth, [mine])):
        assert listed(client) == [s["shipment"] for s in sees]
        client.refused("POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": [wish()]}, 403, "role_not_allowed")
    anchor.refused("GET", f"/v1/shipments/{other['shipment']}", None, 404, "not_found")
    anchor.refused("GET", "/v1/shipments?scheme=tern-bay&site=brick", None, 422, "parameter_invalid")
    sent = dispatch(20, mine)
    anchor.post(sent)
    dock.post(arrival("receipt", 20, sent))
    assert {e["kind"] for e in read(anchor, mine)["events"]} == {"dispatch"}
    assert figures(read(anchor, mine)) == {"cup-300": [20, 20, 20, 0, 0, 0]}
    assert {e["kind"] for e in read(dock, mine)["events"]} == {"receipt"}
    assert listed(admin, site="brick") == [other["shipment"]] and len(listed(admin, site="dock")) == 2


def test_what_is_overdue_comes_by_age(admin):
    late, today = ask(admin, wish(wanted_on=str(DAY)), wish(wanted_on=str(date.today() + timedelta(days=2))))
    assert listed(admin, overdue="true") == [late["shipment"]] and listed(admin, overdue="false") == [today["shipment"]]
    assert listed(admin) == [late["shipment"], today["shipment"]]
    assert listed(admin, order="newest") == [today["shipment"], late["shipment"]]
    tasks = {t["task"]: (t["count"], t["since"]) for t in admin.get("/")["tasks"]}
    assert tasks["shipments_to_send"] == (2, str(DAY)) and tasks["shipments_overdue"] == (1, str(DAY))


def test_a_packing_list_has_both_sites_and_room_for_signatures(service, admin):
    lines = cups(("cup-300", 2), cup_300=10, cup_450=4)
    [asked] = ask(admin, wish(cups=lines, note="by the side door"))
    admin.post(dispatch(4, asked))
    path = f"/v1/shipments/{asked['shipment']}/packing-list"
    packing = admin.get(path)
    assert [packing[side]["site"] for side in ("sender", "receiver")] == ["anchor", "dock"]
    assert packing["sender"]["participant_name"] == "Hearth" and packing["total"] == 12
    left = {(c["cup_type"], c["condition"]): (c["requested"], c["to_send"]) for c in packing["cups"]}
    assert left == {("cup-300", "sound"): (10, 6), ("cup-300", "damaged"): (2, 2), ("cup-450", "sound"): (4, 4)}
    paper = Page(admin.send("GET", path, headers={"Accept": "text/html"}).body)
    assert paper.title.startswith("Packing list")
    rows = paper.table("Cups")
    assert [(r["Requested"], r["To send"], r["Packed"], r["Arrived"]) for r in rows] == [
        ("10", "6", "", ""),
        ("2", "2", "", ""),
        ("4", "4", "", ""),
    ]
    assert len(paper.table("Signatures")) == 3
    till = service.client(service.create_key("dock-till", "pos", sites=["dock"]))
    assert till.get(path) == packing
    other = service.client(service.create_key("brick-till", "pos", sites=["brick"]))
    other.refused("GET", path, None, 404, "not_found")


def test_the_picture_counts_who_must_act_and_for_how_long(service, admin):
    """The days late are those between the day that was wanted and the business day that contains now."""
    today = business_day()
    days = [today + timedelta(days=n) for n in (1, 0, -1, -3, -8, -9)]
    asked = ask(admin, *(wish(wanted_on=str(day)) for day in days))
    sent = [dispatch(20, asked[n]) for n in (3, 4)]
    admin.post_many([*sent, arrival("receipt", 15, sent[1])])
    html = {"Accept": "text/html"}
    open_ones = Page(admin.send("GET", "/v1/shipments?scheme=tern-bay&state=open", headers=html).body)
    assert open_ones.bars() == [
        ("not late", "sender", "2"),
        ("1 or 2 days", "sender", "1"),
        ("3 to 7 days", "receiver", "1"),
        ("more than 7 days", "sender", "1"),
        ("more than 7 days", "accountant", "1"),
    ]
    assert open_ones.root.first("desc").text.startswith(
        "Shipments by days late: least 1 (1 or 2 days), most 2 (not late)"
    )
    target = f"/v1/shipments/{asked[4]['shipment']}"
    one = Page(admin.send("GET", target, headers=html).body)
    steps = [("requested", "20"), ("dispatched", "20"), ("received", "15"), ("missing", "5")]
    assert [(step, figure) for step, _, figure in one.bars()] == steps
    gone = Page(admin.send("GET", "/v1/shipments?scheme=tern-bay&state=withdrawn", headers=html).body)
    assert gone.all("svg") == [], "nothing waits"


def offered(browser, target):
    return {a.text: a.get("href") for a in page(browser, target).all("a") if a.get("href").startswith("/forms/")}


def test_the_office_asks_sends_and_withdraws_by_forms(service, admin):
    ann = Browser(service)
    assert ann.sign_in("ann", service.create_key("ann", "accountant")).status == 303
    new = form(ann, offered(ann, "/v1/shipments?scheme=tern-bay")["Ask for a shipment"])
    filled = {"site": "anchor", "to": "dock", "wanted_on": str(DAY), "note": "by the side door", "bearer": "sender"}
    new.fill({f"/shipments/0/{name}": value for name, value in filled.items()})
    target = led_to(new.fill({"/shipments/0/cups/0/cup_type": "cup-300", "/shipments/0/cups/0/quantity": "20"}).send())
    [asked] = admin.items("/v1/shipments", scheme="tern-bay")
    assert target == f"/v1/shipments/{asked['shipment']}" and read(admin, asked)["bearer"] == "sender"
    assert page(ann, target).facts["Note"] == "by the side door"

    send = form(ann, offered(ann, target)["Dispatch"])
    begun = ("/site", "/to", "/shipment", "/cups/0/cup_type", "/cups/0/quantity")
    assert [send.fields[f] for f in begun] == ["anchor", "dock", asked["shipment"], "cup-300", "20"]
    led_to(send.fill({"/cups/0/quantity": "12", "/occurred_at": f"{DAY}T10:00"}).send())
    assert figures(read(admin, asked)) == {"cup-300": [20, 12, 0, 0, 12, 8]}
    [row] = page(ann, target).table("Cups")
    assert [row[c] for c in ("Requested", "Dispatched", "Received", "Lost", "Missing", "To send")][:2] == ["20", "12"]

    end = form(ann, offered(ann, target)["Withdraw"])
    assert led_to(end.fill({"/reason": "no room"}).send()).startswith(f"/v1/shipments/{asked['shipment']}")
    assert not {"Dispatch", "Withdraw"} & offered(ann, target).keys()
    assert read(admin, asked)["why"] == "no room"
