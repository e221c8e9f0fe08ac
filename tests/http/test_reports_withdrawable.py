# SPDX-License-Identifier: ISC
"""The operator's own money: a bank line that is a charge, interest, or money that the operator puts in or takes out;
and the amount that it could take out without touching money of others. That deposits held for others are no income,
and that a surplus is judged after all that is owed, is common practice (no source)."""
from datetime import timedelta
from decimal import Decimal

import pytest

import bank
from network import at, event
from test_bank import COLLECTION, D0, PAYOUT, SMALL, Office, office, paid  # noqa: F401  (fixtures)


def steps(office):  # noqa: F811
    return office.admin.items("/v1/reports/withdrawable", scheme="tern-bay")


def result(office):  # noqa: F811
    """The amount that could be taken out. Below zero, that much is missing."""
    rows = {r["step"]: Decimal(r["counted"]) for r in steps(office)}
    assert min(rows["withdrawable"], rows["shortfall"]) == 0
    counted = [Decimal(r["counted"]) for r in steps(office)[:-2]]
    assert sum(counted) == rows["withdrawable"] - rows["shortfall"]
    return rows["withdrawable"] - rows["shortfall"]


def by_two(office, line, **body):  # noqa: F811
    target = f"/v1/bank-lines/{line['line']}/resolve"
    office.ben.agreed(office.admin, "POST", target, {"note": "by the owner's word", **body})


def own(office, amount):  # noqa: F811
    """Money that the operator puts in, or takes out."""
    (line,) = office.told([bank.Booking(Decimal(amount))])
    by_two(office, line, account="operator_account")
    return line


def exceptions(office, state="open"):  # noqa: F811
    rows = office.admin.items("/v1/reports/exceptions", scheme="tern-bay", state=state)
    return [r for r in rows if r["kind"] == "taken_out_beyond"]


@pytest.fixture
def settled(paid):  # noqa: F811
    """The worked example, and all its payments made: 45.36 at the bank."""
    paid.told(list(paid.bookings.values()))
    assert paid.balances() == {"bank": "45.36"}
    return paid


def test_the_steps_to_the_figure(paid):  # noqa: F811
    """The worked example: 43.50 of deposits, 0.50 of tax. miller and quay are still to be paid, hearth has not paid."""
    rows = {(r["step"], r["account"] or r["participant"]): r for r in steps(paid)}
    figures = {key: (r["balance"], r["counted"]) for key, r in rows.items()}
    assert figures == {
        ("bank", "bank"): ("0.00", "0.00"),
        ("deposits", "customer_deposits(cup-300)"): ("-22.50", "-22.50"),
        ("deposits", "customer_deposits(cup-450)"): ("-21.00", "-21.00"),
        ("due_to_participants", "settlement_due(miller)"): ("-56.01", "-56.01"),
        ("due_to_participants", "settlement_due(quay)"): ("-0.41", "-0.41"),
        ("due_from_participants", "settlement_due(hearth)"): ("101.78", "0.00"),
        ("tax", "tax"): ("-0.50", "-0.50"),
        ("not_identified", "bank_suspense"): ("0.00", "0.00"),
        ("withdrawable", None): (None, "0.00"),
        ("shortfall", None): (None, "100.42"),
    }
    paid.told([paid.bookings[COLLECTION]])
    assert result(paid) == Decimal("1.36")  # the bank has hearth's money now
    paid.told([paid.bookings[PAYOUT], paid.bookings[SMALL]])
    assert result(paid) == Decimal("1.36")
    # fees less handling fees less what was absorbed at the till: the surplus of the funding
    (surplus,) = [r for r in paid.admin.items("/v1/reports/deposit-cover", scheme="tern-bay") if r["item"] == "surplus"]
    assert surplus["difference"] == "1.86"  # with the tax, which is owed


def test_what_is_not_identified_is_not_the_operators(settled):
    came, went = settled.told([bank.Booking(Decimal("9.00")), bank.Booking(Decimal("-4.00"))])
    rows = {r["step"]: (r["balance"], r["counted"]) for r in steps(settled)}
    assert rows["not_identified"] == ("-9.00", "-9.00") and rows["left_unidentified"] == ("4.00", "0.00")
    assert result(settled) == Decimal("1.36") - 4
    settled.resolve(went, account="bank_charges")
    assert result(settled) == Decimal("1.36") - 4
    settled.resolve(came, account="interest")
    assert result(settled) == Decimal("1.36") - 4 + 9
    settled.admin.assert_holds()


def test_charges_and_interest_take_one_person(settled):
    """The funding names each among the causes of the surplus, and sums exactly."""
    charge, back, interest, negative = settled.told(
        [bank.Booking(Decimal(a)) for a in ("-12.50", "2.00", "0.31", "-0.02")]
    )
    for line, account in ((charge, "bank_charges"), (back, "bank_charges")):
        settled.resolve(line, account=account)
    shown = settled.resolve(interest, account="interest")
    assert shown["resolution"]["account"] == "interest" and "participant" not in shown["resolution"]
    settled.resolve(negative, account="interest")
    accounts = settled.admin.accounts("tern-bay")
    assert (accounts["bank_charges"], accounts["interest"], accounts["bank"]) == ("10.50", "-0.29", "35.15")
    funding = {
        r["item"]: Decimal(r["difference"] or 0)
        for r in settled.admin.items("/v1/reports/deposit-cover", scheme="tern-bay")
        if r["section"] == "funding"
    }
    assert (funding["bank_charges"], funding["interest"], funding["operator_account"]) == (
        Decimal("-10.50"),
        Decimal("0.29"),
        0,
    )
    causes = sum(v for k, v in funding.items() if k not in ("surplus", "unexplained"))
    assert funding["surplus"] == causes and funding["unexplained"] == 0
    settled.admin.assert_holds()


def test_the_operators_own_money_takes_two(settled):
    (line,) = settled.told([bank.Booking(Decimal("100.00"))])
    proposed = settled.resolve(line, 202, account="operator_account")
    assert proposed["what"] == "bank_line" and proposed["request"]["account"] == "operator_account"
    assert settled.balances()["bank_suspense"] == "-100.00"
    approve = f"/v1/proposals/{proposed['proposal']}/approve"
    settled.ben.refused("POST", approve, None, 409, "second_key_needed")
    assert settled.admin.send("POST", approve).status == 200
    accounts = settled.admin.accounts("tern-bay")
    assert (accounts["operator_account"], accounts["bank_suspense"]) == ("-100.00", "0.00")
    assert result(settled) == Decimal("101.36") and exceptions(settled) == []
    settled.resolve(line, 409, "line_not_open", account="interest")
    settled.admin.assert_holds()


def test_a_line_has_one_target(settled):
    (line,) = settled.told([bank.Booking(Decimal("1.00"))])
    for body, reason in (
        ({}, "member_missing"),
        ({"account": "arrears"}, "member_missing"),
        ({"account": "bank"}, "value_unknown"),
        ({"account": "service_fees"}, "value_unknown"),
        ({"account": "interest", "participant": "hearth"}, "member_unknown"),
        ({"account": "operator_account", "payment_id": "x"}, "member_unknown"),
    ):
        settled.resolve(line, 422, reason, **body)
    assert len(settled.open_lines()) == 1


def test_taken_out_within_the_figure(settled):
    own(settled, "100.00")
    own(settled, "-101.36")
    assert result(settled) == 0 and exceptions(settled) == []
    settled.admin.assert_holds()


@pytest.mark.parametrize("taken, beyond, left", [("-51.37", "0.01", "-0.01"), ("-95.36", "44.00", "-44.00")])
def test_taken_out_beyond_the_figure(settled, taken, beyond, left):
    own(settled, "50.00")
    line = own(settled, taken)
    assert result(settled) == Decimal(left)
    (found,) = exceptions(settled)
    (shown,) = [one for one in settled.admin.items("/v1/bank-lines", scheme="tern-bay") if one["line"] == line["line"]]
    assert found["amount"] == beyond and [found["entry"]] == shown["resolution"]["entries"]
    # A scheme that lacked money before: all that is taken is beyond.
    own(settled, "-5.00")
    assert [e["amount"] for e in exceptions(settled)] == [beyond, "5.00"]
    own(settled, "1000.00")
    assert len(exceptions(settled)) == 2  # paying back does not resolve it
    settled.admin.close("tern-bay", D0 + timedelta(days=1))
    settled.admin.assert_holds()


def test_a_journal_that_takes_money_out(paid):  # noqa: F811
    """In a scheme that reads no statements a journal says what the operator took out."""

    def journal(*legs):
        stated = [{"account": a, "amount": n} for a, n in legs]
        sent = event("journal", None, at(D0), scheme="tern-bay", legs=stated, reason="by the owner's word")
        assert paid.ben.send("POST", "/v1/events", sent).status == 202
        assert paid.admin.send("POST", f"/v1/journals/{sent['event_id']}/approve").status == 200
        return sent["event_id"]

    journal(("bank", "200.42"), ("operator_account", "-200.42"))
    assert result(paid) == Decimal("100.00")
    journal(("bank", "-100.00"), ("operator_account", "100.00"))
    journal(("operator_account", "-3.00"), ("service_fees", "3.00"))  # no money moves
    assert exceptions(paid) == []
    beyond = journal(("operator_account", "9.00"), ("bank", "-7.50"), ("interest", "-1.50"))
    [found] = exceptions(paid)
    assert (found["event_id"], found["amount"]) == (beyond, "7.50")
    paid.admin.assert_holds()


def test_two_people_resolve_what_was_taken_out_beyond(settled):
    own(settled, "-10.00")
    (found,) = exceptions(settled)
    target, note = f"/v1/exceptions/{found['exception_id']}/resolve", {"note": "the owner pays it back on Monday"}
    tried = settled.ben.send("POST", target + "?dry_run=true", note)
    assert tried.status == 202 and tried.json["dry_run"] is True and settled.admin.items("/v1/proposals") == []
    proposed = settled.ben.send("POST", target, note)
    assert proposed.status == 202, proposed.body
    assert (
        proposed.json.items()
        >= {
            "status": "proposed",
            "what": "exception",
            "name": found["exception_id"],
            "schemes": ["tern-bay"],
            "request": note,
        }.items()
    )
    again = settled.ben.send("POST", target, note)
    assert (again.status, again.json["proposal"]) == (202, proposed.json["proposal"])
    assert len(exceptions(settled)) == 1
    approve = f"/v1/proposals/{proposed.json['proposal']}/approve"
    settled.ben.refused("POST", approve, None, 409, "second_key_needed")
    assert settled.admin.send("POST", approve + "?dry_run=true").json["dry_run"] and len(exceptions(settled)) == 1
    done = settled.admin.send("POST", approve)
    assert (done.status, done.json["status"]) == (200, "approved"), done.body
    assert settled.admin.send("POST", approve).json == done.json
    assert exceptions(settled) == []
    (resolved,) = exceptions(settled, "resolved")
    assert (resolved["note"], resolved["resolved_by"]) == (note["note"], "first-admin")
    settled.ben.refused("POST", target, {"note": "other"}, 409, "already_resolved")
    settled.admin.assert_holds()


def test_one_who_withdraws_leaves_it_open(settled):
    own(settled, "-10.00")
    (found,) = exceptions(settled)
    target = f"/v1/exceptions/{found['exception_id']}/resolve"
    first, second = (settled.ben.send("POST", target, {"note": n}).json["proposal"] for n in ("one", "two"))
    settled.ann.send("POST", f"/v1/proposals/{first}/withdraw", {"reason": "not so"})
    assert len(exceptions(settled)) == 1
    settled.admin.refused("POST", f"/v1/proposals/{first}/approve", None, 409, "proposal_decided")
    assert settled.admin.send("POST", f"/v1/proposals/{second}/approve").status == 200
    assert exceptions(settled) == []
    settled.admin.assert_holds()


def test_other_exceptions_take_one_person(settled):
    for row in settled.admin.items("/v1/reports/exceptions", scheme="tern-bay", state="open"):
        answer = settled.ben.send("POST", f"/v1/exceptions/{row['exception_id']}/resolve", {"note": "looked at it"})
        assert answer.status == 200 and "proposal" not in answer.json["resolved"], answer.body


def test_the_page_says_whose_money_it_is(settled):
    page = settled.admin.send("GET", "/v1/reports/withdrawable?scheme=tern-bay&format=html").body.decode()
    assert "is a matter of trust law and licensed practice" in page and "general-ledger" in page
