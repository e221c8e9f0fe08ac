# SPDX-License-Identifier: ISC
"""Forms in a browser: each does what the same request with a key would do, once, and shows its faults beside the
fields."""
import re
from datetime import timedelta
from urllib.parse import quote, unquote

import pytest

import network
from browser import Browser, Form
from harness import at_once
from network import WORKED_DAY
from office import SETTLEMENT, Office, form, forms_of, led_to, page, shown
from pages import Page


@pytest.fixture
def office(service):
    return Office(service)


def test_a_day_is_approved_by_two(office):
    """The person who closed the day may not approve. An accountant approves all, from the page that shows them."""
    [approve, *_] = [f for f in forms_of(page(office.ann, SETTLEMENT)) if "approveSettlement" in f]
    refused = shown(form(office.boss, approve).send(), 409)
    assert "Nothing was recorded" in refused.source
    before = page(office.ann, approve)
    assert before.table("How far the payments are")[0]["State"] == "Waiting for approval"
    assert "By status" not in before.source, "as the settlement's own page shows it"
    amounts = {row["Amount"] for row in before.table("Payments")}
    assert amounts == {p["amount"] for p in office.admin.get(SETTLEMENT)["payments"]}
    assert led_to(Form(office.ann, before, "/forms/").send()) == SETTLEMENT
    statuses = {p["status"] for p in office.admin.get(SETTLEMENT)["payments"]}
    assert statuses == {"approved"}


def test_a_form_is_done_once(office):
    """A double click, a reload and the back button."""
    payment = office.admin.get(SETTLEMENT)["payments"][0]["payment_id"]
    target = f"/v1/payments/{payment}"
    [approve] = [f for f in forms_of(page(office.ann, target)) if "approvePayment" in f]
    first = form(office.ann, approve)
    assert [led_to(first.send()) for _ in range(2)] == [target, target]
    changes = [c["change"] for c in office.admin.get(target)["changes"]]
    assert changes == ["approve"]
    confirm = [f for f in forms_of(page(office.ben, target)) if "confirmPayment" in f][0]
    twice = form(office.ben, confirm)
    answers = at_once(*(twice.send for _ in range(4)))
    assert {led_to(a) for a in answers} == {target}
    assert [c["change"] for c in office.admin.get(target)["changes"]] == ["approve", "confirm"]


def test_nobody_approves_what_has_changed(office):
    """The page showed a payment. When the form comes, it has been approved by somebody else."""
    payment = office.admin.get(SETTLEMENT)["payments"][0]["payment_id"]
    stale = form(office.ann, f"/forms/approvePayment?target=/v1/payments/{payment}/approve")
    answer = office.service.client(office.keys["ben"]).send("POST", f"/v1/payments/{payment}/approve")
    assert answer.status == 200
    again = shown(stale.send(), 412)
    assert "changed since you looked" in again.source
    assert [c["by"] for c in office.admin.get(f"/v1/payments/{payment}")["changes"]] == ["ben"]


def test_faults_stand_beside_the_fields_and_what_was_typed_is_kept(office):
    new = form(office.boss, "/forms/putParticipant?target=" + quote("/v1/participants/{participant}"))
    typed = {":participant": "Ferry!", "/name": '"Ferry" <b>& Sons', "/bic": "SHORT"}
    again = shown(new.fill(typed).send(), 422)
    fields = Form(office.boss, again, "/forms/").fields
    assert {name: fields[name] for name in ("/name", "/bic")} == {k: typed[k] for k in ("/name", "/bic")}
    [bic] = [i for i in again.all("input") if i.get("name") == "/bic"]
    assert bic.get("aria-invalid") == "true"
    [said] = [e for e in again.all("strong") if e.get("id") == bic.get("aria-describedby").split()[-1]]
    assert "8 to 11" in said.text
    assert [a.get("href") for a in again.all("a") if a.text == "bic"] == ["#f/bic"]
    assert office.admin.send("GET", "/v1/participants/ferry").status == 404


def test_a_form_of_a_thing_begins_with_its_values(office):
    """And changes nothing that it does not show differently."""
    before = office.admin.get("/v1/schemes/tern-bay")
    change = form(office.boss, "/forms/putScheme?target=/v1/schemes/tern-bay")
    assert change.fields["/cut_off"] == "03:00" and change.fields["/stock_terms"] == "on_loan"
    assert led_to(change.fill({"/close_after_minutes": "90", "?why": "later trains"}).send()) == "/v1/schemes/tern-bay"
    assert office.admin.get("/v1/schemes/tern-bay") == {**before, "close_after_minutes": 90}
    assert office.admin.items("/v1/changes", scheme="tern-bay")[-1]["why"] == "later trains"
    stale = form(office.boss, "/forms/putScheme?target=/v1/schemes/tern-bay")
    office.admin.put("/v1/schemes/tern-bay", strip(before))
    assert "changed since you looked" in shown(stale.send(), 412).source


def strip(scheme):
    return {k: v for k, v in scheme.items() if k not in ("scheme", "terms", "refund_values")}


def test_lists_within_a_form(office):
    """Rows are added by a button, without a script; empty ones are left out."""
    target = "/v1/sites/anchor"
    change = form(office.boss, f"/forms/putSite?target={target}")
    rows = int(change.fields["rows:/par_stock"])
    assert rows == 3
    change.fill({"/par_stock/0/cup_type": "cup-300", "/par_stock/0/quantity": "40"})
    more = Form(office.boss, shown(change.send(more="/par_stock"), 200), "/forms/")
    assert int(more.fields["rows:/par_stock"]) == 6 and more.fields["/par_stock/0/quantity"] == "40"
    more.fill({"/par_stock/4/cup_type": "cup-450", "/par_stock/4/quantity": "x"})
    again = Form(office.boss, shown(more.send(), 422), "/forms/")
    assert again.fields["/par_stock/1/quantity"] == "x"
    assert led_to(again.fill({"/par_stock/1/quantity": "20"}).send()) == target
    assert office.admin.get(target)["par_stock"] == [
        {"cup_type": "cup-300", "quantity": 40},
        {"cup_type": "cup-450", "quantity": 20},
    ]


def test_pay_days_are_one_field(office):
    """A word, or days with commas between them."""
    target = "/v1/schemes/tern-bay/terms/9999-01-01"
    office.admin.put(target, {**network.TERMS, "pay_days": ["mon", "fri"]})
    for typed, given in (("1, 15", [1, 15]), ("sun wed", ["wed", "sun"]), ("daily", "daily"), ("31", [31])):
        change = form(office.boss, f"/forms/putTerms?target={target}")
        assert led_to(change.fill({"/pay_days": typed}).send()) == target
        assert office.admin.get(target)["pay_days"] == given
        assert form(office.boss, f"/forms/putTerms?target={target}").fields["/pay_days"] == (
            given if isinstance(given, str) else ", ".join(map(str, given))
        )
    wrong = form(office.boss, f"/forms/putTerms?target={target}").fill({"/pay_days": "fri, 32"}).send()
    assert "the kind of the others" in shown(wrong, 422).source
    assert Form(office.boss, shown(wrong, 422), "/forms/").fields["/pay_days"] == "fri, 32"


def test_a_thing_is_made_by_a_form(office):
    [new] = [f for f in forms_of(page(office.boss, "/v1/schemes/tern-bay/refund-values")) if "putRefundValue" in f]
    later = WORKED_DAY + timedelta(days=4000)
    fields = {":cup_type": "cup-300", ":effective_date": str(later), "/amount": "3.00"}
    assert led_to(form(office.boss, new).fill(fields).send()) == (f"/v1/schemes/tern-bay/refund-values/cup-300/{later}")
    assert office.admin.get(f"/v1/schemes/tern-bay/refund-values/cup-300/{later}")["amount"] == "3.00"


def test_a_try_records_nothing(office):
    payment = office.admin.get(SETTLEMENT)["payments"][0]["payment_id"]
    attempt = form(office.ann, f"/forms/approvePayment?target=/v1/payments/{payment}/approve")
    tried = shown(attempt.send(**{"try": "true"}), 200)
    assert "Nothing was recorded yet" in tried.source
    assert office.admin.get(f"/v1/payments/{payment}")["status"] == "computed"
    assert led_to(Form(office.ann, tried, "/forms/").send()) == f"/v1/payments/{payment}"
    assert office.admin.get(f"/v1/payments/{payment}")["status"] == "approved"


def test_a_new_key_is_shown_once(office):
    [new] = [f for f in forms_of(page(office.boss, "/v1/keys")) if "createKey" in f]
    filled = form(office.boss, new).fill(
        {"/name": "dock-till", "/holder": "the dock", "/role": "pos", "/sites/0": "dock"}
    )
    made = shown(filled.send(), 200)
    [secret] = re.findall(r"dk_[\w-]{43}", made.source)
    assert office.service.client(secret).get("/v1/me")["name"] == "dock-till"
    again = filled.send()
    assert led_to(again) == "/v1/keys" and secret not in page(office.boss, "/v1/keys").source
    revoke = [f for f in forms_of(page(office.boss, "/v1/keys")) if "dock-till" in unquote(f)]
    assert led_to(form(office.boss, revoke[0]).send()) == "/v1/keys"
    assert office.service.client(secret).send("GET", "/v1/me").status == 401


def test_what_weakens_control_is_proposed(office):
    change = form(office.boss, "/forms/putScheme?target=/v1/schemes/tern-bay")
    assert led_to(change.fill({"/dual_control": "false"}).send()) == "/v1/proposals"
    assert office.admin.get("/v1/schemes/tern-bay")["dual_control"] is True


def test_forms_are_for_those_who_may(office):
    """An auditor sees no links to forms and can send none; a key without a session neither."""
    payment = office.admin.get(SETTLEMENT)["payments"][0]["payment_id"]
    target = f"/forms/approvePayment?target=/v1/payments/{payment}/approve"
    assert forms_of(page(office.reader, SETTLEMENT)) == []
    assert office.reader.send("GET", target).status == 403
    assert office.reader.submit("/forms/approvePayment", form(office.ann, target).fields).status == 403
    by_key = {"Authorization": f"Bearer {office.keys['ann']}"}
    assert (
        forms_of(
            Page(
                office.service.client(office.keys["ann"]).send("GET", SETTLEMENT, headers={"Accept": "text/html"}).body
            )
        )
        == []
    )
    stranger = Browser(office.service)
    assert stranger.send("GET", target).status == 401
    assert stranger.submit("/forms/approvePayment", form(office.ann, target).fields, **by_key).status == 401
    assert office.admin.get(f"/v1/payments/{payment}")["status"] == "computed"


@pytest.mark.parametrize(
    "target, status",
    [
        ("/forms/nothing", 404),
        ("/forms/getScheme", 404),
        ("/forms/loadReference", 404),
        ("/forms/postEvents?kind=fees", 422),
        ("/forms/approvePayment?target=/v1/payments/a/release", 422),
        ("/forms/approvePayment?target=https://elsewhere.example/", 422),
        ("/forms/approvePayment?target=/v1/payments/%25zz/approve", 422),
        ("/forms/approvePayment?x=1", 422),
    ],
)
def test_forms_that_are_none(office, target, status):
    assert office.boss.send("GET", target).status in (status, 400)


@pytest.mark.parametrize("broken", [{"once": "x"}, {"once": ""}, {"target": "/v1/payments/x/release"}, {"seen": "x"}])
def test_fields_that_were_tampered_with(office, broken):
    payment = office.admin.get(SETTLEMENT)["payments"][0]["payment_id"]
    sent = form(office.ann, f"/forms/approvePayment?target=/v1/payments/{payment}/approve").fill(broken).send()
    assert sent.status in (400, 412, 422), sent.status
    assert office.admin.get(f"/v1/payments/{payment}")["status"] == "computed"


def test_no_other_site_sends_a_form(office):
    payment = office.admin.get(SETTLEMENT)["payments"][0]["payment_id"]
    fields = form(office.ann, f"/forms/approvePayment?target=/v1/payments/{payment}/approve").fields
    foreign = {"Origin": "https://elsewhere.example", "Sec_Fetch_Site": "cross-site"}
    assert office.ann.submit("/forms/approvePayment", fields, **foreign).status == 403
    assert office.admin.get(f"/v1/payments/{payment}")["status"] == "computed"
