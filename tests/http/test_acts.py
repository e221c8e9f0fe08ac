# SPDX-License-Identifier: ISC
"""A page leads to forms for the things that it shows, with fields filled in, and only where the service would take
them."""
from datetime import timedelta
from urllib.parse import quote

import pytest

from browser import Form
from network import WORKED_DAY, at, cups, event
from office import Office, form, forms_of, led_to, page, shown

NEXT_DAY = WORKED_DAY + timedelta(days=1)
JOURNALS = "/v1/journals?scheme=tern-bay"
TRANSFERS = "/v1/reports/transfers?scheme=tern-bay"
DAMAGED = "/v1/reports/damaged-cups?scheme=tern-bay"
BATCHES = "/v1/remaking-batches?scheme=tern-bay"
SECOND_COUNTS = "/v1/reports/second-counts?scheme=tern-bay"


@pytest.fixture
def office(service):
    return Office(service)


def offered(browser, target):
    """{words of the link: its target} of what the page offers to do."""
    return {a.text: a.get("href") for a in page(browser, target).all("a") if a.get("href").startswith("/forms/")}


# Journals -------------------------------------------------------------------------------------------------------------
LEGS = {
    "/legs/0/account": "bank_suspense",
    "/legs/0/amount": "5.00",
    "/legs/1/account": "site_clearing(anchor)",
    "/legs/1/amount": "-3.00",
    "/legs/2/account": "operator_account",
    "/legs/2/amount": "-2.00",
}


def proposed(office, legs=LEGS, reason="found in the drawer"):
    """The page of a journal that ann has proposed by the form."""
    new = form(office.ann, offered(office.ann, JOURNALS)["New journal"])
    return led_to(new.fill({**legs, "/reason": reason}).send())


def test_a_journal_is_a_page_of_its_own(office):
    target = proposed(office)
    [listed] = office.admin.items("/v1/journals", scheme="tern-bay")
    assert target == f"/v1/journals/{listed['event_id']}?scheme=tern-bay"
    assert target in page(office.ann, JOURNALS).links
    seen = page(office.ben, target)
    assert [(r["Account"], r["Debit"], r["Credit"]) for r in seen.table("Legs")] == [
        ("bank_suspense", "5.00", ""),
        ("site_clearing(anchor)", "", "3.00"),
        ("operator_account", "", "2.00"),
        ("Sum", "5.00", "5.00"),
    ]
    facts = seen.facts
    assert (facts["Why"], facts["Proposed by"], facts["Status"]) == ("found in the drawer", "ann", "open")
    whole = office.admin.get(target)
    assert {k: whole[k] for k in ("debit", "credit", "currency")} == {
        "debit": "5.00",
        "credit": "5.00",
        "currency": "CAD",
    }
    assert office.admin.send("GET", "/v1/journals/x").status == 404
    assert office.admin.send("GET", f"/v1/openings/{listed['event_id']}").status == 404


def test_a_journal_shows_the_codes_of_the_office(office):
    codes = [
        {"account": "bank_suspense", "code": "1090", "name": "Bank, to be cleared"},
        {"account": "site_clearing", "code": "1310", "name": "Cafes"},
        {"account": "site_clearing(anchor)", "code": "1311", "name": "The Anchor"},
    ]
    office.admin.put(f"/v1/schemes/tern-bay/office-accounts/{WORKED_DAY}", {"accounts": codes})
    rows = page(office.ben, proposed(office)).table("Legs")
    assert [(r["Code"], r["Name"]) for r in rows] == [
        ("1090", "Bank, to be cleared"),
        ("1311", "The Anchor"),
        ("", ""),
        ("", ""),
    ]


def test_only_another_person_is_offered_to_approve_a_journal(office):
    target = proposed(office)
    assert "you are the same person" in page(office.ann, target).root.text
    assert "another person has to approve it" in page(office.ben, target).root.text
    assert set(offered(office.ann, target)) == {"Withdraw"}
    assert set(offered(office.ann, JOURNALS)) == {"New journal", "Withdraw"}
    assert set(offered(office.reader, target)) == set()
    assert set(offered(office.ben, JOURNALS)) == {"New journal", "Approve", "Withdraw"}
    assert led_to(form(office.ben, offered(office.ben, target)["Approve"]).send()) == target.split("?")[0]
    approved = office.admin.get(target)
    assert (approved["status"], approved["decided_by"]) == ("approved", "ben")
    assert offered(office.ann, target).keys() == {"Propose the opposite journal"}


def test_a_journal_is_withdrawn_from_the_list(office):
    proposed(office)
    withdraw = form(office.ann, offered(office.ann, JOURNALS)["Withdraw"]).fill({"/reason": "in error"})
    assert led_to(withdraw.send()) == JOURNALS
    [withdrawn] = office.admin.items("/v1/journals", scheme="tern-bay", status="withdrawn")
    assert withdrawn["note"] == "in error"
    assert f"{JOURNALS}&status=withdrawn" in page(office.ann, JOURNALS).links


def test_a_journal_undoes_another(office):
    """A journal can't be reversed. Its page leads to a form with its legs turned round."""
    first = proposed(office)
    led_to(form(office.ben, offered(office.ben, first)["Approve"]).send())
    before = office.admin.accounts("tern-bay")
    opposite = form(office.ann, offered(office.ann, first)["Propose the opposite journal"])
    assert {k: opposite.fields[k] for k in LEGS} == {
        k: v if k.endswith("account") else v[1:] if v.startswith("-") else f"-{v}" for k, v in LEGS.items()
    }
    assert office.admin.get(first)["event_id"] in opposite.fields["/reason"]
    second = led_to(opposite.send())
    led_to(form(office.ben, offered(office.ben, second)["Approve"]).send())
    after = office.admin.accounts("tern-bay")
    assert before["bank_suspense"] == "5.00" and after["bank_suspense"] == "0.00"
    entry = f"/v1/events/{office.admin.get(second)['event_id']}"
    assert "Propose the opposite journal" in offered(office.ann, entry) and "Reverse" not in offered(office.ann, entry)
    office.admin.assert_holds("tern-bay")


# Shipments ------------------------------------------------------------------------------------------------------------
def test_a_shipment_is_received_from_the_report(office):
    """The worked example leaves one cup on the road. Two more dispatches follow."""
    sent = event("dispatch", "anchor", at(NEXT_DAY, "09:00"), cups=cups(("cup-450", 2), cup_300=6), to="dock")
    office.admin.post(event("damage", "anchor", at(NEXT_DAY, "08:00"), cups=cups(cup_450=2)))
    office.admin.post(sent)
    links = [a.get("href") for a in page(office.ann, TRANSFERS).all("a") if a.text == "Receive"]
    [receive] = {href for href in links if sent["event_id"] in href}
    assert len(links) == 3
    filled = form(office.ann, receive)
    lines = {k: v for k, v in filled.fields.items() if k.startswith("/cups/") and v}
    assert lines == {
        "/cups/0/cup_type": "cup-300",
        "/cups/0/quantity": "6",
        "/cups/1/cup_type": "cup-450",
        "/cups/1/quantity": "2",
        "/cups/1/condition": "damaged",
    }
    assert (filled.fields["/site"], filled.fields["/dispatch"]) == ("dock", sent["event_id"])
    partly = filled.fill({"/cups/0/quantity": "5", "/occurred_at": f"{NEXT_DAY}T10:00"})
    assert led_to(partly.send()) == TRANSFERS
    lost = offered(office.ann, f"/v1/events/{sent['event_id']}")["Lost on the way"]
    rest = form(office.ann, lost).fill({"/bearer": "sender", "/occurred_at": f"{NEXT_DAY}T11:00"})
    assert (rest.fields["/site"], rest.fields["/cups/0/quantity"]) == ("anchor", "1")
    led_to(rest.send())
    assert not [f for f in forms_of(page(office.ann, TRANSFERS)) if sent["event_id"] in f]
    assert not {"Receive", "Lost on the way"} & offered(office.ann, f"/v1/events/{sent['event_id']}").keys()
    office.admin.assert_holds("tern-bay")


def test_a_shipment_is_offered_to_those_who_may_receive_it(office):
    [sent] = [i["event"] for i in office.admin.feed("tern-bay") if i["kind"] == "dispatch"]
    target = f"/v1/events/{sent['event_id']}"
    assert {"Receive", "Lost on the way"} <= offered(office.ann, target).keys()
    assert offered(office.reader, target) == {} and forms_of(page(office.reader, TRANSFERS)) == []
    sender = office.person("brick-till", office.service.create_key("brick-till", "pos", sites=["brick"]))
    both = office.person("both-till", office.service.create_key("both-till", "pos", sites=["brick", "dock"]))
    assert offered(sender, target).keys() == set()
    assert offered(both, target).keys() == {"Receive"}


def test_a_count_is_repeated_from_its_list(office):
    """The worked example counts 34 at copper, where the book has 36, and no count may be off."""
    again = form(office.ann, offered(office.ann, SECOND_COUNTS)["Enter a count"])
    assert (again.fields["/site"], again.fields["/cups/0/cup_type"]) == ("copper", "cup-300")
    again.fill({"/cups/0/counted": "34", "/occurred_at": f"{NEXT_DAY}T09:00"})
    assert led_to(again.send()) == SECOND_COUNTS
    assert offered(office.ann, SECOND_COUNTS) == {} == offered(office.reader, "/v1/reports/counts?scheme=tern-bay")
    first = form(office.ann, offered(office.ann, "/v1/reports/counts?scheme=tern-bay")["Enter a count"])
    assert first.fields["/site"] in ("anchor", "brick", "dock")


def test_damaged_cups_are_sent_from_their_list(office):
    office.admin.post(event("damage", "anchor", at(NEXT_DAY, "08:00"), cups=cups(cup_450=2)))
    send = form(office.ann, offered(office.ann, DAMAGED)["Send"])
    lines = {k: v for k, v in send.fields.items() if k.startswith("/cups/") and v}
    assert lines == {"/cups/0/cup_type": "cup-450", "/cups/0/quantity": "2", "/cups/0/condition": "damaged"}
    assert send.fields["/site"] == "anchor"
    assert led_to(send.fill({"/to": "dock", "/occurred_at": f"{NEXT_DAY}T09:00"}).send()) == DAMAGED
    assert offered(office.ann, DAMAGED) == {}


def test_a_batch_goes_to_a_re_maker_and_comes_back(office):
    """The worked example retires a cup at brick."""
    new = form(office.ann, offered(office.ann, BATCHES)["New batch"])
    said = {"/batch": "tb-1", "/site": "brick", "/sent_on": str(NEXT_DAY), "/remaker": "Moulding", "/weight_g": "47"}
    target = led_to(new.fill({**said, "/cups/0/cup_type": "cup-300", "/cups/0/quantity": "1"}).send())
    assert target == "/v1/remaking-batches/tern-bay/tb-1" and target in page(office.ann, BATCHES).links
    acts = offered(office.ann, target)
    assert acts.keys() == {"Withdraw", "Supply the new cups"} and offered(office.reader, target) == {}
    supply = form(office.ann, acts["Supply the new cups"])
    assert supply.fields["/batch"] == "tb-1"
    supply.fill({"/site": "anchor", "/cups/0/cup_type": "cup-300", "/cups/0/quantity": "9"})
    led_to(supply.fill({"/occurred_at": f"{NEXT_DAY}T10:00"}).send())
    assert [(r["Cup type"], r["Quantity"]) for r in page(office.ann, target).table("Re-made")] == [("cup-300", "9")]
    assert offered(office.ann, target).keys() == {"Supply the new cups"}
    office.admin.assert_holds("tern-bay")


def test_a_shipment_of_an_opening_is_received(office):
    first = WORKED_DAY - timedelta(days=1)
    document = office.admin.get("/v1/reference")
    skerry = {**document["schemes"][0], "scheme": "skerry"}
    sites = [
        {**document["sites"][0], "site": code, "scheme": "skerry", "name": code.title()} for code in ("gull", "tarn")
    ]
    office.admin.load({"schemes": [skerry], "sites": sites})
    shipment = {
        "site": "gull",
        "to": "tarn",
        "dispatch": "0b6d3a5e-5f5c-4c0e-9c3a-7f0f5a4f6e21",
        "cups": cups(cup_300=9),
    }
    places = [{"site": "gull", "cup_type": "cup-300", "quantity": 40}]
    opening = event(
        "opening", None, at(WORKED_DAY, "03:00"), scheme="skerry", bank="22.50", places=places, shipments=[shipment]
    )
    assert (
        first < WORKED_DAY
        and office.service.client(office.keys["ann"]).send("POST", "/v1/events", opening).status == 202
    )
    approve = office.service.client(office.keys["ben"]).send("POST", f"/v1/openings/{opening['event_id']}/approve")
    assert approve.status == 200, approve.body
    target = "/v1/reports/transfers?scheme=skerry"
    [receive] = [a.get("href") for a in page(office.ann, target).all("a") if a.text == "Receive"]
    filled = form(office.ann, receive)
    assert (filled.fields["/site"], filled.fields["/cups/0/quantity"]) == ("tarn", "9")
    assert led_to(filled.send()) == target
    assert forms_of(page(office.ann, target)) == []


# Reversals ------------------------------------------------------------------------------------------------------------
def test_a_reversal_is_offered_where_the_service_takes_it(office):
    """For each event of the example and of the day after, and each of three keys: the page offers it if and only if a
    dry run takes it."""
    received = event("dispatch", "brick", at(NEXT_DAY, "09:00"), cups=cups(cup_300=2), to="dock")
    undone = event("supply", "dock", at(NEXT_DAY, "09:00"), cups=cups(cup_300=2))
    office.admin.post_many(
        [
            received,
            event("receipt", "dock", at(NEXT_DAY, "09:30"), cups=cups(cup_300=2), dispatch=received["event_id"]),
            undone,
            event("reversal", "dock", at(NEXT_DAY, "09:30"), reverses=undone["event_id"]),
            event("dispatch", "brick", at(NEXT_DAY, "09:00"), cups=cups(cup_300=2), to="dock"),
            event("issue", "brick", at(NEXT_DAY, "09:00"), issued=cups(cup_300=2)),
            event("retire", "brick", at(NEXT_DAY, "09:00"), cups=cups(cup_300=1)),
            event("forfeit", None, at(NEXT_DAY, "09:00"), scheme="tern-bay", cups=cups(cup_300=1)),
        ]
    )
    led_to(form(office.ben, offered(office.ben, proposed(office))["Approve"]).send())
    keys = {"till": office.service.create_key("brick-till", "pos", sites=["brick"]), "ann": office.keys["ann"]}
    keys["otto"] = office.keys["otto"]
    browsers = {"till": office.person("brick-till", keys["till"]), "ann": office.ann, "otto": office.reader}
    taken = set()
    for name, key in keys.items():
        client = office.service.client(key)
        for item in office.admin.feed("tern-bay"):
            if "event" not in item or client.send("GET", f"/v1/events/{item['event']['event_id']}").status != 200:
                continue
            one = item["event"]
            place = {"site": one["site"]} if "site" in one else {"scheme": one["scheme"]}
            undo = {**event("reversal", None, at(NEXT_DAY, "23:00"), reverses=one["event_id"]), **place}
            answer = client.send("POST", "/v1/events?dry_run=true", undo)
            links = offered(browsers[name], f"/v1/events/{one['event_id']}")
            assert ("Reverse" in links) == (answer.status == 200), (name, one["kind"], links, answer.body)
            taken.add((name, item["kind"], answer.status == 200))
    assert {("till", "issue", True), ("till", "issue", False), ("ann", "forfeit", True)} <= taken
    assert {("ann", kind, False) for kind in ("reversal", "dispatch", "supply", "journal")} <= taken


def test_a_reversal_of_an_opening_is_offered_while_it_is_alone(office):
    document = office.admin.get("/v1/reference")
    office.admin.load(
        {
            "schemes": [{**document["schemes"][0], "scheme": "skerry"}],
            "sites": [{**document["sites"][0], "site": "gull", "scheme": "skerry"}],
        }
    )
    places = [{"site": "gull", "cup_type": "cup-300", "quantity": 40}]
    opening = event("opening", None, at(WORKED_DAY, "03:00"), scheme="skerry", bank="0.00", places=places)
    assert office.service.client(office.keys["ann"]).send("POST", "/v1/events", opening).status == 202
    listed = "/v1/openings?scheme=skerry"
    assert "Upload a spreadsheet" in offered(office.ann, listed)
    target = f"/v1/openings/{opening['event_id']}"
    assert offered(office.ann, target).keys() == {"Withdraw"}
    led_to(form(office.ben, offered(office.ben, target)["Approve"]).send())
    assert "Reverse" in offered(office.ann, f"/v1/events/{opening['event_id']}")
    office.admin.post(event("supply", "gull", at(NEXT_DAY, "09:00"), cups=cups(cup_300=1)))
    assert "Reverse" not in offered(office.ann, f"/v1/events/{opening['event_id']}")


# Lists to choose codes from ----------------------------------------------------------------------------------------
def options(browser, target):
    """{name of a field: {value: words} of the list that it refers to}"""
    seen = page(browser, target)
    lists = {d.get("id"): {o.get("value"): o.text for o in d.all("option")} for d in seen.all("datalist")}
    used = {i.get("name"): lists[i.get("list")] for i in seen.all("input") if i.get("list")}
    assert {i.get("list") for i in seen.all("input") if i.get("list")} == lists.keys()
    return used


def event_form(kind, **fields):
    filled = "&".join(f"/{name}={value}" for name, value in fields.items())
    return f"/forms/postEvents?kind={kind}&fill={quote(filled)}"


def test_codes_are_chosen_from_lists_with_names(office):
    used = options(office.ann, event_form("dispatch", site="anchor"))
    assert used["/site"] == used["/to"] == {c: c.title() for c in ("anchor", "brick", "copper", "dock")}
    assert used["/cups/0/cup_type"] == used["/cups/2/cup_type"] == {"cup-300": "Cup 300 ml", "cup-450": "Cup 450 ml"}
    used = options(office.ann, event_form("journal", scheme="tern-bay"))
    accounts = used["/legs/0/account"]
    assert accounts["bank_suspense"] == "Bank suspense" and accounts["site_clearing(dock)"] == "Site clearing: Dock"
    assert accounts["arrears(quay)"] == "Arrears: Quay" and "customer_deposits" not in accounts
    for account in accounts:
        sent = {"account": account, "amount": "1.00"}, {"account": "tax", "amount": "-1.00"}
        journal = event("journal", None, at(NEXT_DAY), scheme="tern-bay", reason="x", legs=list(sent))
        assert office.admin.send("POST", "/v1/events?dry_run=true", journal).status == 200, account
    assert used["/scheme"].keys() == {"tern-bay"}
    used = options(office.boss, "/forms/createKey")
    assert used["/participant"] == {"hearth": "Hearth", "miller": "Miller", "quay": "Quay"}
    assert used["/sites/0"].keys() == {"anchor", "brick", "copper", "dock"}
    terms = page(office.boss, "/v1/schemes/tern-bay/terms").links
    [new] = [t for t in terms if t.startswith("/forms/putTerms")]
    assert options(office.boss, new)[":effective_date"].keys() == {str(WORKED_DAY)}
    assert ":site" not in options(office.boss, "/forms/putSite")


def test_a_till_chooses_among_its_own_sites(office):
    till = office.person("till", office.service.create_key("till", "pos", sites=["anchor"]))
    used = options(till, event_form("dispatch"))
    assert used["/site"].keys() == {"anchor"} and used["/to"].keys() == {"anchor"}


def test_long_lists_are_left_out(office):
    """With 201 sites, nobody looks through a list. One of 200 is there."""
    document = office.admin.get("/v1/reference")
    more = [{**document["sites"][0], "site": f"more-{i}", "name": f"More {i}"} for i in range(197)]
    office.admin.load({"sites": more[:196]})
    assert len(options(office.ann, event_form("supply"))["/site"]) == 200
    office.admin.load({"sites": more[196:]})
    used = options(office.ann, event_form("supply"))
    assert "/site" not in used and "/cups/0/cup_type" in used
    assert "bank" in options(office.ann, event_form("journal", scheme="tern-bay"))["/legs/0/account"]


def test_rows_of_a_list_are_described_once(office):
    seen = page(office.ann, event_form("journal", scheme="tern-bay"))
    described = [i.get("aria-describedby") for i in seen.all("input") if (i.get("name") or "").endswith("/account")]
    assert len(described) >= 3 and set(described) == {"d/legs/0/account"}
    assert len([s for s in seen.all("small") if s.get("id") == "d/legs/0/account"]) == 1
    assert shown(Form(office.ann, seen, "/forms/").send(more="/legs"), 200).source.count("d/legs/0/account") > 5
