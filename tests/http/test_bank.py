# SPDX-License-Identifier: ISC
"""Files to the bank and statements from it. xmllint checks the files by the schemas of ISO 20022. bank.py, which
shares no code with the service, reads them and answers with a camt.053. The accounting contract says whose money a
line is, and that overpaid and underpaid lines wait in bank_suspense."""
import hashlib
import re
from datetime import timedelta
from decimal import Decimal
from urllib.parse import quote

import pytest

import bank
import network
from harness import at_once
from network import at, business_day, cups, event
from schemas import TOP, validate

GOLDEN = TOP / "tests/unit/iso20022"
D0 = business_day() - timedelta(days=3)
ACCOUNT = "00001000"
XML = {"Content-Type": "application/xml"}
# IBANs of the check values, section 3; the mandates and creditor id are made up.
PARTIES = {
    "hearth": {
        "name": "Hearth & Søn",
        "bank_account": {"iban": "GB29NWBK60161331926819"},
        "bic": "AGRIFRPP882",
        "mandate": {"id": "M/2026-1", "signed_on": "2026-01-02"},
    },
    "miller": {
        "bank_account": {"account": "00001002", "bank_code": "TB-002"},
        "mandate": {"id": "M-2", "signed_on": "2026-01-03"},
    },
    "quay": {"bank_account": {"iban": "NO9386011117947"}, "mandate": {"id": "M-3", "signed_on": "2026-01-04"}},
}
OPERATOR = {
    "name": "Tern Bay Cup Pool",
    "bank_account": {"account": ACCOUNT, "bank_code": "TB-000"},
    "creditor_id": "TB98ZZZ09999999999",
}


class Office:
    """A closed day under dual control: the admin closed it, ann approved, and ben does the rest."""

    def __init__(self, service):
        self.service, self.admin = service, service.admin
        self.ann, self.ben = (service.client(service.create_key(name, "accountant")) for name in ("ann", "ben"))
        self.statements = 0

    def load(
        self,
        events,
        stock_terms="on_loan",
        parties=PARTIES,
        operator=OPERATOR,
        sites=network.WORKED_SITES,
        close=True,
        **more,
    ):
        terms = {
            "service_fee": "0.10",
            "handling_fee": "0.04",
            "tax_rate": "0.15",
            "netting": more.pop("netting", "direct"),
        }
        scheme = network.scheme(
            "tern-bay",
            D0,
            {"cup-300": "2.50", "cup-450": "3.50"},
            stock_terms=stock_terms,
            terms=[terms],
            **({"operator": operator} if operator else {}),
            **more,
        )
        document = network.reference([scheme], {s: ("tern-bay", p) for s, p in sites.items()}, **parties)
        document["participants"] = [{**p, **parties.get(p["participant"], {})} for p in document["participants"]]
        self.admin.load(document)
        for sent in events:
            self.admin.post(sent)
        if close:
            self.admin.close("tern-bay", D0)
        return self

    def approve(self):
        answer = self.ann.send("POST", f"/v1/settlements/tern-bay/{D0}/approve")
        assert answer.status == 200, answer.body
        return self

    def payments(self):
        return {(p["from"], p["to"]): p for p in self.admin.get(f"/v1/settlements/tern-bay/{D0}")["payments"]}

    def make(self, type, client=None, **query):
        path = f"/v1/settlements/tern-bay/{D0}/files" + ("?dry_run=true" if query else "")
        answer = (client or self.ben).send("POST", path, {"type": type})
        assert answer.status == (200 if query else 201), answer.body
        assert answer.headers.get("Location") == (None if query else answer.json["location"])
        return answer.json

    def refuse_file(self, type, status, *reasons):
        answer = self.ben.send("POST", f"/v1/settlements/tern-bay/{D0}/files", {"type": type})
        assert (answer.status, sorted(answer.reasons[1:] or answer.reasons)) == (status, sorted(reasons)), answer.body
        return answer.json

    def fetch(self, file):
        answer = self.ben.send("GET", file["location"])
        assert answer.status == 200 and answer.headers["Content-Type"] == "application/xml", answer.body
        assert answer.headers["ETag"] == f'"{file["sha256"]}"'
        assert hashlib.sha256(answer.body).hexdigest() == file["sha256"]
        return answer.body

    def pay(self):
        """Sends all approved payments to the bank. Returns the bank's bookings."""
        orders = []
        for type in ("payouts", "collections"):
            answer = self.ben.send("POST", f"/v1/settlements/tern-bay/{D0}/files", {"type": type})
            if answer.status == 201:
                orders += bank.read_file(self.fetch(answer.json))[1]
        return bank.book(orders)

    def statement(self, bookings, **more):
        self.statements += "id" not in more
        return bank.statement(
            more.pop("id", f"S-{self.statements}"),
            more.pop("account", ACCOUNT),
            more.pop("currency", "CAD"),
            str(business_day()),
            bookings,
            **more,
        )

    def take(self, data, client=None, **query):
        target = "/v1/bank-statements?scheme=tern-bay" + ("&dry_run=true" if query else "")
        answer = (client or self.ben).send("POST", target, data, XML)
        assert answer.status == 200, answer.body
        return answer.json

    def told(self, bookings, **more):
        """The lines that the service made of a statement of these bookings."""
        return self.take(self.statement(bookings, **more))["statements"][0]["lines"]

    def resolve(self, line, status=200, reason=None, **body):
        answer = self.ben.send("POST", f"/v1/bank-lines/{line['line']}/resolve", {"note": "asked them", **body})
        assert answer.status == status and (reason is None or reason in answer.reasons), answer.body
        return answer.json

    def open_lines(self):
        return self.admin.items("/v1/bank-lines", scheme="tern-bay", open="true")

    def balances(self):
        """The accounts that concern the bank and are not zero."""
        kinds = ("bank", "settlement_due", "arrears")
        return {a: b for a, b in self.admin.accounts("tern-bay").items() if a.startswith(kinds) and Decimal(b)}


@pytest.fixture
def office(service):
    return Office(service)


@pytest.fixture
def paid(office):
    """The worked example, settled centrally: hearth pays 101.78, miller gets 56.01, quay 0.41; all instructed."""
    office.load(network.worked_events(D0), netting="central").approve()
    office.bookings = {b.amount: b for b in office.pay()}
    assert sorted(office.bookings) == [Decimal("-56.01"), Decimal("-0.41"), Decimal("101.78")]
    return office


COLLECTION, PAYOUT, SMALL = Decimal("101.78"), Decimal("-56.01"), Decimal("-0.41")


# --- files ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted(GOLDEN.glob("[pc]*.xml")), ids=lambda path: path.stem)
def test_golden_messages_are_of_the_standard(path):
    validate(path.read_bytes())


def only_returns():
    """Cups that another participant lent come back: the pool owes, in both modes of netting."""
    return [
        event("return", "brick", at(D0), returned=cups(cup_300=20)),
        event("return", "dock", at(D0), returned=cups(cup_300=2)),
    ]


FILES = [  # netting, stock terms, events, type -> the amount that each party pays (-) or gets
    (
        "central",
        "on_loan",
        network.worked_events,
        {"payouts": {"miller": "56.01", "quay": "0.41"}, "collections": {"hearth": "101.78"}},
    ),
    ("direct", "on_loan", network.worked_events, {"payouts": {}, "collections": {"hearth": "45.36"}}),
    (
        "direct",
        "on_deposit",
        network.worked_events,
        {"payouts": {}, "collections": {"hearth": "562.78", "miller": "98.99", "quay": "47.59"}},
    ),
    (
        "direct",
        "on_loan",
        lambda day: only_returns(),
        {"payouts": {"miller": "50.92", "quay": "5.09"}, "collections": {}},
    ),
    (
        "central",
        "on_loan",
        lambda day: only_returns(),
        {"payouts": {"miller": "50.92", "quay": "5.09"}, "collections": {}},
    ),
]


@pytest.mark.parametrize(
    "netting, stock_terms, events, expected", FILES, ids=lambda value: str(value) if isinstance(value, str) else ""
)
def test_files(office, netting, stock_terms, events, expected):
    office.load(events(D0), stock_terms, netting=netting).approve()
    payments, names = office.payments(), {p["name"]: p["participant"] for p in office.admin.items("/v1/participants")}
    due_on, made = {p["due_on"] for p in payments.values()}, []
    for type, parties in expected.items():
        if not parties:
            office.refuse_file(type, 409, "nothing_approved")
            continue
        file = office.make(type)
        data = office.fetch(file)
        made.append(data)
        message_id, orders = bank.read_file(data)  # which also checks the control sums
        assert message_id == file["message_id"] and len(message_id) <= 35
        assert (file["payments"], file["total"]) == (len(parties), str(sum(map(Decimal, parties.values()))))
        sign = 1 if type == "collections" else -1
        spelt = {"Hearth + Son": "hearth", **names}
        assert {spelt[o.other_name]: str(sign * o.amount) for o in orders} == parties
        ids = {
            p["payment_id"]
            for (payer, payee), p in payments.items()
            if "pool" == (payer if type == "payouts" else payee)
        }
        assert {o.end_to_end for o in orders} == ids and all(len(i) <= 35 for i in ids)
        assert {o.currency for o in orders} == {"CAD"} and {o.requested_on for o in orders} == due_on
        assert {o.own_account for o in orders} == {ACCOUNT}
        office.refuse_file(type, 409, "nothing_approved")  # all payments are in it
        assert office.fetch(file) == data
    statuses = {(p["from"], p["to"]): p["status"] for p in office.payments().values()}
    assert statuses == {parties: "instructed" if "pool" in parties else "approved" for parties in statuses}
    assert {f["type"] for f in office.admin.items(f"/v1/settlements/tern-bay/{D0}/files")} == {
        t for t, p in expected.items() if p
    }
    office.admin.assert_holds()
    validate(*made)


def test_what_a_collection_says(office):
    office.load(network.worked_events(D0), "on_deposit").approve()
    data = office.fetch(office.make("collections")).decode()
    for text in (
        "<MndtId>M/2026-1</MndtId>",
        "<DtOfSgntr>2026-01-02</DtOfSgntr>",
        "<Id>TB98ZZZ09999999999</Id>",
        "<SeqTp>FRST</SeqTp>",
        "<BICFI>AGRIFRPP882</BICFI>",
        "<IBAN>GB29NWBK60161331926819</IBAN>",
        "<MmbId>TB-002</MmbId>",
        "<Nm>Hearth + Son</Nm>",
        "<Id>NOTPROVIDED</Id>",
        f"<Ustrd>tern-bay {D0}</Ustrd>",
    ):
        assert text in data, text
    # The collection of the next day is no longer the first under its mandate.
    day = D0 + timedelta(days=1)
    office.admin.post(event("issue", "anchor", at(day), issued=cups(cup_300=9), amount="22.50"))
    office.admin.close("tern-bay", day)
    assert office.ann.send("POST", f"/v1/settlements/tern-bay/{day}/approve").status == 200
    answer = office.ben.send("POST", f"/v1/settlements/tern-bay/{day}/files", {"type": "collections"})
    assert "<SeqTp>RCUR</SeqTp>" in office.fetch(answer.json).decode()


def test_a_second_file_has_only_what_was_approved_since(office):
    office.load(network.worked_events(D0), netting="central")
    office.refuse_file("payouts", 409, "nothing_approved")
    payments = office.payments()

    def approve(payee):
        return office.ann.send("POST", f"/v1/payments/{payments['pool', payee]['payment_id']}/approve")

    assert approve("miller").status == 200
    first = office.make("payouts")
    assert approve("quay").status == 200
    assert office.make("payouts", dry_run=True)["dry_run"] and office.payments()["pool", "quay"]["status"] == "approved"
    second = office.make("payouts")
    assert [first["total"], second["total"]] == ["56.01", "0.41"] and first["message_id"] != second["message_id"]
    assert [f["file_id"] for f in office.admin.items(f"/v1/settlements/tern-bay/{D0}/files", limit=1)] == [
        first["file_id"],
        second["file_id"],
    ]


def test_of_two_who_make_a_file_at_once_one_does(office):
    office.load(network.worked_events(D0), netting="central").approve()

    def post(client):
        return client.send("POST", f"/v1/settlements/tern-bay/{D0}/files", {"type": "payouts"}).status

    assert sorted(at_once(lambda: post(office.ann), lambda: post(office.ben))) == [201, 409]


def test_what_the_bank_must_know_is_asked_for_before_anything_is_done(office):
    office.load(network.worked_events(D0), netting="central", parties={}, operator=None).approve()
    missing = office.refuse_file("payouts", 422, *["bank_details_missing"] * 3)  # the operator, miller and quay
    assert {"miller has no bank account", "quay has no bank account", "the scheme has no operator"} == {
        f["detail"] for f in missing["errors"]
    }
    office.admin.agreed(
        office.ben,
        "PUT",
        "/v1/participants/hearth",
        {"name": "Hearth", "bank_account": {"account": "1", "bank_code": "2"}},
    )
    scheme = {k: v for k, v in office.admin.get("/v1/schemes/tern-bay").items() if k != "scheme"}
    office.admin.agreed(
        office.ben,
        "PUT",
        "/v1/schemes/tern-bay",
        {**scheme, "operator": {k: v for k, v in OPERATOR.items() if k != "creditor_id"}},
    )
    missing = office.refuse_file("collections", 422, *["bank_details_missing"] * 2)
    assert {
        "hearth has no mandate that a payment message can carry",
        "the operator has no creditor_id that a payment message can carry",
    } == {f["detail"] for f in missing["errors"]}
    assert {p["status"] for p in office.payments().values()} == {"approved"}
    office.ben.refused(
        "POST", f"/v1/settlements/tern-bay/{D0 + timedelta(days=1)}/files", {"type": "payouts"}, 404, "not_found"
    )


def test_a_payout_goes_to_no_account_that_nobody_has_looked_at(office):
    """A person looks at a new account before money goes there: common practice, no source."""
    office.load(network.worked_events(D0), netting="central").approve()
    office.admin.agreed(
        office.ben,
        "PUT",
        "/v1/participants/miller",
        {**PARTIES["miller"], "name": "Miller", "bank_account": {"iban": "DE89370400440532013000"}},
    )
    office.refuse_file("payouts", 409, "bank_account_changed")
    assert office.make("collections")["total"] == "101.78"  # the mandate names the participant that pays


# --- reference data ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "pointer, changes",
    [
        ("/bank_account/iban", {"bank_account": {"iban": "DE89370400440532013001"}}),  # check digits
        # right digits, but one too many for its country
        ("/bank_account/iban", {"bank_account": {"iban": "DE543704004405320130001"}}),
        ("/bank_account/iban", {"bank_account": {"iban": "de89370400440532013000"}}),
        ("/bank_account/account", {"bank_account": {"account": "12//3", "bank_code": "1"}}),
        ("/bank_account/account", {"bank_account": {"account": "№ 12", "bank_code": "1"}}),
        ("/bank_account/bank_code", {"bank_account": {"account": "12", "bank_code": "/1"}}),
        ("/mandate/id", {"mandate": {"id": "M_1", "signed_on": "2026-01-02"}}),
        ("/bic", {"bic": "AGRIFRPP8"}),
    ],
)
def test_what_a_bank_would_refuse_is_refused_at_once(shared, pointer, changes):
    answer = shared.admin.refused("PUT", "/v1/participants/hearth", {"name": "Hearth", **changes}, 422, "bad_format")
    assert [f["pointer"] for f in answer.json["errors"]] == [pointer]


# --- statements -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "netting, stock_terms", [("central", "on_loan"), ("direct", "on_loan"), ("central", "on_deposit")]
)
def test_a_statement_made_of_the_files_settles_everything(office, netting, stock_terms):
    office.load(network.worked_events(D0), stock_terms, netting=netting).approve()
    bookings = office.pay()
    data = office.statement(bookings)
    for payment in office.payments().values():  # payments between participants have no line on the pool's account
        if payment["status"] == "approved":
            assert office.ben.send("POST", f"/v1/payments/{payment['payment_id']}/confirm").status == 200
    before = office.balances()
    tried = office.take(data, dry_run=True)
    assert tried["confirmed"] == len(bookings) and tried.pop("dry_run") and office.balances() == before
    taken = office.take(data)
    assert {k: taken[k] for k in taken if k != "statements"} == {
        "confirmed": len(bookings),
        **dict.fromkeys(
            ("returned", "between_schemes", "unmatched", "underpaid", "overpaid", "repeated", "ignored"), 0
        ),
    }
    total = sum(b.amount for b in bookings)
    assert office.balances() == {"bank": str(total)}
    assert {p["status"] for p in office.payments().values()} == {"confirmed"}
    (stated,) = taken["statements"]
    assert [b["amount"] for b in stated["balances"]] == ["0.00", str(total)]
    ids = {p["payment_id"] for p in office.payments().values()}
    assert all(
        line["disposition"] == "matched" and line["payment_id"] in ids and line["entry"] for line in stated["lines"]
    )
    # The same statement again, even in another message, is answered like the first time.
    feed = office.admin.feed("tern-bay")
    assert office.take(data) == taken
    assert (
        office.take(office.statement(bookings, id="S-1", message_id="again", created_at="2026-05-15T09:00:00Z"))
        == taken
    )
    assert office.admin.feed("tern-bay") == feed
    (listed,) = office.admin.items("/v1/bank-statements", scheme="tern-bay")
    assert (listed["statement"], listed["lines"], listed["open"], listed["received_from"]) == (
        "S-1",
        len(bookings),
        0,
        "ben",
    )
    office.admin.assert_holds()
    validate(data)


def test_a_statement_of_the_same_id_that_says_something_else_is_refused(paid):
    lines = [*paid.bookings.values()]
    paid.take(paid.statement(lines[:1], id="S-9"))
    before = paid.balances()
    paid.ben.refused(
        "POST", "/v1/bank-statements?scheme=tern-bay", paid.statement(lines, id="S-9"), 409, "statement_conflict", XML
    )
    assert paid.balances() == before and [line["disposition"] for line in paid.told(lines[1:])] == ["matched"] * 2


def test_a_line_that_comes_again_in_another_statement_is_taken_once(paid):
    twice = bank.Booking(Decimal("7.00"), reference="B-77")  # two equal lines are still two lines
    first = paid.told([paid.bookings[PAYOUT], twice, twice])
    assert [line["disposition"] for line in first] == ["matched", "unmatched", "unmatched"]
    before = paid.balances()
    again = paid.told([twice, twice, paid.bookings[PAYOUT], bank.Booking(Decimal("8.00"), reference="B-77")])
    assert [line["disposition"] for line in again] == ["repeated"] * 3 + ["unmatched"]
    assert Decimal(paid.balances()["bank"]) == Decimal(before["bank"]) + 8
    assert paid.told([twice] * 3)[2]["disposition"] == "unmatched"  # a third is new


UNEXPECTED = {  # the bank's booking -> its effect; none of these confirms a payment
    "underpaid": lambda o: bank.replace(o.bookings[COLLECTION], amount=Decimal("100.00")),
    "overpaid": lambda o: bank.replace(o.bookings[PAYOUT], amount=Decimal("-56.10")),
    "unmatched: no reference": lambda o: bank.Booking(COLLECTION),
    "unmatched: not provided": lambda o: bank.Booking(COLLECTION, "NOTPROVIDED"),
    "unmatched: unknown reference": lambda o: bank.Booking(COLLECTION, "nobody's"),
    "unmatched: wrong direction": lambda o: bank.replace(o.bookings[COLLECTION], amount=-COLLECTION),
    "unmatched: returned before it was booked": lambda o: bank.come_back(o.bookings[COLLECTION]),
    "unmatched: a batch that does not add up": lambda o: bank.Booking(
        Decimal("100.00"), details=((o.bookings[COLLECTION].end_to_end, COLLECTION), ("other", Decimal("1.00")))
    ),
    "ignored: pending": lambda o: bank.replace(o.bookings[COLLECTION], status="PDNG"),
    "ignored: information": lambda o: bank.replace(o.bookings[COLLECTION], status="INFO"),
    "ignored: nothing": lambda o: bank.replace(o.bookings[COLLECTION], amount=Decimal("0.00")),
}


@pytest.mark.parametrize("what", UNEXPECTED)
def test_what_does_not_fit_waits_in_suspense(paid, what):
    booking = UNEXPECTED[what](paid)
    before = paid.balances()
    (line,) = paid.told([booking])
    disposition = what.partition(":")[0]
    assert line["disposition"] == disposition and line["amount"] == str(booking.amount)
    if disposition == "ignored":
        assert paid.balances() == before and paid.open_lines() == [] and "entry" not in line
    else:
        assert paid.balances() == {**before, "bank": str(booking.amount), "bank_suspense": str(-booking.amount)}
        assert [line["line"] for line in paid.open_lines()] == [line["line"]]
    assert {p["status"] for p in paid.payments().values()} == {"instructed"}
    # When the expected amount comes as well, the payment is confirmed.
    assert [line["disposition"] for line in paid.told([*paid.bookings.values()])] == ["matched"] * 3
    paid.admin.assert_holds()


def test_a_batch_is_taken_apart(office):
    office.load(network.worked_events(D0), "on_deposit").approve()
    bookings = office.pay()
    total = sum(b.amount for b in bookings)
    lines = office.told(
        [bank.Booking(total, reference="B-1", details=tuple((b.end_to_end, b.amount) for b in bookings))]
    )
    assert [(line["disposition"], line["amount"]) for line in lines] == [("matched", str(b.amount)) for b in bookings]
    assert office.balances() == {"bank": str(total)}


@pytest.mark.parametrize("order", [1, -1], ids=["after it", "before it in the same statement"])
def test_a_payment_that_comes_back_fails(paid, order):
    """AC04, closed account: a code of the external code set (from memory)."""
    payout = paid.bookings[PAYOUT]
    lines = paid.told([payout, bank.come_back(payout)][::order])[::order]
    assert [line["disposition"] for line in lines] == ["matched", "returned"] and lines[1]["return_reason"] == "AC04"
    payment = paid.payments()["pool", "miller"]
    shown = paid.admin.get(f"/v1/payments/{payment['payment_id']}")
    assert shown["status"] == "failed" and shown["changes"][-1]["note"] == "returned by the bank: AC04"
    assert paid.balances() == {
        "settlement_due(hearth)": "101.78",
        "settlement_due(quay)": "-0.41",
        "arrears(miller)": "-56.01",
    }
    paid.told([paid.bookings[SMALL], bank.come_back(paid.bookings[SMALL], "\U0001F642" * 35)])
    small = paid.admin.get(f"/v1/payments/{paid.payments()['pool', 'quay']['payment_id']}")
    assert small["changes"][-1]["note"] == "returned by the bank: " + "\U0001F642" * 35
    # The same return again, and the payment itself again: a person must look at these.
    again = paid.told([bank.come_back(payout, reference="B-8"), bank.replace(payout, reference="B-9")])
    assert [line["disposition"] for line in again] == ["unmatched"] * 2
    paid.admin.assert_holds()


def test_a_booking_that_the_bank_takes_back_fails_the_payment(paid):
    collection = paid.bookings[COLLECTION]
    undone = bank.replace(collection, amount=-COLLECTION, reversal=True, reference="B-R")
    assert [line["disposition"] for line in paid.told([collection])] + [
        line["disposition"] for line in paid.told([undone])
    ] == ["matched", "returned"]
    assert paid.balances()["arrears(hearth)"] == "101.78" and "bank" not in paid.balances()


def test_what_a_person_did_first_is_not_booked_twice(paid):
    payments, collection, payout = paid.payments(), paid.bookings[COLLECTION], paid.bookings[PAYOUT]
    for parties, changes in {("hearth", "pool"): ["confirm"], ("pool", "miller"): ["confirm", "fail"]}.items():
        for change in changes:
            body = {"reason": "by hand"} if change == "fail" else None
            assert paid.ben.send("POST", f"/v1/payments/{payments[parties]['payment_id']}/{change}", body).status == 200
    before = paid.balances()
    lines = paid.told([collection, payout, bank.come_back(payout)])
    assert [(line["disposition"], "entry" in line) for line in lines] == [
        ("matched", False),
        ("matched", False),
        ("returned", False),
    ]
    assert paid.balances() == before
    assert [line["disposition"] for line in paid.told([bank.replace(collection, reference="B-2")])] == ["unmatched"]


def test_several_statements_of_one_message(paid):
    one, other = paid.statement([paid.bookings[PAYOUT]]).decode(), paid.statement([paid.bookings[COLLECTION]]).decode()
    statement = re.search("<Stmt>.*</Stmt>", other, re.DOTALL).group()
    taken = paid.take(one.replace("</BkToCstmrStmt>", statement + "</BkToCstmrStmt>").encode())
    assert [s["statement"] for s in taken["statements"]] == ["S-1", "S-2"] and taken["confirmed"] == 2
    known = paid.take(one.encode())
    assert known["statements"] == taken["statements"][:1] and known["confirmed"] == 1
    assert [s["statement"] for s in paid.admin.items("/v1/bank-statements", scheme="tern-bay", limit=1)] == [
        "S-1",
        "S-2",
    ]


def test_of_two_who_bring_the_same_statement_both_get_the_same_answer(paid):
    data = paid.statement([*paid.bookings.values()])
    first, second = at_once(lambda: paid.take(data, paid.ann), lambda: paid.take(data, paid.ben))
    assert first == second and paid.balances() == {"bank": "45.36"}


# --- resolving --------------------------------------------------------------------------------------------------------


RESOLVED = {  # booking -> arrears of hearth or miller afterwards, and the state of the payment
    "exact, without its reference": (lambda o: bank.Booking(COLLECTION), ("hearth", "pool"), {}, "confirmed"),
    "underpaid": (
        lambda o: bank.replace(o.bookings[COLLECTION], amount=Decimal("100.00")),
        ("hearth", "pool"),
        {"arrears(hearth)": "1.78"},
        "confirmed",
    ),
    "overpaid": (
        lambda o: bank.replace(o.bookings[COLLECTION], amount=Decimal("102.00")),
        ("hearth", "pool"),
        {"arrears(hearth)": "-0.22"},
        "confirmed",
    ),
    "too much paid out": (
        lambda o: bank.replace(o.bookings[PAYOUT], amount=Decimal("-60.00")),
        ("pool", "miller"),
        {"arrears(miller)": "3.99"},
        "confirmed",
    ),
}


@pytest.mark.parametrize("what", RESOLVED)
def test_a_line_that_was_a_payment(paid, what):
    booking, parties, arrears, status = RESOLVED[what]
    booking, payment = booking(paid), paid.payments()[parties]
    (line,) = paid.told([booking])
    resolved = paid.resolve(line, payment_id=payment["payment_id"])
    assert resolved["resolution"]["payment_id"] == payment["payment_id"]
    assert resolved["resolution"]["note"] == "asked them"
    assert resolved["resolution"]["by"] == "ben" and resolved["statement"] == "S-1" and paid.open_lines() == []
    balances = paid.balances()
    assert {a: b for a, b in balances.items() if a.startswith("arrears")} == arrears
    assert balances["bank"] == str(booking.amount) and "bank_suspense" not in balances
    whose = next(p for p in parties if p != "pool")
    assert f"settlement_due({whose})" not in balances and paid.payments()[parties]["status"] == status
    paid.resolve(line, 409, "line_not_open", payment_id=payment["payment_id"])
    # The line that was expected is now surplus.
    assert [
        line["disposition"] for line in paid.told([paid.bookings[COLLECTION if parties[1] == "pool" else PAYOUT]])
    ] == ["unmatched"]
    paid.admin.assert_holds()


def test_a_line_that_was_a_return_less_its_charge(paid):
    payout, payment = paid.bookings[PAYOUT], paid.payments()["pool", "miller"]
    (line,) = paid.told([bank.come_back(bank.replace(payout, amount=Decimal("-55.00")))])
    paid.resolve(line, 409, "payment_state", payment_id=payment["payment_id"])  # it was not even confirmed
    paid.told([payout])
    paid.resolve(line, payment_id=payment["payment_id"])
    assert paid.payments()["pool", "miller"]["status"] == "failed"
    balances = paid.balances()
    assert balances["arrears(miller)"] == "-55.00" and balances["bank"] == "-1.01" and "bank_suspense" not in balances
    (line,) = paid.told([bank.Booking(Decimal("55.00"), reference="B-9")])
    paid.resolve(line, 409, "payment_state", payment_id=payment["payment_id"])  # it came back already
    paid.admin.assert_holds()


def test_a_line_of_a_participant(paid):
    """A stranger's line takes two people, with dual control on or off, and goes to arrears, whatever is due."""
    paid_in, late, nothing = paid.told(
        [bank.Booking(Decimal("1.78")), bank.Booking(Decimal("-5.00")), bank.Booking(Decimal("9.00"))]
    )
    before = paid.balances()
    tried = paid.ben.send(
        "POST", f"/v1/bank-lines/{paid_in['line']}/resolve?dry_run=true", {"participant": "hearth", "note": "n"}
    )
    assert tried.status == 202 and tried.json["dry_run"] and paid.admin.items("/v1/proposals") == []
    proposed = paid.resolve(paid_in, 202, participant="hearth")
    assert (
        proposed.items()
        >= {
            "status": "proposed",
            "what": "bank_line",
            "name": paid_in["line"],
            "schemes": ["tern-bay"],
            "request": {"participant": "hearth", "note": "asked them"},
        }.items()
    )
    assert paid.resolve(paid_in, 202, participant="hearth")["proposal"] == proposed["proposal"]  # it already waits
    assert paid.balances() == before and len(paid.open_lines()) == 3
    approve = f"/v1/proposals/{proposed['proposal']}/approve"
    paid.ben.refused("POST", approve, None, 409, "second_key_needed")
    assert paid.admin.send("POST", approve + "?dry_run=true").json["dry_run"] and paid.balances() == before
    done = paid.admin.send("POST", approve)
    assert done.status == 200 and done.json["status"] == "approved" and done.json["decided_by"]["key"] == "first-admin"
    assert paid.admin.send("POST", approve).json == done.json  # again
    (line,) = (one for one in paid.admin.items("/v1/bank-lines", scheme="tern-bay") if one["line"] == paid_in["line"])
    assert (
        line["resolution"].items()
        >= {
            "participant": "hearth",
            "account": "arrears",
            "by": "first-admin",
            "note": "asked them",
            "proposal": proposed["proposal"],
        }.items()
    )
    paid.ben.agreed(
        paid.admin,
        "POST",
        f"/v1/bank-lines/{late['line']}/resolve",
        {"participant": "miller", "account": "arrears", "note": "n"},
    )
    balances = paid.balances()
    assert (balances["arrears(hearth)"], balances["arrears(miller)"], balances["bank_suspense"]) == (
        "-1.78",
        "5.00",
        "-9.00",
    )
    assert [line["line"] for line in paid.open_lines()] == [nothing["line"]]
    assert len(paid.admin.items("/v1/bank-lines", scheme="tern-bay", open="false")) == 2
    assert len(paid.admin.items("/v1/bank-lines", scheme="tern-bay", limit=1)) == 3
    for body, reason in (
        ({"participant": "nobody", "account": "arrears"}, "participant_unknown"),
        ({}, "member_missing"),
        ({"participant": "hearth", "account": "settlement_due"}, "value_unknown"),
        ({"payment_id": "x", "account": "arrears"}, "member_unknown"),
        ({"payment_id": "x"}, "payment_unknown"),
        ({"payment_id": "x", "note": ""}, "bad_format"),
    ):
        paid.resolve(nothing, 422, reason, **body)
    for name in (
        "tern-bay.99",
        "tern-bay.",
        "tern-bay",
        ".1",
        "x.1",
        "tern-bay.1x",
        "tern-bay." + "9" * 30,
        "x" * 60 + ".1",
    ):
        paid.ben.refused("POST", f"/v1/bank-lines/{name}/resolve", {"payment_id": "x", "note": "n"}, 404, "not_found")
    paid.ben.refused("GET", "/v1/bank-lines?scheme=tern-bay&open=perhaps", None, 422, "parameter_invalid")
    paid.admin.assert_holds()


def test_a_line_is_resolved_once(paid):
    """If a line has two proposals, the second fails when it is approved, and stays open until it is withdrawn."""
    (line,) = paid.told([bank.Booking(Decimal("1.78"))])
    first, second = (paid.resolve(line, 202, participant=p)["proposal"] for p in ("hearth", "miller"))
    assert paid.admin.send("POST", f"/v1/proposals/{first}/approve").status == 200
    paid.admin.refused("POST", f"/v1/proposals/{second}/approve", None, 409, "line_not_open")
    assert [p["proposal"] for p in paid.admin.items("/v1/proposals", scheme="tern-bay")] == [second]
    assert (
        paid.ben.send("POST", f"/v1/proposals/{second}/withdraw", {"reason": "it was hearth's"}).json["status"]
        == "withdrawn"
    )
    paid.admin.assert_holds()


def test_a_payment_between_participants_is_no_line(office):
    office.load(network.worked_events(D0)).approve()
    direct = office.payments()["hearth", "miller"]
    (line,) = office.told([bank.Booking(Decimal(direct["amount"]), direct["payment_id"])])
    assert line["disposition"] == "unmatched"
    office.resolve(line, 422, "payment_unknown", payment_id=direct["payment_id"])


# --- hostile ones, and who may ----------------------------------------------------------------------------------------


REFUSED = [(path.stem.removeprefix("refused-"), path) for path in sorted(GOLDEN.glob("refused-*.xml"))]
STATUSES = {400: {"not_xml"}, 422: {"not_camt053", "statement_invalid", "statement_currency", "too_many"}}


@pytest.fixture(scope="module")
def quiet(shared):
    office = Office(shared)
    return office.load([], operator={**OPERATOR, "bank_account": {"iban": "GB29NWBK60161331926819"}}, close=False)


@pytest.mark.parametrize("name, path", REFUSED, ids=[name for name, _ in REFUSED])
def test_hostile_and_broken_statements_are_refused(quiet, name, path):
    answer = quiet.ben.send("POST", "/v1/bank-statements?scheme=tern-bay", path.read_bytes(), XML)
    assert answer.status in STATUSES and set(answer.reasons) <= STATUSES[answer.status], answer.body
    assert quiet.admin.items("/v1/bank-statements", scheme="tern-bay") == []


def test_what_comes_along_with_a_statement(quiet):
    data, target = quiet.statement([]), "/v1/bank-statements?scheme=tern-bay"
    for type in ("application/json", "text/plain", "application/xml-dtd", ""):
        quiet.ben.refused("POST", target, data, 415, "unsupported_media_type", {"Content-Type": type})
    quiet.ben.refused("POST", target, data, 415, "unsupported_media_type", {**XML, "Content-Encoding": "gzip"})
    quiet.ben.refused("POST", "/v1/bank-statements", data, 422, "parameter_missing", XML)
    quiet.ben.refused("POST", "/v1/bank-statements?scheme=nowhere", data, 404, "not_found", XML)
    # of ACCOUNT
    quiet.ben.refused("POST", target, data, 422, "statement_account", {"Content-Type": "text/xml; charset=utf-8"})
    quiet.ben.refused(
        "POST", target, quiet.statement([], account="DE89370400440532013000"), 422, "statement_account", XML
    )
    quiet.ben.refused("POST", target, b"x" * (2 << 20), 413, "body_too_large", XML)


def test_who_may(paid):
    file = paid.admin.items(f"/v1/settlements/tern-bay/{D0}/files")[0]
    (line,) = paid.told([bank.Booking(Decimal("1.00"))])
    reads = [
        f"/v1/settlements/tern-bay/{D0}/files",
        "/v1/bank-statements?scheme=tern-bay",
        "/v1/bank-lines?scheme=tern-bay",
    ]
    service = paid.service
    clients = {
        "auditor": service.client(service.create_key("aud", "auditor")),
        "pos": service.client(service.create_key("till", "pos", sites=["anchor"])),
        "participant": service.client(service.create_key("book", "participant", participant="hearth")),
    }
    for role, client in clients.items():
        for path in reads:
            assert client.send("GET", path).status == (200 if role == "auditor" else 403), (role, path)
        client.refused("GET", file["location"], None, 403, "role_not_allowed")
        client.refused("POST", f"/v1/settlements/tern-bay/{D0}/files", {"type": "payouts"}, 403, "role_not_allowed")
        client.refused("POST", "/v1/bank-statements?scheme=tern-bay", b"<x/>", 403, "role_not_allowed", XML)
        client.refused("POST", f"/v1/bank-lines/{line['line']}/resolve", {"note": "n"}, 403, "role_not_allowed")
    paid.ben.refused("GET", "/v1/files/" + quote("no file"), None, 404, "not_found")
    paid.ben.refused("GET", "/v1/files/5f0c1d9e-6a1b-4c55-9d0e-3b1f6f2a7c10", None, 404, "not_found")
    paid.ben.refused("GET", file["location"], None, 406, "not_acceptable", {"Accept": "application/json"})
    assert paid.ben.send("GET", file["location"], None, {"Accept": "text/html, application/xml;q=0.9"}).status == 200


def test_what_was_kept_can_not_be_changed(paid):
    paid.told([bank.Booking(Decimal("1.00"))])
    for table in (
        "payment_file",
        "payment_in_file",
        "bank_document",
        "bank_statement",
        "bank_line",
        "bank_line_resolution",
    ):
        rights = paid.service.database.rows(
            "SELECT privilege_type FROM information_schema.role_table_grants WHERE grantee = 'depositd_service' AND"
            " table_name = %s",
            table,
        )
        assert sorted(r for r, in rights) == ["INSERT", "SELECT"], table
