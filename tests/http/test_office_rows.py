# SPDX-License-Identifier: ISC
"""A page for each row that the office works on, and what a person does there: bank lines with what they may be for,
exceptions, and proposals with what they change."""
from datetime import timedelta
from decimal import Decimal
from urllib.parse import parse_qs, quote, urlsplit

import pytest

import bank
import network
from browser import Form
from network import WORKED_DAY, at, cups, event
from office import SETTLEMENT, Office, form, forms_of, led_to, page, shown

ACCOUNT = "00001000"
XML = {"Content-Type": "application/xml"}
LINES = "/v1/bank-lines?scheme=tern-bay&open=true"


class Bank(Office):
    """The worked example, settled centrally: hearth pays 101.78, miller gets 56.01, quay 0.41; all instructed."""

    def __init__(self, service):
        party = {"bank_account": {"account": "00001001", "bank_code": "TB-001"}}
        parties = {
            code: {**party, "mandate": {"id": f"M-{code}", "signed_on": "2025-01-02"}}
            for code in ("hearth", "miller", "quay")
        }
        operator = {
            "name": "Tern Bay Cup Pool",
            "bank_account": {"account": ACCOUNT, "bank_code": "TB-000"},
            "creditor_id": "TB98ZZZ09999999999",
        }
        document = network.worked_reference("on_loan", netting="central")
        document["schemes"][0]["operator"] = operator
        document["participants"] = [{**p, **parties[p["participant"]]} for p in document["participants"]]
        super().__init__(service, document)
        self.accountant = service.client(self.keys["ann"])
        assert self.accountant.send("POST", f"{SETTLEMENT}/approve").status == 200
        for kind in ("payouts", "collections"):
            assert self.accountant.send("POST", f"{SETTLEMENT}/files", {"type": kind}).status == 201
        self.payments = {
            p["from"] if p["to"] == "pool" else p["to"]: p["payment_id"] for p in self.admin.get(SETTLEMENT)["payments"]
        }
        self.told = 0

    def tell(self, *bookings):
        """The names of the lines of a statement with these bookings."""
        self.told += 1
        text = bank.statement(f"S-{self.told}", ACCOUNT, "CAD", str(WORKED_DAY + timedelta(days=2)), bookings)
        answer = self.accountant.send("POST", "/v1/bank-statements?scheme=tern-bay", text, XML)
        assert answer.status == 200, answer.body
        return [line["line"] for line in answer.json["statements"][0]["lines"]]

    def line(self, name):
        return self.admin.get(f"/v1/bank-lines/{name}")

    def candidates(self, name):
        return self.line(name)["candidates"]


@pytest.fixture
def office(service):
    return Bank(service)


def acts(page, word):
    return [href for href in forms_of(page) if word in href]


# --- bank lines -------------------------------------------------------------------------------------------------------


def test_a_line_is_the_same_alone_and_in_its_list(office):
    [name] = office.tell(bank.Booking(Decimal("101.78"), "no idea", "B-1"))
    [listed] = office.admin.items("/v1/bank-lines", scheme="tern-bay", open="true")
    alone = office.line(name)
    assert {k: v for k, v in alone.items() if k != "candidates"} == listed
    assert LINES and f"/v1/bank-lines/{name}" in page(office.ann, LINES).links


@pytest.mark.parametrize("name", ["tern-bay.99", "tern-bay.0", "nowhere.1", "tern-bay", "tern-bay.1x", "%00"])
def test_a_line_that_is_not_there(office, name):
    assert office.admin.send("GET", f"/v1/bank-lines/{name}").status in (400, 404)


def test_candidates_by_amount(office):
    """A collection that came without its reference, and a payout that came back: the sign tells which."""
    came, left, back = office.tell(
        bank.Booking(Decimal("101.78"), "", "B-1"),
        bank.Booking(Decimal("-56.01"), "", "B-2"),
        bank.Booking(Decimal("0.41"), "", "B-3"),
    )
    [found] = office.candidates(came)
    assert (found["payment_id"], found["fits_by"], found["status"]) == (
        office.payments["hearth"],
        ["amount"],
        "instructed",
    )
    [found] = office.candidates(left)
    assert (found["participant"], found["payment_id"]) == ("miller", office.payments["miller"])
    assert office.candidates(back) == []  # the payout to quay has not been confirmed, so it cannot have come back
    assert office.accountant.send("POST", f"/v1/payments/{office.payments['quay']}/confirm").status == 200
    [found] = office.candidates(back)
    assert (found["participant"], found["status"], found["amount"]) == ("quay", "confirmed", "0.41")


def test_candidates_by_reference(office):
    """A payment that the line names comes before one with the amount; a participant's name is found in the text."""
    over, names = office.tell(
        bank.Booking(Decimal("120.00"), office.payments["hearth"], "B-1"),
        bank.Booking(Decimal("7.77"), "cups of Quay, May", "B-2"),
    )
    [found] = office.candidates(over)
    assert (found["payment_id"], found["fits_by"]) == (office.payments["hearth"], ["reference"])
    [found] = office.candidates(names)
    assert (found["participant"], found["name"], found["fits_by"]) == ("quay", "Quay", ["reference"])
    assert "payment_id" not in found


def test_a_failed_payment_points_to_the_participant(office):
    answer = office.accountant.send("POST", f"/v1/payments/{office.payments['hearth']}/fail", {"reason": "refused"})
    assert answer.status == 200
    [late] = office.tell(bank.Booking(Decimal("101.78"), "", "B-1"))
    [found] = office.candidates(late)
    assert (found["participant"], found["status"], found["fits_by"]) == ("hearth", "failed", ["amount"])
    assert "payment_id" not in found


def test_no_more_than_twenty_candidates(office):
    """Many small debts of one size: the list stays short."""
    office.service.database.run(
        "SET session_replication_role = replica;"  # the guards of closed days stand aside
        "INSERT INTO payment (scheme, payment_id, business_date, payer, amount, due_on, status)"
        " SELECT scheme, 'X-' || n, business_date, payer, 500, due_on, 'approved'"
        " FROM payment CROSS JOIN generate_series(1, 30) AS n WHERE payee IS NULL"
    )
    [line] = office.tell(bank.Booking(Decimal("5.00"), "", "B-1"))
    found = office.candidates(line)
    assert len(found) == 20 and {f["amount"] for f in found} == {"5.00"}


def test_a_line_is_resolved_from_its_page(office):
    """The candidate's link fills in the form, which shows the line; afterwards the line has no candidates."""
    [name] = office.tell(bank.Booking(Decimal("101.78"), "", "B-1"))
    [resolve] = [f for f in acts(page(office.ann, LINES), "resolveBankLine")]
    before = page(office.ann, resolve)
    assert "101.78" in before.root.text
    [row] = before.table("Candidates")
    assert row["Participant"] == "hearth"
    [use] = [f for f in acts(before, "fill=")]
    assert parse_qs(urlsplit(use).query)["target"] == [f"/v1/bank-lines/{name}/resolve"]
    filled = form(office.ann, use)
    assert filled.fields["/payment_id"] == office.payments["hearth"]
    again = Form(office.ann, shown(filled.send(), 422), "/forms/")  # the note is missing
    assert again.fields["/payment_id"] == office.payments["hearth"]
    assert led_to(again.fill({"/note": "the amount is theirs"}).send()) == f"/v1/bank-lines/{name}"
    after = office.line(name)
    assert after["resolution"]["payment_id"] == office.payments["hearth"] and "candidates" not in after
    assert acts(page(office.ann, f"/v1/bank-lines/{name}"), "resolve") == []
    assert office.admin.get(f"/v1/payments/{office.payments['hearth']}")["status"] == "confirmed"
    office.admin.assert_holds("tern-bay")


def test_a_line_is_resolved_once(office):
    [name] = office.tell(bank.Booking(Decimal("-1.50"), "", "B-1"))
    charge = form(office.ann, f"/forms/resolveBankLine?target=/v1/bank-lines/{name}/resolve")
    charge.fill({"/account": "bank_charges", "/note": "by the bank's list of prices"})
    assert [led_to(charge.send()) for _ in range(2)] == [f"/v1/bank-lines/{name}"] * 2
    assert len(office.line(name)["resolution"]["entries"]) == 1
    stale = form(office.ben, f"/forms/resolveBankLine?target=/v1/bank-lines/{name}/resolve")
    assert "Nothing was recorded" in shown(stale.fill({"/account": "interest", "/note": "no"}).send(), 409).source


def test_a_strangers_line_takes_two(office):
    """The second person's page shows the line and its proposed resolution, and is refused once the line has changed."""
    [name] = office.tell(bank.Booking(Decimal("7.77"), "cups of Quay, May", "B-2"))
    [use] = acts(page(office.ann, f"/v1/bank-lines/{name}"), "fill=")
    assert led_to(form(office.ann, use).fill({"/note": "by phone"}).send()) == "/v1/proposals"
    [approve] = acts(page(office.ben, "/v1/proposals"), "approveProposal")
    seen = page(office.ben, approve)
    assert "7.77" in seen.root.text and "by phone" in seen.root.text and "quay" in seen.root.text
    assert led_to(Form(office.ben, seen, "/forms/").send()) == "/v1/proposals"
    assert office.line(name)["resolution"]["participant"] == "quay"
    office.admin.assert_holds("tern-bay")


# --- exceptions -------------------------------------------------------------------------------------------------------


def test_an_exception_is_resolved_from_its_page(office):
    report = f"/v1/reports/exceptions?scheme=tern-bay&state=open&from={WORKED_DAY}"
    [first, *_] = [e["exception_id"] for e in office.admin.get(report)["items"]]
    assert f"/v1/exceptions/{first}" in page(office.ann, report).links
    looked = page(office.ann, f"/v1/exceptions/{first}")
    [resolve] = acts(looked, "resolveException")
    sent = form(office.ann, resolve).fill({"/note": "counted again"})
    assert led_to(sent.send()) == f"/v1/exceptions/{first}"
    found = office.admin.get(f"/v1/exceptions/{first}")["resolved"]
    assert (found["by"], found["note"]) == ("ann", "counted again")
    assert acts(page(office.ann, f"/v1/exceptions/{first}"), "resolve") == []
    assert acts(page(office.reader, f"/v1/exceptions/{first}"), "resolve") == []


@pytest.mark.parametrize("name", ["tern-bay.1.99", "tern-bay.0.0", "nowhere.1.0", "tern-bay", "tern-bay.1.0.0"])
def test_an_exception_that_is_not_there(office, name):
    assert office.admin.refused("GET", f"/v1/exceptions/{name}", None, 404, "not_found")


# --- proposals --------------------------------------------------------------------------------------------------------


def weaken(office):
    change = form(office.boss, "/forms/putScheme?target=/v1/schemes/tern-bay")
    assert led_to(change.fill({"/dual_control": "false", "?why": "a short staff"}).send()) == "/v1/proposals"
    [proposal] = office.admin.items("/v1/proposals")
    return proposal


def test_a_proposal_shows_what_it_changes(office):
    """Each member that changes, before and after, and no other."""
    proposal = weaken(office)
    target = f"/v1/proposals/{proposal['proposal']}"
    assert office.admin.get(target) == proposal
    looked = page(office.ann, target)
    assert looked.table("Scheme: tern-bay") == [{"Member": "Dual control", "Before": "yes", "After": "no"}]
    assert "a short staff" in looked.root.text
    [approve] = acts(looked, "approveProposal")
    [withdraw] = acts(looked, "withdrawProposal")
    assert page(office.ann, approve).table("Scheme: tern-bay") == looked.table("Scheme: tern-bay")
    assert "Nothing was recorded" in shown(form(office.boss, approve).send(), 409).source
    stale = form(office.ben, approve)
    assert led_to(form(office.ann, withdraw).fill({"/reason": "not now"}).send()) == target
    assert office.admin.get(target)["status"] == "withdrawn"
    assert "changed since you looked" in shown(stale.send(), 412).source
    assert acts(page(office.ben, target), "Proposal") == []


def test_a_proposal_is_approved_once(office):
    proposal = weaken(office)
    approve = form(office.ann, f"/forms/approveProposal?target=/v1/proposals/{proposal['proposal']}/approve")
    assert [led_to(approve.send()) for _ in range(2)] == [f"/v1/proposals/{proposal['proposal']}"] * 2
    assert office.admin.get("/v1/schemes/tern-bay")["dual_control"] is False


@pytest.mark.parametrize("name", ["99", "0", "-1", "x", "1x"])
def test_a_proposal_that_is_not_there(office, name):
    office.admin.refused("GET", f"/v1/proposals/{name}", None, 404, "not_found")


# --- links to the forms of events -------------------------------------------------------------------------------------


def test_events_lead_to_what_may_follow(office):
    day = WORKED_DAY + timedelta(days=1)
    sent = event("dispatch", "brick", at(day), cups=cups(cup_300=4), to="dock")
    office.admin.post(sent)
    looked = page(office.ann, f"/v1/events/{sent['event_id']}")
    kinds = {parse_qs(parse_qs(urlsplit(f).query)["fill"][0])["kind"][0]: f for f in forms_of(looked)}
    assert set(kinds) == {"reversal", "receipt", "transit_loss"}
    lost = form(office.ann, kinds["transit_loss"])
    assert (lost.fields["/site"], lost.fields["/dispatch"]) == ("brick", sent["event_id"])
    lost.fill({"/cups/0/cup_type": "cup-300", "/cups/0/quantity": "1", "/bearer": "sender"})
    assert led_to(lost.send()).startswith("/v1/events/")
    received = form(office.ann, kinds["receipt"]).fill({"/cups/0/cup_type": "cup-300", "/cups/0/quantity": "3"})
    assert led_to(received.send()).startswith("/v1/events/")
    [journal] = forms_of(page(office.ann, "/v1/journals?scheme=tern-bay"))
    assert form(office.ann, journal).fields["/scheme"] == "tern-bay"
    assert forms_of(page(office.ann, "/v1/events?scheme=tern-bay")) == [
        "/forms/postEvents?target=" + quote("/v1/events", "")
    ]
    office.admin.assert_holds("tern-bay")
