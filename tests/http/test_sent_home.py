# SPDX-License-Identifier: ISC
"""Cups that a host sends home. The figures below were worked out by hand from the contract's section "Between two
schemes"; there is no published source for a network's bookkeeping."""
from datetime import timedelta
from threading import Thread
from uuid import uuid4

import pytest

from between import HOME, HOST, agree, at_host, followed, two_schemes
from browser import Browser, Form
from harness import Service, new_service
from network import at, business_day, cups, event
from pages import Page
from test_between_schemes import found_of_cups, home, posted  # noqa: F401 (day is a fixture)
from test_cups import TYPES, named

VISITING, ABROAD = f"visiting({HOME},cup-300)", f"abroad({HOST},cup-300)"


@pytest.fixture
def day():
    """The business day before today's: all of it is past."""
    return business_day() - timedelta(days=1)


def dispatch(day, clock="08:00", to="anchor", site="ferry", **lines):
    return event("dispatch", site, at_host(day, clock), cups=cups(**(lines or {"cup_300": 3})), to=to)


def receipt(day, sent, *lines, clock="09:00", site="anchor", **sound):
    return event("receipt", site, at(day, clock), cups=cups(*lines, **sound), dispatch=sent["event_id"], host=HOST)


def loss(day, sent, bearer="operator", clock="10:00", site="anchor", **lines):
    stated = {} if bearer is None else {"bearer": bearer}
    of = {"dispatch": sent["event_id"], "host": HOST, **stated}
    return event("transit_loss", site, at(day, clock), cups=cups(**lines), **of)


def legs(service, sent):
    told = service.admin.get(f"/v1/events/{sent['event_id']}")["legs"]
    return [(leg["account"], leg.get("amount", leg.get("cups"))) for leg in told]


def exceptions(answer):
    return [(x["exception"], x.get("quantity")) for x in answer["exceptions"]]


def start(service, day, stock_terms="on_loan", groups=(1, 1)):
    """Four cups of tern-bay visit petrel-island: three sound and a damaged one, all at ferry."""
    posted(service, "host", stock_terms, day, groups)
    followed(service)
    return service.admin


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_worked_example(service, day, stock_terms):
    """Three sound cups and the damaged one go home: 4 x 1.80 come back to ferry, and anchor places 3 x 2.50 for the
    three that arrive. The fourth is lost, and anchor bears it."""
    admin = start(service, day, stock_terms)
    before = admin.accounts(HOST)
    sent = event("dispatch", "ferry", at_host(day, "08:00"), cups=cups(("cup-300", 1), cup_300=3), to="anchor")
    assert exceptions(admin.post(sent)) == []
    stock = [("damaged(ferry,cup-300)", -1), ("site_stock(ferry,cup-300)", -3), (VISITING, 1), (VISITING, 3)]
    placed = ["1.80", "5.40"] if stock_terms == "on_deposit" else []
    deposits = [("stock_deposits(ferry,cup-300)", amount) for amount in placed]
    clearing = [("site_clearing(ferry)", "-" + amount) for amount in placed]
    assert sorted(legs(service, sent)) == sorted(stock + deposits + clearing)
    host = admin.accounts(HOST)
    assert host[VISITING] == 0 and host["damaged(ferry,cup-300)"] == 0
    assert host["site_stock(ferry,cup-300)"] == before["site_stock(ferry,cup-300)"] - 3
    assert "in_transit(cup-300)" not in host
    admin.assert_holds()

    came = receipt(day, sent, cup_300=3)
    assert exceptions(admin.post(came)) == [("receipt_short", 1)]
    at_home = admin.accounts(HOME)
    assert at_home[ABROAD] == 1 and at_home["site_stock(anchor,cup-300)"] == 43
    admin.assert_holds()
    gone = loss(day, sent, "receiver", cup_300=1)
    gone["cups"] = cups(("cup-300", 1))
    assert exceptions(admin.post(gone)) == []
    at_home = admin.accounts(HOME)
    assert at_home[ABROAD] == 0 and at_home["unaccounted(cup-300)"] == 1 and at_home["loss_charges"] == "-2.50"
    clearing = {"on_loan": "27.50", "on_deposit": "135.00"}[stock_terms]  # 25.00 of ten issued, and 2.50
    if stock_terms == "on_loan":
        assert at_home["site_clearing(anchor)"] == clearing
    else:  # deposits on the cups there, and the loss
        assert at_home["stock_deposits(anchor,cup-300)"] == "-107.50" and at_home["site_clearing(anchor)"] == clearing
        assert host["stock_deposits(ferry,cup-300)"] == "-73.80"  # 41 x 1.80
        assert float(host["site_clearing(ferry)"]) == float(before["site_clearing(ferry)"]) - 7.20
    admin.assert_holds()
    [open_] = service.database.rows(
        "SELECT count(*) FROM exception x LEFT JOIN exception_resolution z USING (scheme, entry, position) "
        "WHERE x.kind = 'receipt_short' AND z.entry IS NULL"
    )
    assert open_ == (0,)


def test_only_where_there_was_an_agreement(service, day):
    admin = start(service, day)
    feeds = len(admin.feed(HOST)), len(admin.feed(HOME))
    back = event("dispatch", "anchor", at(day, "08:00"), cups=cups(cup_300=1), to="ferry")
    admin.refused("POST", "/v1/events", back, 422, "site_in_other_scheme")  # each direction stands alone
    till = service.client(service.create_key("till", "pos", sites=["anchor"]))
    till.refused("POST", "/v1/events", back, 422, "site_unknown")  # a till may not know the sites of other schemes
    for host in ("no-such-place", HOME):
        of = {"dispatch": str(uuid4()), "host": host}
        lost = event("receipt", "anchor", at(day, "09:00"), cups=cups(cup_300=1), **of)
        admin.refused("POST", "/v1/events", lost, 422, "not_agreed")
    assert (len(admin.feed(HOST)), len(admin.feed(HOME))) == feeds


def test_cups_go_home_also_after_the_end_of_the_agreement(service, day):
    """The host's day begins half an hour before the day at home, so the first half hour of today is past there."""
    admin = start(service, day)
    today = day + timedelta(days=1)
    agree(service, today, {})
    back = event("return", "ferry", at_host(today, "03:10"), returned=home(cup_300=1))
    admin.refused("POST", "/v1/events", back, 422, "not_agreed")
    assert exceptions(admin.post(dispatch(today, "03:20", cup_300=3))) == []
    admin.assert_holds()


def test_more_than_visit_is_a_fact(service, day):
    admin = start(service, day)
    assert exceptions(admin.post(dispatch(day, cup_300=7))) == [("beyond_visiting", 3)]
    assert exceptions(admin.post(dispatch(day, cup_300=1))) == [("beyond_visiting", 1)]
    assert admin.accounts(HOST)[VISITING] == 4
    back = event("return", "ferry", at_host(day, "12:00"), returned=home(cup_300=1))
    assert exceptions(admin.post(back)) == []
    # Each dispatch has said how many of its own cups were too many. A reversal sends none.
    assert exceptions(admin.post(event("reversal", "ferry", at_host(day, "12:10"), reverses=back["event_id"]))) == []
    assert admin.accounts(HOST)[VISITING] == 4
    sent = dispatch(day, cup_450=2)
    assert ("beyond_visiting", 2) in exceptions(admin.post(sent))
    admin.assert_holds()


def test_the_home_must_know_the_cups(service, day):
    """A cup type without a value in the home could neither be received there nor be given up."""
    admin, document = service.admin, two_schemes(day)
    small = {"cup_type": "cup-200", "name": "Cup 200 ml", "volume_ml": 200, "mass_g": 40}
    document["cup_types"] = [*document["cup_types"], small]
    in_host = document["schemes"][1]["refund_values"]
    in_host.append({**in_host[0], "cup_type": "cup-200", "amount": "1.00"})
    admin.load(document)
    agree(service, day, {"cup-300": 170}, rate="1.4625")
    admin.post(event("supply", "ferry", at_host(day, "04:00"), cups=cups(cup_200=5)))
    admin.refused("POST", "/v1/events", dispatch(day, cup_200=1), 422, "no_refund_value")
    assert admin.post(dispatch(day, to="light", cup_200=1))["status"] == "recorded"
    wish = {"shipment": str(uuid4()), "site": "ferry", "to": "anchor", "cups": cups(cup_200=1), "wanted_on": str(day)}
    admin.refused("POST", "/v1/shipments", {"scheme": HOST, "shipments": [wish]}, 422, "no_refund_value")
    within = {"scheme": HOST, "shipments": [{**wish, "to": "light"}]}
    assert admin.send("POST", "/v1/shipments", within).status == 201
    admin.assert_holds()


def test_what_arrives_is_a_fact(service, day):
    """In parts, elsewhere, over, of another type, and never: nothing is refused for its consequences."""
    admin = start(service, day)
    sent = dispatch(day, cup_300=4)
    admin.post(sent)
    assert exceptions(admin.post(receipt(day, sent, cup_300=1))) == [("receipt_short", 3)]
    elsewhere = receipt(day, sent, site="brick", cup_300=1)
    assert exceptions(admin.post(elsewhere)) == [("receipt_elsewhere", None), ("receipt_short", 2)]
    assert exceptions(admin.post(receipt(day, sent, cup_300=3))) == [("receipt_over", 1)]
    assert exceptions(admin.post(receipt(day, sent, cup_450=1))) == [("receipt_over", 1)]
    assert exceptions(admin.post(loss(day, sent, cup_300=1))) == [("loss_over", 1)]
    assert admin.accounts(HOME)[ABROAD] == -2
    admin.assert_holds()


def test_refusals(service, day):
    admin = start(service, day)
    sent = dispatch(day)
    admin.post(sent)
    plain = event("dispatch", "ferry", at_host(day, "08:00"), cups=cups(cup_300=1), to="light")
    admin.post(plain)
    unknown = {**receipt(day, sent, cup_300=1), "dispatch": str(uuid4())}
    admin.refused("POST", "/v1/events", unknown, 422, "event_unknown")
    admin.refused("POST", "/v1/events", receipt(day, plain, cup_300=1), 422, "event_unknown")
    without = {k: v for k, v in receipt(day, sent, cup_300=1).items() if k != "host"}
    admin.refused("POST", "/v1/events", without, 422, "event_unknown")
    there = event("receipt", "light", at_host(day, "09:00"), cups=cups(cup_300=1), dispatch=sent["event_id"])
    admin.refused("POST", "/v1/events", there, 422, "site_in_other_scheme")
    lost = event(
        "transit_loss", "ferry", at_host(day, "09:00"), cups=cups(cup_300=1), dispatch=sent["event_id"], bearer="sender"
    )
    admin.refused("POST", "/v1/events", lost, 422, "site_in_other_scheme")
    admin.refused("POST", "/v1/events", loss(day, sent, "sender", cup_300=1), 422, "bearer_in_other_scheme")
    admin.refused("POST", "/v1/events", loss(day, sent, site="brick", cup_300=1), 422, "site_differs")
    till = service.client(service.create_key("till", "pos", sites=["anchor"]))
    till.refused("POST", "/v1/events", loss(day, sent, cup_300=1), 403, "role_not_allowed")
    assert till.post(receipt(day, sent, cup_300=1))["status"] == "recorded"
    assert till.send("GET", f"/v1/events/{sent['event_id']}").status == 404  # the till may not read the host's data
    admin.assert_holds()


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_reversals(service, day, stock_terms):
    admin = start(service, day, stock_terms)
    before = admin.accounts(HOST), admin.accounts(HOME)
    sent = dispatch(day)
    admin.post(sent)
    came, lost = receipt(day, sent, cup_300=2), loss(day, sent, "receiver", cup_300=1)
    admin.post_many([came, lost])

    def undo(of, site, clock):
        return event("reversal", site, clock, reverses=of["event_id"])

    back = undo(sent, "ferry", at_host(day, "11:00"))
    refused = admin.refused("POST", "/v1/events", back, 422, "dispatch_arrived")
    assert "the home must first reverse" in refused.json["detail"]
    assert exceptions(admin.post(undo(lost, "anchor", at(day, "11:00")))) == [("receipt_short", 1)]
    admin.refused("POST", "/v1/events", back, 422, "dispatch_arrived")
    admin.post(undo(came, "anchor", at(day, "11:10")))
    assert admin.post(back)["status"] == "recorded"

    def standing(accounts):
        return {name: amount for name, amount in accounts.items() if amount not in (0, "0.00")}

    assert (standing(admin.accounts(HOST)), standing(admin.accounts(HOME))) == tuple(map(standing, before))
    assert exceptions(admin.post(receipt(day, sent, cup_300=1))) == [("receipt_over", 1)]
    admin.assert_holds()


def test_an_arrival_or_the_reversal_of_its_dispatch_comes_first(database, day):
    """A till of the home receives a dispatch while the host's till reverses it. The two schemes have a writer each, and
    there are two instances. Either the dispatch was reversed first, and the receipt is over; or it is not reversed."""
    service, other = new_service(database), None
    try:
        admin = start(service, day, groups=(1, 2))
        other = Service(database).start()
        sent = [dispatch(day, f"08:{n:02}", cup_300=1) for n in range(40)]
        admin.post_many(sent)
        results = {}

        def work(name, client, events):
            results[name] = client.post_many(events)

        came = [receipt(day, one, cup_300=1) for one in sent]
        undone = [event("reversal", "ferry", at_host(day, "12:00"), reverses=one["event_id"]) for one in reversed(sent)]
        threads = [
            Thread(target=work, args=("came", admin, came)),
            Thread(target=work, args=("undone", other.client(service.admin_key), undone)),
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        for one, back in zip(results["came"], reversed(results["undone"])):
            assert one["status"] == "recorded"
            over = "receipt_over" in [x["exception"] for x in one["exceptions"]]
            assert over == (back["status"] == "recorded"), (one, back)
            if not over:
                assert back["problem"]["reason"] == "dispatch_arrived"
        admin.assert_holds()
    finally:
        if other is not None and other.process is not None:
            other.kill()
        service.stop()


def test_a_dispatch_and_its_receipt_in_one_request(service, day):
    admin = start(service, day)
    sent = dispatch(day)
    answers = admin.post_many([sent, receipt(day, sent, cup_300=3)])
    assert [a["status"] for a in answers] == ["recorded"] * 2
    admin.assert_holds()


def test_reports_show_them_in_both_schemes(service, day):
    admin = start(service, day)
    sent = dispatch(day)
    admin.post(sent)
    admin.post(receipt(day, sent, cup_300=2))

    def transfers(scheme, **query):
        return admin.get("/v1/reports/transfers", scheme=scheme, **query)["items"]

    for scheme in (HOST, HOME):
        [row] = transfers(scheme)
        assert (row["sent"], row["received"], row["on_the_way"], row["state"]) == (3, 2, 1, "short")
        assert (row["from_scheme"], row["to_scheme"]) == (HOST, HOME) and row.get("in_transit") is None
        assert (row["sender"], row["receiver"], row["event_id"]) == ("ferry", "anchor", sent["event_id"])
    [cup_row] = [r for r in admin.get("/v1/reports/between-schemes", scheme=HOME)["items"] if r["item"] == "cup-300"]
    assert (cup_row["visiting"], cup_row["on_the_way"], cup_row["abroad"]) == (1, 1, 2)


def test_cups_with_identity_go_home(service, day):
    """A receipt that names none, and completes its dispatch, brings all cups that the dispatch names."""
    admin, database = service.admin, service.database
    document = two_schemes(day)
    document["cup_types"] = TYPES
    admin.load(document)
    agree(service, day, {"cup-300": 170}, rate="1.4625")
    admin.post(event("supply", "anchor", at(day, "04:00"), cups=named("A1", "A2", "A3", quantity=50)))
    admin.post(event("issue", "anchor", at(day, "04:10"), issued=named("A1", "A2", "A3")))
    admin.post(event("return", "ferry", at_host(day, "06:00"), returned=named("A1", "A2", "A3", home=HOME)))
    sent = event("dispatch", "ferry", at_host(day, "08:00"), cups=named("A1", "A2", "A3"), to="anchor")
    admin.post(sent)
    assert found_of_cups(database) == []
    admin.post(receipt(day, sent, cup_300=1))
    assert found_of_cups(database) == []
    admin.post(receipt(day, sent, clock="09:10", cup_300=2))
    assert found_of_cups(database) == []
    rows = database.rows(
        """SELECT c.code, k.code, s.brought FROM sighting s JOIN scheme c ON c.id = s.scheme
             LEFT JOIN scheme k ON k.id = s.host WHERE s.kind = 6"""
    )
    assert rows == [(HOME, HOST, True)] * 3
    admin.post(event("issue", "anchor", at(day, "12:00"), issued=named("A1")))
    assert found_of_cups(database) == []
    followed(service)
    admin.assert_holds()


def test_people_ask_for_a_shipment_home(service, day):
    """The request stands in the host's lists. The receiver's till reads it, and its counter page shows what comes."""
    admin = start(service, day)
    secret = service.create_key("till", "pos", sites=["anchor"])
    till, browser = service.client(secret), Browser(service)
    assert browser.sign_in("till", secret).status == 303
    shipment = str(uuid4())
    wish = {"shipment": shipment, "site": "ferry", "to": "anchor", "cups": cups(cup_300=3), "wanted_on": str(day)}

    def ask(scheme=HOST, **more):
        return "POST", "/v1/shipments", {"scheme": scheme, "shipments": [{**wish, **more}]}

    for bearer in ("sender", "receiver", "operator"):  # the home decides
        admin.refused(*ask(bearer=bearer), 422, "bearer_in_other_scheme")
    back = {"shipment": str(uuid4()), "site": "anchor", "to": "ferry"}
    admin.refused(*ask(HOME, **back), 422, "site_in_other_scheme")
    assert admin.send(*ask()).status == 201
    # A request of before the rule may state one. It binds nobody.
    service.database.run("UPDATE shipment_request SET bearer = 'operator'")
    sent = {**dispatch(day), "shipment": shipment}
    admin.post(sent)

    def stands():
        told = till.get(f"/v1/shipments/{shipment}")
        line = {k: told["cups"][0][k] for k in ("dispatched", "received", "lost", "missing")}
        return told["state"], told.get("waits_for"), tuple(line.values()), [e["kind"] for e in told["events"]]

    assert stands() == ("in_transit", ["receiver"], (3, 0, 0, 3), [])  # the dispatch is another site's event
    page = browser.send("GET", "/counter").text
    assert sent["event_id"] in page and f'name="host" value="{HOST}"' in page
    assert till.post(receipt(day, sent, cup_300=2))["status"] == "recorded"
    # The host's accountant can do nothing. The home's has the exception.
    assert stands() == ("short", None, (3, 2, 0, 1), ["receipt"])
    assert admin.items("/v1/shipments", scheme=HOST, waits_for="accountant") == []
    told = {s: admin.get("/v1/reports/exceptions", scheme=s, state="open")["items"] for s in (HOME, HOST)}
    assert [(x["kind"], x["quantity"]) for x in told[HOME]] == [("receipt_short", 1)]
    assert "receipt_short" not in [x["kind"] for x in told[HOST]]
    # The home's own rule decides who bears the loss: the receiver.
    admin.post(loss(day, sent, None, cup_300=1))
    assert stands() == ("arrived", None, (3, 2, 1, 0), ["receipt", "transit_loss"])
    assert admin.accounts(HOME)["loss_charges"] == "-2.50"
    assert [s["shipment"] for s in admin.items("/v1/shipments", scheme=HOST)] == [shipment]
    admin.assert_holds()


def test_a_loss_without_bearer_is_not_the_sender_s(service, day):
    """Nobody bears it but the home. If the home's own rule is that the sender does, a person has to say who."""
    admin = start(service, day)
    sent = dispatch(day)
    admin.post(sent)
    kept = {k: v for k, v in admin.get(f"/v1/schemes/{HOME}").items() if k != "scheme"}
    admin.put(f"/v1/schemes/{HOME}", {**kept, "loss_bearer": "sender"})
    admin.refused("POST", "/v1/events", loss(day, sent, None, cup_300=1), 422, "bearer_in_other_scheme")
    admin.put(f"/v1/schemes/{HOME}", {**kept, "loss_bearer": "operator"})
    lost = loss(day, sent, None, cup_300=1)
    assert admin.post(lost)["status"] == "recorded"
    assert admin.get(f"/v1/events/{lost['event_id']}")["event"]["bearer"] == "operator"
    assert admin.post(lost)["status"] == "duplicate"
    assert "loss_charges" not in admin.accounts(HOME)
    admin.assert_holds()


def test_the_receiving_scheme_winds_up_what_is_on_the_way(service, day):
    admin = start(service, day)
    sent = dispatch(day)
    admin.post(sent)

    def road(scheme):
        rows = admin.get("/v1/reports/winding-up", scheme=scheme)["items"]
        return [(r["site"], r["cups"], r["account"]) for r in rows if r["what"] == "on_the_road"]

    assert road(HOST) == [] and road(HOME) == [("anchor", 3, ABROAD)]
    admin.post(loss(day, sent, "receiver", cup_300=3))
    assert road(HOME) == []
    [row] = admin.get("/v1/reports/shrinkage", scheme=HOME, **{"from": str(day), "to": str(day)})["items"]
    assert (row["site"], row["lost"]) == ("anchor", 3)


def test_a_page_leads_to_the_receipt_in_the_home(service, day):
    admin = start(service, day)
    sent = dispatch(day)
    admin.post(sent)
    [line] = admin.get(f"/v1/events/{sent['event_id']}")["transfer"]
    assert (line["home"], line["receiver"], line["in_transit"]) == (HOME, "anchor", 3)
    ann = Browser(service)
    assert ann.sign_in("ann", service.create_key("ann", "accountant")).status == 303
    links = Page(ann.send("GET", f"/v1/events/{sent['event_id']}").text.encode()).all("a")
    acts = {a.text: a.get("href") for a in links if a.get("href").startswith("/forms/")}
    for act in ("Receive", "Lost on the way"):
        form = Form(ann, Page(ann.send("GET", acts[act]).text.encode()), "/forms/postEvents")
        filled = {name: form.fields[name] for name in ("/host", "/site", "/dispatch", "/cups/0/quantity")}
        assert list(filled.values()) == [HOST, "anchor", sent["event_id"], "3"], act
