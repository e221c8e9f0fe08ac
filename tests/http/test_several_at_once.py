# SPDX-License-Identifier: ISC
"""Several rows at once: payments approved and exceptions resolved, all or none, by request and by checkboxes."""
from datetime import timedelta

import pytest

import network
from browser import Form
from network import WORKED_DAY, at, cups, event
from office import SETTLEMENT, Office, form, forms_of, led_to, page, shown

NEXT_DAY = WORKED_DAY + timedelta(days=1)
REPORT = f"/v1/reports/exceptions?scheme=tern-bay&from={WORKED_DAY}&state=open"


@pytest.fixture
def office(service):
    office = Office(service, network.worked_reference("on_loan"))
    office.ann_key, office.ben_key = (service.client(office.keys[name]) for name in ("ann", "ben"))
    return office


def payments(office):
    return {p["payment_id"]: p for p in office.admin.get(SETTLEMENT)["payments"]}


def open_exceptions(office):
    return [e["exception_id"] for e in office.admin.get(REPORT)["items"]]


# --- payments ---------------------------------------------------------------------------------------------------------


def test_only_the_named_payments_are_approved(office):
    first, *others = payments(office)
    answer = office.ann_key.send("POST", f"{SETTLEMENT}/approve", {"payments": [first], "reason": "only this"})
    assert answer.status == 200, answer.body
    assert {i: p["status"] for i, p in payments(office).items()} == {
        first: "approved",
        **{other: "computed" for other in others},
    }


def test_all_named_payments_are_approved_or_none(office):
    first, second, *_ = payments(office)
    assert office.ann_key.send("POST", f"/v1/payments/{first}/approve").status == 200
    answer = office.ben_key.send("POST", f"{SETTLEMENT}/approve", {"payments": [second, first, "none-such"]})
    assert answer.status == 409
    faults = [(e["pointer"], e["reason"]) for e in answer.json["errors"]]
    assert faults == [("/payments/1", "payment_state"), ("/payments/2", "payment_unknown")]
    assert payments(office)[second]["status"] == "computed"
    refused = office.admin.send("POST", f"{SETTLEMENT}/approve", {"payments": [second]})
    assert (refused.status, refused.json["errors"][0]["pointer"]) == (409, "/payments/0")
    assert "approver_closed_day" in refused.reasons
    office.ben_key.refused("POST", f"{SETTLEMENT}/approve", {"payments": []}, 422, "too_few")
    office.ben_key.refused("POST", f"{SETTLEMENT}/approve", {"payments": [second] * 1001}, 422, "too_many")
    office.ben_key.refused(
        "POST", f"/v1/settlements/tern-bay/{NEXT_DAY}/approve", {"payments": [second]}, 404, "not_found"
    )


def test_the_form_has_a_box_for_each_payment(office):
    """It shows who closed the day, how many people must approve, each amount, and the sum."""
    [approve] = [f for f in forms_of(page(office.ann, SETTLEMENT)) if "approveSettlement" in f]
    looked = page(office.ann, approve)
    assert looked.facts["Closed by"] == "first-admin" and looked.facts["Approvals needed"] == "1"
    waiting = payments(office)
    sent = Form(office.ann, looked, "/forms/")
    assert set(sent.boxes.values()) == set(waiting) and all(name in sent.fields for name in sent.boxes)
    assert [row["Amount"] for row in looked.table("Payments")][: len(waiting)]
    total = office.admin.get(SETTLEMENT)["totals"]["paid"]
    assert f"Sum of all: {total}" in looked.root.text
    first, *others = waiting
    assert led_to(sent.check(first).send()) == SETTLEMENT
    assert led_to(sent.send()) == SETTLEMENT
    after = payments(office)
    assert after[first]["status"] == "approved" and {after[o]["status"] for o in others} == {"computed"}
    again = form(office.ann, approve)
    assert set(again.boxes.values()) == set(others)
    none = Form(office.ann, shown(again.check().send(), 422), "/forms/")  # nothing checked is not "all"
    assert not [name for name in none.fields if name.startswith("/payments/")]
    assert {payments(office)[o]["status"] for o in others} == {"computed"}


# --- exceptions -------------------------------------------------------------------------------------------------------


def test_several_exceptions_are_resolved_with_one_note(office):
    ids = open_exceptions(office)
    assert len(ids) >= 3
    answer = office.ann_key.send("POST", "/v1/exceptions/resolve", {"ids": ids[:2], "note": "one van, one mistake"})
    assert answer.status == 200, answer.body
    assert [(e["exception_id"], e["resolved"]["by"]) for e in answer.json["items"]] == [(i, "ann") for i in ids[:2]]
    assert open_exceptions(office) == ids[2:]
    same = {"ids": ids[:2], "note": "one van, one mistake"}
    assert office.ann_key.send("POST", "/v1/exceptions/resolve", same).status == 200


def test_all_exceptions_are_resolved_or_none(office):
    first, second, *_ = ids = open_exceptions(office)
    resolve = "/v1/exceptions/resolve"
    assert office.ann_key.send("POST", resolve, {"ids": [first], "note": "seen"}).status == 200
    answer = office.ben_key.send("POST", resolve, {"ids": [second, first, "tern-bay.1.99"], "note": "seen"})
    assert [(e["pointer"], e["reason"]) for e in answer.json["errors"]] == [
        ("/ids/1", "already_resolved"),
        ("/ids/2", "exception_unknown"),
    ]
    answer = office.ben_key.send("POST", resolve, {"ids": [second, "nowhere.1.0", "x"], "note": "seen"})
    assert [(e["pointer"], e["reason"]) for e in answer.json["errors"]] == [
        ("/ids/1", "exception_unknown"),
        ("/ids/2", "exception_unknown"),
    ]
    dry = office.ben_key.send("POST", f"{resolve}?dry_run=true", {"ids": [second], "note": "seen"})
    assert dry.status == 200 and dry.json["dry_run"] and dry.json["items"][0]["resolved"]["note"] == "seen"
    assert open_exceptions(office) == ids[1:]
    office.ben_key.refused("POST", resolve, {"ids": [], "note": "n"}, 422, "too_few")
    office.ben_key.refused("POST", resolve, {"ids": [second] * 1001, "note": "n"}, 422, "too_many")
    office.ben_key.refused("POST", resolve, {"ids": [second]}, 422, "member_missing")


def test_boxes_in_the_list_of_exceptions(office):
    """The form has the rows of the page that the person came from, and leads back to it."""
    listed = page(office.ann, REPORT)
    [several] = [f for f in forms_of(listed) if "resolveExceptions" in f]
    assert not [f for f in forms_of(page(office.reader, REPORT)) if "resolve" in f]
    ids = open_exceptions(office)
    sent = form(office.ann, several)
    assert set(sent.boxes.values()) == set(ids) and not [f for f in sent.fields if f.startswith("/ids/")]
    again = Form(office.ann, shown(sent.check(ids[0], ids[2]).send(), 422), "/forms/")  # the note is missing
    assert {again.fields[name] for name in again.boxes if name in again.fields} == {ids[0], ids[2]}
    back = led_to(again.fill({"/note": "counted again"}).send())
    assert back.startswith("/v1/reports/exceptions?") and led_to(again.send()) == back
    assert set(open_exceptions(office)) == set(ids) - {ids[0], ids[2]}
    assert page(office.ann, back)


def test_a_fault_stands_in_the_row_that_it_is_about(office):
    """Somebody resolved one of them meanwhile, so it is no row any more; the others stay checked."""
    ids = open_exceptions(office)
    [several] = [f for f in forms_of(page(office.ann, REPORT)) if "resolveExceptions" in f]
    sent = form(office.ann, several).check(*ids).fill({"/note": "all looked at"})
    assert office.ben_key.send("POST", f"/v1/exceptions/{ids[1]}/resolve", {"note": "mine"}).status == 200
    again = Form(office.ann, shown(sent.send(), 409), "/forms/")
    assert {again.fields[name] for name in again.boxes} == set(ids) - {ids[1]}
    assert open_exceptions(office) == [ids[0], *ids[2:]]
    assert led_to(again.send()).startswith("/v1/reports/exceptions")
    assert open_exceptions(office) == []


def test_new_exceptions_meanwhile_do_no_harm(office):
    """A till goes on while a person reads the list. Exceptions that the page did not show stay open."""
    ids = open_exceptions(office)
    [several] = [f for f in forms_of(page(office.ann, REPORT)) if "resolveExceptions" in f]
    sent = form(office.ann, several).check(*ids).fill({"/note": "all looked at"})
    office.admin.post(event("issue", "dock", at(NEXT_DAY), issued=cups(cup_450=30)))
    assert led_to(sent.send()).startswith("/v1/reports/exceptions")
    still = open_exceptions(office)
    assert still and not set(still) & set(ids)
