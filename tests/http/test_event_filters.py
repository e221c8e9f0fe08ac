# SPDX-License-Identifier: ISC
"""The list of events as an office looks for something in it: by site, kind, day, reference and lateness, with the
stated amount, the tariff and the leg of the site's clearing beside each other."""
import itertools
from datetime import timedelta
from decimal import Decimal
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest

import network
from browser import Form
from network import WORKED_DAY, at, cups, event
from office import Office, page

NEXT_DAY = WORKED_DAY + timedelta(days=1)
VALUES = {WORKED_DAY: {"cup-300": "2.50", "cup-450": "3.50"}, NEXT_DAY: {"cup-300": "3.00", "cup-450": "3.50"}}
LATE_REFERENCE = 'till "9"\\ü'


class Late(Office):
    """The worked example on deposit. A cup's value is another one on the next day, on which late events arrive."""

    def __init__(self, service):
        document = network.worked_reference("on_deposit")
        document["schemes"][0]["refund_values"].append(
            {"cup_type": "cup-300", "effective_date": str(NEXT_DAY), "amount": "3.00"}
        )
        super().__init__(service, document)
        for e in [
            event("issue", "anchor", at(WORKED_DAY, "13:00"), issued=cups(cup_300=10), reference=LATE_REFERENCE),
            event("return", "copper", at(WORKED_DAY, "13:10"), returned=cups(cup_300=2), amount="4.00"),
            event("issue", "anchor", at(NEXT_DAY, "09:00"), issued=cups(cup_300=1), reference="till 2/1187"),
            event("return", "anchor", at(NEXT_DAY, "09:10"), returned=cups(cup_300=1)),
            event("retire", "copper", at(WORKED_DAY, "21:10"), cups=cups(cup_300=1)),
        ]:
            self.admin.post(e)


@pytest.fixture(scope="module")
def office(shared):
    return Late(shared)


def listed(client, limit=100, **asked):
    """All items, over as many slices as it takes."""
    items, more = [], {"limit": limit}
    while more is not None:
        answer = client.get("/v1/events?" + urlencode({"scheme": "tern-bay", "order": "oldest", **asked, **more}))
        items += answer["items"]
        more = {"limit": limit, "cursor": answer["next"]} if "next" in answer else None
    return items


@pytest.fixture(scope="module")
def everything(office):
    return listed(office.admin)


# The money of an event ------------------------------------------------------------------------------------------------
def tariff(item):
    """The price of the cups on the day of occurrence: issued less returned; of a return, the money paid out for it."""
    did = item["event"]
    day = WORKED_DAY if did["occurred_at"] < at(NEXT_DAY, "03:00") else NEXT_DAY

    def cost(lines):
        return sum(c["quantity"] * Decimal(VALUES[day][c["cup_type"]]) for c in did.get(lines, []))

    return cost("returned") if item["kind"] == "return" else cost("issued") - cost("returned")


def test_each_event_has_its_tariff_and_its_clearing(office, everything):
    told = 0
    for item in everything:
        legs = [
            Decimal(leg["amount"])
            for leg in item["legs"]
            if "event" in item and leg["account"] == f"site_clearing({item['event'].get('site')})"
        ]
        if "event" in item:
            assert item.get("clearing") == (f"{sum(legs):.2f}" if legs else None), item
        if item["kind"] in ("issue", "return", "exchange"):
            assert Decimal(item["tariff"]) == tariff(item), item
            told += 1
        else:
            assert "tariff" not in item
    assert told == 10
    [short] = [i for i in everything if i["kind"] == "issue" and i["event"].get("amount") == "8.00"]
    assert (short["tariff"], short["clearing"]) == ("10.00", "-2.00"), "8.00 taken, 10.00 of stock deposits given back"


def test_a_page_shows_them_beside_each_other(office, everything):
    rows = page(office.ann, "/v1/events?scheme=tern-bay&limit=500").table()
    shown = {r["Entry"]: r for r in rows}
    assert len(shown) == len(everything)
    for item in everything:
        row, did = shown[str(item["entry"])], item.get("event", {})
        assert (row["Amount"], row["Tariff"], row["Clearing"]) == tuple(
            value if value is not None and Decimal(value) else value or ""
            for value in (did.get("amount"), item.get("tariff"), item.get("clearing"))
        )


# Filters --------------------------------------------------------------------------------------------------------------
CHOICES = {
    "site": (None, "anchor", "copper"),
    "kind": (None, "issue", "retire", "fees"),
    "business_date": (None, str(WORKED_DAY), str(NEXT_DAY)),
    "reference": (None, "till 2/1187"),
    "late": (None, "true", "false"),
}


def is_asked_for(item, asked):
    did = item.get("event", {})
    return (
        asked.get("kind") in (None, item["kind"])
        and asked.get("business_date") in (None, item["business_date"])
        and asked.get("reference") in (None, did.get("reference"))
        and asked.get("late") in (None, str(item["late"]).lower())
    )


@pytest.mark.parametrize("site", CHOICES["site"])
def test_filters_together_find_what_each_of_them_lets_pass(office, everything, site):
    """The entries of a close belong to sites as well, and name them in no event."""
    of_site = listed(office.admin, **({"site": site} if site else {}))
    if site is None:
        assert of_site == everything
    else:
        assert [i for i in of_site if "event" in i] == [i for i in everything if i.get("event", {}).get("site") == site]
    found = set()
    for values in itertools.product(*(CHOICES[name] for name in CHOICES if name != "site")):
        asked = {name: v for name, v in zip([n for n in CHOICES if n != "site"], values) if v is not None}
        wanted = [i["entry"] for i in of_site if is_asked_for(i, asked)]
        assert [i["entry"] for i in listed(office.admin, **asked, **({"site": site} if site else {}))] == wanted, asked
        found.add(len(wanted))
    assert len(found) > 3


def test_late_ones_are_found_from_either_end(office, everything):
    late = [i["entry"] for i in everything if i["late"]]
    assert len(late) == 3
    assert [i["entry"] for i in listed(office.admin, 2, late="true")] == late
    assert [i["entry"] for i in listed(office.admin, 2, late="true", order="newest")] == late[::-1]
    assert [i["event"]["reference"] for i in listed(office.admin, reference=LATE_REFERENCE)] == [LATE_REFERENCE]


def test_a_filter_is_no_feed(office):
    """The feed goes on where nothing has come yet. A list ends."""
    assert "next" not in office.admin.get("/v1/events?scheme=tern-bay&late=true")


@pytest.mark.parametrize("late", ["yes", "1", "TRUE"])
def test_lateness_is_true_or_false(office, late):
    problem = office.admin.send("GET", f"/v1/events?scheme=tern-bay&late={late}")
    assert problem.status == 422 and problem.json["errors"][0]["parameter"] == "late"


# The form above the list ----------------------------------------------------------------------------------------------
def filter_form(browser, target):
    """The form, and a function that sends it as a browser does."""
    form = Form(browser, page(browser, target), "/v1/events")

    def send(**values):
        form.fill(values)
        return f"{form.action}?{urlencode(form.fields)}"

    return form, send


def test_a_form_asks_for_a_part_of_the_list(office, everything):
    form, send = filter_form(office.ann, "/v1/events?scheme=tern-bay")
    assert form.fields == {
        "scheme": "tern-bay", "site": "", "kind": "", "business_date": "", "reference": "", "late": "",
    }  # fmt: skip
    target = send(site="anchor", kind="issue", late="true")
    rows = page(office.ann, target).table()
    assert [r["Entry"] for r in rows] == [
        str(i["entry"]) for i in everything if i["late"] and i["kind"] == "issue" and i["event"]["site"] == "anchor"
    ]
    form, send = filter_form(office.ann, target)
    assert (form.fields["site"], form.fields["kind"], form.fields["late"]) == ("anchor", "issue", "true")
    rows = page(office.ann, send(late="", kind="", reference="till 2/1187")).table()
    assert [r["Kind"] for r in rows] == ["issue"], "what was chosen before is kept"


def test_a_form_keeps_what_else_was_asked_for(office):
    form, send = filter_form(office.ann, f"/v1/events?scheme=tern-bay&from={WORKED_DAY}&to={WORKED_DAY}&limit=3")
    asked = dict(parse_qsl(urlsplit(send(site="anchor")).query))
    assert asked == {"scheme": "tern-bay", "from": str(WORKED_DAY), "to": str(WORKED_DAY), "site": "anchor"}
    assert {r["Business date"] for r in page(office.ann, send()).table()} == {str(WORKED_DAY)}


def test_a_form_names_things_and_offers_only_what_the_key_knows(office):
    till = office.person("anchor-till", office.service.create_key("anchor-till", "pos", sites=["anchor", "brick"]))
    for browser, codes in ((office.ann, ["anchor", "brick", "copper", "dock"]), (till, ["anchor", "brick"])):
        shown = page(browser, "/v1/events?scheme=tern-bay")
        [select] = [s for s in shown.all("select") if s.get("name") == "site"]
        options = list(select.all("option"))
        assert [o.get("value") for o in options] == ["", *codes]
        assert [o.said for o in options] == ["All", *(f"{c} \u00b7 {c.title()}" for c in codes)]
