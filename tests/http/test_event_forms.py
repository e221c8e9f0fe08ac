# SPDX-License-Identifier: ISC
"""Events that a person records by a form: the ledger then has what the same event by request would have given it."""
from datetime import datetime, timedelta
from urllib.parse import quote, urlencode

import pytest

from browser import Form
from harness import at_once
from network import WORKED_DAY, at, cups, event, utc
from office import Office, form, led_to, page, shown

NEXT_DAY = WORKED_DAY + timedelta(days=1)


@pytest.fixture
def office(service):
    return Office(service)


def address(kind, **fields):
    """The address of the form for a kind, with fields that a link filled in."""
    filled = urlencode({f"/{name}": value for name, value in fields.items()})
    return f"/forms/postEvents?kind={kind}" + (f"&fill={quote(filled)}" if fields else "")


def recorded(office, location):
    assert location.startswith("/v1/events/"), location
    return office.admin.get(location)


def clock(hours):
    """A time of the next day, as the scheme's clock shows it, in the form of the HTML Standard's local date and time
    (section 2.3.5.5)."""
    return f"{NEXT_DAY}T{hours}"


KINDS = {
    "supply": {"/site": "brick", "/cups/0/cup_type": "cup-300", "/cups/0/quantity": "7"},
    "count": {"/site": "copper", "/cups/0/cup_type": "cup-300", "/cups/0/counted": "0"},
    "damage": {"/site": "brick", "/cups/0/cup_type": "cup-300", "/cups/0/quantity": "2"},
    "retire": {"/site": "brick", "/cups/0/cup_type": "cup-300", "/cups/0/quantity": "1", "/mass_g": "48"},
    "dispatch": {"/site": "brick", "/to": "dock", "/cups/1/cup_type": "cup-300", "/cups/1/quantity": "3"},
    "forfeit": {"/scheme": "tern-bay", "/cups/0/cup_type": "cup-300", "/cups/0/quantity": "1"},
    "issue": {"/site": "anchor", "/issued/0/cup_type": "cup-450", "/issued/0/quantity": "1", "/tender": "cash"},
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_form_records_what_a_request_would(office, kind):
    filled = form(office.ann, address(kind)).fill({**KINDS[kind], "/occurred_at": clock("12:30")})
    got = recorded(office, led_to(filled.send()))["event"]
    assert (got["kind"], got["occurred_at"]) == (kind, utc(datetime.fromisoformat(at(NEXT_DAY, "12:30"))))
    place = "scheme" if kind == "forfeit" else "site"
    assert got[place] == KINDS[kind][f"/{place}"]
    [line] = got["issued" if kind == "issue" else "cups"]
    quantity = next(int(v) for k, v in KINDS[kind].items() if k.endswith(("/quantity", "/counted")))
    assert line["counted" if kind == "count" else "quantity"] == quantity
    office.admin.assert_holds("tern-bay")


def test_every_kind_that_the_key_may_post_has_a_form(office):
    links = [href for href in page(office.ann, "/forms/postEvents").links if href.startswith("/forms/")]
    kinds = {href.split("=")[1] for href in links}
    assert {"transit_loss", "forfeit", "reinstate", "reversal", "journal", *KINDS} <= kinds
    for href in links:
        fields = form(office.ann, href).fields
        assert "/event_id" not in fields and "/kind" not in fields and "/approved_by" not in fields
    till = office.person("till", office.service.create_key("till", "pos", sites=["anchor"]))
    posted = {href.split("=")[1] for href in page(till, "/forms/postEvents").links if href.startswith("/forms/")}
    assert "count" in posted and "journal" not in posted and "transit_loss" not in posted
    assert till.send("GET", address("journal")).status == 403


def test_the_time_is_now_unless_it_is_typed(office):
    before = office.service.database.rows("SELECT date_trunc('second', clock_timestamp())::text")[0][0]
    got = recorded(office, led_to(form(office.ann, address("supply")).fill(KINDS["supply"]).send()))["event"]
    rows = office.service.database.rows(
        "SELECT %s::timestamptz BETWEEN %s::timestamptz AND clock_timestamp()", got["occurred_at"], before
    )
    assert rows == [(True,)]


def test_an_event_is_recorded_once(office):
    """A double click, a reload, and a form whose session has been lost meanwhile."""
    supply = form(office.ann, address("supply")).fill(KINDS["supply"])
    before = len(office.admin.feed("tern-bay"))
    answers = at_once(*(supply.send for _ in range(4)))
    assert {led_to(a) for a in answers} == {f"/v1/events/{supply.fields['event_id']}"}
    assert len(office.admin.feed("tern-bay")) == before + 1
    assert led_to(supply.send()) == f"/v1/events/{supply.fields['event_id']}"
    assert len(office.admin.feed("tern-bay")) == before + 1


def test_a_form_that_is_shown_again_is_the_same_event(office):
    """Its id stays, and so does the time that it got: an answer that was lost can be asked for again."""
    wrong = {**KINDS["supply"], "/cups/0/quantity": "none", "/reference": 'van "2" <b>'}
    first = form(office.ann, address("supply")).fill(wrong)
    again = Form(office.ann, shown(first.send(), 422), "/forms/")
    assert again.fields["event_id"] == first.fields["event_id"] and again.fields["once"] != first.fields["once"]
    assert again.fields["/reference"] == 'van "2" <b>' and again.fields["/cups/0/quantity"] == "none"
    assert again.fields["/occurred_at"] != ""
    assert led_to(again.fill({"/cups/0/quantity": "7"}).send()) == f"/v1/events/{first.fields['event_id']}"
    assert led_to(Form(office.ann, again_of(office, again), "/forms/").send()).endswith(first.fields["event_id"])


def again_of(office, sent):
    """The same form once more, as if its answer had been lost: another copy with the same event."""
    return shown(sent.send(more="/cups", once=sent.fields["once"]), 200)


def test_faults_stand_beside_the_fields(office):
    wrong = {"/site": "nowhere", "/cups/0/cup_type": "cup-300", "/cups/0/quantity": "0", "/occurred_at": "noon"}
    again = shown(form(office.ann, address("supply")).fill(wrong).send(), 422)
    places = {a.get("href") for a in again.all("a") if (a.get("href") or "").startswith("#f/")}
    assert places == {"#f/cups/0/quantity", "#f/occurred_at"}
    assert {i.get("name") for i in again.all("input") if i.get("aria-invalid")} == {"/cups/0/quantity", "/occurred_at"}
    known = {**wrong, "/cups/0/quantity": "1", "/occurred_at": clock("09:00")}
    again = shown(form(office.ann, address("supply")).fill(known).send(), 422)
    assert "site" in again.root.text and Form(office.ann, again, "/forms/").fields["/site"] == "nowhere"


def test_a_reversal_shows_what_it_undoes(office):
    posted = event("issue", "anchor", at(NEXT_DAY, "10:00"), issued=cups(cup_300=2))
    office.admin.post(posted)
    undo = page(office.ann, address("reversal", reverses=posted["event_id"], site="anchor"))
    assert posted["event_id"] in undo.root.text and "Anchor" in undo.root.text + undo.root.text.title()
    sent = Form(office.ann, undo, "/forms/").fill({"/occurred_at": clock("11:00")})
    got = recorded(office, led_to(sent.send()))
    assert got["event"]["reverses"] == posted["event_id"]
    office.admin.assert_holds("tern-bay")


def test_a_reversal_of_something_else_than_was_shown(office):
    """The id was typed on a page that showed nothing: the page shows the event before anything is done."""
    posted = event("issue", "anchor", at(NEXT_DAY, "10:00"), issued=cups(cup_300=2))
    office.admin.post(posted)
    blind = form(office.ann, address("reversal")).fill({"/reverses": posted["event_id"], "/site": "anchor"})
    looked = shown(blind.send(), 412)
    assert posted["event_id"] in looked.root.text
    assert "reversed_by" not in office.admin.get(f"/v1/events/{posted['event_id']}")
    assert recorded(office, led_to(Form(office.ann, looked, "/forms/").send()))["event"]["kind"] == "reversal"


def test_a_journal_is_proposed(office):
    legs = {
        "/legs/0/account": "bank_suspense",
        "/legs/0/amount": "5.00",
        "/legs/1/account": "operator_account",
        "/legs/1/amount": "-5.00",
    }
    new = form(office.ann, address("journal", scheme="tern-bay")).fill({**legs, "/reason": "found in the drawer"})
    assert led_to(new.send()) == f"/v1/journals/{new.fields['event_id']}?scheme=tern-bay"
    [journal] = office.admin.items("/v1/journals", scheme="tern-bay")
    assert (journal["proposed_by"], journal["event_id"]) == ("ann", new.fields["event_id"])
    led_to(new.send())
    assert len(office.admin.items("/v1/journals", scheme="tern-bay")) == 1


def test_a_try_records_no_event(office):
    before = office.admin.feed("tern-bay")
    tried = shown(form(office.ann, address("supply")).fill(KINDS["supply"]).send(**{"try": "true"}), 200)
    assert "Nothing was recorded yet" in tried.source
    assert office.admin.feed("tern-bay") == before
    led_to(Form(office.ann, tried, "/forms/").send())
    assert len(office.admin.feed("tern-bay")) == len(before) + 1


def test_no_other_site_records_an_event(office):
    before, fields = office.admin.feed("tern-bay"), form(office.ann, address("supply")).fill(KINDS["supply"]).fields
    foreign = {"Origin": "https://elsewhere.example", "Sec_Fetch_Site": "cross-site"}
    assert office.ann.submit("/forms/postEvents", fields, **foreign).status == 403
    assert office.ann.submit("/forms/postEvents", {**fields, "kind": "fees"}).status == 422
    assert office.ann.submit("/forms/postEvents", {k: v for k, v in fields.items() if k != "event_id"}).status == 422
    assert office.ann.submit("/forms/postEvents", {**fields, "event_id": "x"}).status == 422
    assert office.reader.submit("/forms/postEvents", fields).status == 403
    assert office.admin.feed("tern-bay") == before


def test_fields_that_a_link_filled_in(office):
    filled = form(office.ann, address("count", site="copper", reference='a&b="c"'))
    assert (filled.fields["/site"], filled.fields["/reference"]) == ("copper", 'a&b="c"')
    assert office.ann.send("GET", "/forms/postEvents?kind=count&fill=%25zz").status in (400, 422)
