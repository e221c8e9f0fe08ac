# SPDX-License-Identifier: ISC
"""The bank's statements as a chain, and the way from the bank's balance to the ledger's. The accounting contract says
that a statement opens with what the last one closed with, that its booked lines sum to the difference, and that the
account `bank` is the closing and the items in transit. Reconciling a bank's balance with the books in named items is
common practice (no source)."""
from datetime import timedelta
from decimal import Decimal

import pytest

import bank
from network import at, business_day, event
from pages import Page
from test_bank import ACCOUNT, COLLECTION, D0, PAYOUT, SMALL, XML, Office, office, paid  # noqa: F401  (fixtures)

DAY = timedelta(days=1)
REPORT = "/v1/reports/bank-reconciliation"


class Account:
    """The account at the bank. It tells of its days one by one, and each statement opens with the last one's end."""

    def __init__(self, office, holds="0.00", day=None):  # noqa: F811
        self.office, self.holds, self.day = office, Decimal(holds), day or business_day() - 20 * DAY

    def books(self, *bookings, **more):
        """A day at the bank: the bytes of its statement."""
        self.day, opening = self.day + DAY, self.holds
        bookings = [b if isinstance(b, bank.Booking) else bank.Booking(Decimal(b)) for b in bookings]
        self.holds += sum(b.amount for b in bookings)
        self.office.statements += 1
        more = {"opening": opening, **more}
        return bank.statement(f"S-{self.office.statements}", ACCOUNT, "CAD", str(self.day), bookings, **more)

    def tells(self, *bookings, **more):
        """The same; the office reads it. Its name."""
        return self.office.take(self.books(*bookings, **more))["statements"][0]["bank_statement"]


def rows(office, **query):  # noqa: F811
    return office.admin.items(REPORT, scheme="tern-bay", **query)


def proven(office, **query):  # noqa: F811
    """The rows as (section, item, amount). They sum to the ledger's balance, which is that of the account."""
    found = rows(office, **query)
    assert found[-1]["section"] == "ledger"
    amounts = [Decimal(r["amount"]) for r in found]
    assert sum(amounts[:-1]) == amounts[-1], found
    have = office.admin.accounts("tern-bay", **query).get("bank", "0.00")
    assert found[-1]["amount"] == have and found[-1]["account"] == "bank"
    assert not [r for r in found if r["section"] == "not_explained"], found
    office.admin.assert_holds()
    return [(r["section"], r["item"], r["amount"]) for r in found]


def shown(office, name):  # noqa: F811
    """A statement, which the list shows alike."""
    one = office.admin.get(f"/v1/bank-statements/{name}")
    (listed,) = [s for s in office.admin.items("/v1/bank-statements", scheme="tern-bay") if s["bank_statement"] == name]
    assert {k: one[k] for k in listed if k != "lines"} == {k: listed[k] for k in listed if k != "lines"}
    assert one["line_count"] == listed["lines"] and one["lines"] == [
        {k: v for k, v in line.items() if k not in ("statement", "scheme")}
        for line in office.admin.items("/v1/bank-lines", scheme="tern-bay", bank_statement=name)
    ]
    return one


@pytest.fixture
def account(paid):  # noqa: F811
    return Account(paid)


# --- statements -------------------------------------------------------------------------------------------------------


def test_a_statement_is_shown_with_what_became_of_its_lines(account):
    office, before = account.office, account.tells("3.00")  # noqa: F811
    data = account.books(*account.office.bookings.values(), "9.00", sequence=7)
    name = office.take(data)["statements"][0]["bank_statement"]
    one = shown(office, name)
    assert one["statement"] == "S-2" and one["account"] == ACCOUNT and one["currency"] == "CAD"
    assert (one["opening"], one["booked"], one["closing"], one["ties"]) == ("3.00", "54.36", "57.36", True)
    assert (one["from"], one["to"], one["sequence"], one["previous"]) == (str(account.day), str(account.day), 7, before)
    assert one["received_from"] == "ben" and one["open"] == 1 and "opening_off" not in one and "lines_off" not in one
    assert [line["disposition"] for line in one["lines"]] == ["matched"] * 3 + ["unmatched"]
    # The message is kept as it came.
    raw = office.admin.send("GET", one["message"]["location"])
    assert raw.status == 200 and raw.body == data and raw.headers["Content-Type"] == "application/xml"
    assert raw.headers["ETag"] == f'"{one["message"]["sha256"]}"' and one["message"]["bytes"] == len(data)
    again = office.admin.send("GET", one["message"]["location"], headers={"If-None-Match": raw.headers["ETag"]})
    assert again.status == 304
    # It is another's text, so no browser shows it as a page of this service.
    assert raw.headers["Content-Disposition"] == "attachment" and "sandbox" in raw.headers["Content-Security-Policy"]


def test_lists_by_the_day_that_a_statement_ends_on(account):
    office, names = account.office, [account.tells("1.00") for _ in range(3)]  # noqa: F811

    def listed(**query):
        return [s["bank_statement"] for s in office.admin.items("/v1/bank-statements", scheme="tern-bay", **query)]

    assert listed() == listed(limit=1) == names
    middle = str(account.day - DAY)
    assert listed(to=middle, limit=1) == names[:2] and listed(**{"from": middle}) == names[1:]
    assert listed(**{"from": middle, "to": middle}) == names[1:2]


def test_a_line_leads_to_its_payment_and_a_payment_to_its_line(account):
    office, payout = account.office, account.office.bookings[PAYOUT]  # noqa: F811
    account.tells(payout, bank.come_back(payout), office.bookings[SMALL])
    lines = {
        line["disposition"] + line["amount"]: line for line in office.admin.items("/v1/bank-lines", scheme="tern-bay")
    }
    payment = office.payments()["pool", "miller"]
    shown_payment = office.admin.get(f"/v1/payments/{payment['payment_id']}")
    line = lines[f"matched{PAYOUT}"]
    assert shown_payment["line"] == payment["line"] == line["line"] and line["payment_id"] == payment["payment_id"]
    assert shown_payment["return_line"] == lines[f"returned{-PAYOUT}"]["line"]
    assert office.admin.get(f"/v1/bank-lines/{line['line']}") == line
    assert "line" not in office.payments()["hearth", "pool"]
    # A line that a person resolved to the payment leads there as well.
    (found,) = office.told([bank.Booking(COLLECTION)], opening=account.holds)
    office.resolve(found, payment_id=office.payments()["hearth", "pool"]["payment_id"])
    assert office.payments()["hearth", "pool"]["line"] == found["line"]


@pytest.mark.parametrize(
    "path", ["tern-bay.1", "tern-bay.99", "tern-bay", "nowhere.1", "tern-bay.", "tern-bay.1x", ".1", "tern-bay.-1"]
)
def test_nothing_by_such_a_name(account, path):
    account.office.ann.refused("GET", f"/v1/bank-statements/{path}", None, 404, "not_found")
    account.office.ann.refused("GET", f"/v1/bank-statements/{path}/raw", None, 404, "not_found")
    account.office.ann.refused("GET", f"/v1/bank-lines/{path}", None, 404, "not_found")


@pytest.mark.parametrize("cursor", ["1", "2026-01-01", "2026-01-01/", "2026-01-01/x", "2026-01-01/1/2", "2026-13-01/1"])
def test_a_cursor_that_nobody_gave(account, cursor):
    target = f"/v1/bank-statements?scheme=tern-bay&cursor={cursor}"
    account.office.ann.refused("GET", target, None, 422, "parameter_invalid")


def test_lines_of_a_statement_of_another_scheme(account):
    for name in ("skerry.1", "1", "tern-bay.x"):
        target = f"/v1/bank-lines?scheme=tern-bay&bank_statement={name}"
        account.office.ann.refused("GET", target, None, 422, "parameter_invalid")


# --- balances ---------------------------------------------------------------------------------------------------------
# The codes are those of ISO 20022's external code set ExternalBalanceType1Code (from memory).


def as_if(code, data):
    return data.replace(b"<Cd>OPBD</Cd>", code.encode())


@pytest.mark.parametrize(
    "code, opening",
    [
        ("<Cd>OPBD</Cd>", "4.00"),  # opening booked
        ("<Cd>PRCD</Cd>", "4.00"),  # previously closed booked: the last statement's closing
        ("<Cd>ITBD</Cd>", None),  # interim booked
        ("<Cd>OPAV</Cd>", None),  # opening available
        ("<Prtry>OPBD</Prtry>", None),  # the bank's own code, which only looks like the standard's
    ],
)
def test_the_opening_balance(account, code, opening):
    account.holds = Decimal("4.00")
    name = account.office.take(as_if(code, account.books("1.00")))["statements"][0]["bank_statement"]
    assert shown(account.office, name).get("opening") == opening
    # Without one, the closing and the lines tell what it was.
    assert proven(account.office)[:2] == [("statement", "closing", "5.00"), ("before", "opening", "-4.00")]


@pytest.mark.parametrize(
    "code, closing",
    [
        ("CLBD", "5.00"),  # closing booked
        ("CLAV", None),  # closing available
        ("ITBD", None),  # interim booked
        ("XPCD", None),  # expected
    ],
)
def test_the_closing_balance(account, code, closing):
    account.holds = Decimal("4.00")
    data = account.books("1.00").replace(b"<Cd>CLBD</Cd>", f"<Cd>{code}</Cd>".encode())
    one = shown(account.office, account.office.take(data)["statements"][0]["bank_statement"])
    assert one.get("closing") == closing and one["ties"] is True
    assert proven(account.office)[0] == ("statement", "closing" if closing else "closing_not_stated", "5.00")


def test_an_account_that_is_overdrawn(account):
    account.holds = Decimal("-7.00")
    one = shown(account.office, account.tells("2.00"))
    assert (one["opening"], one["closing"], one["ties"]) == ("-7.00", "-5.00", True)
    assert proven(account.office)[:2] == [("statement", "closing", "-5.00"), ("before", "opening", "7.00")]


def test_a_statement_without_balances_is_read_and_says_so(account):
    silent = account.books("2.00").replace(b"OPBD", b"ITAV").replace(b"CLBD", b"CLAV")
    one = shown(account.office, account.office.take(silent)["statements"][0]["bank_statement"])
    assert not one.keys() & {"opening", "closing", "ties", "expected_opening"}
    assert [b["type"] for b in one["balances"]] == ["ITAV", "CLAV"]
    assert proven(account.office) == [
        ("statement", "closing_not_stated", "2.00"),
        ("before", "opening_not_stated", "0.00"),
        ("ledger", "bank", "2.00"),
    ]
    # The next one with balances tells what there was, and the chain goes over it.
    account.holds += 50
    assert shown(account.office, account.tells("1.00"))["ties"] is True
    assert proven(account.office)[:2] == [("statement", "closing", "53.00"), ("before", "opening", "-50.00")]


def test_balances_that_contradict_each_other_say_nothing(account):
    data = account.books("1.00")
    other = data[data.index(b"<Bal>") : data.index(b"</Bal>") + 6].replace(b">0.00<", b">9.00<")
    data = data.replace(b"<Bal>", other + b"<Bal>", 1)
    one = shown(account.office, account.office.take(data)["statements"][0]["bank_statement"])
    assert "opening" not in one and one["closing"] == "1.00"


def test_the_period_that_a_statement_names(account):
    data = account.books("1.00")
    first = account.day - 3 * DAY
    period = f"<FrToDt><FrDtTm>{first}T00:00:00</FrDtTm><ToDtTm>{account.day + DAY}T00:00:00</ToDtTm></FrToDt>"
    data = data.replace(b"<Acct>", period.encode() + b"<Acct>", 1)
    one = shown(account.office, account.office.take(data)["statements"][0]["bank_statement"])
    assert (one["from"], one["to"]) == (str(first), str(account.day))  # the closing balance says the last day


@pytest.mark.parametrize(
    "element",
    [
        "<ElctrncSeqNb>1.5</ElctrncSeqNb>",
        "<ElctrncSeqNb>1</ElctrncSeqNb><ElctrncSeqNb>2</ElctrncSeqNb>",
        "<ElctrncSeqNb>1234567890123456789</ElctrncSeqNb>",
        "<FrToDt><FrDtTm>soon</FrDtTm><ToDtTm>2026-01-01T00:00:00</ToDtTm></FrToDt>",
    ],
)
def test_a_malformed_count_or_period(account, element):
    data = account.books("1.00").replace(b"<Acct>", element.encode() + b"<Acct>", 1)
    target = "/v1/bank-statements?scheme=tern-bay"
    account.office.ben.refused("POST", target, data, 422, "statement_invalid", XML)


# --- the chain --------------------------------------------------------------------------------------------------------


def test_statements_that_tie(account):
    names = [account.tells("5.00"), account.tells(), account.tells("-2.00", "-4.00")]
    assert [shown(account.office, n)["ties"] for n in names] == [True] * 3
    assert proven(account.office) == [
        ("statement", "closing", "-1.00"),
        ("before", "opening", "0.00"),
        ("ledger", "bank", "-1.00"),
    ]
    assert rows(account.office, state="breaks") == rows(account.office, state="in_transit") == []


def test_a_statement_that_is_missing_until_it_is_read(account):
    office = account.office  # noqa: F811
    account.tells("5.00")
    missing = account.books("7.00", "-1.00")
    later = account.tells("1.00")
    one = shown(office, later)
    assert (one["ties"], one["expected_opening"], one["opening_off"]) == (False, "5.00", "6.00")
    (found,) = rows(office, state="breaks")
    assert (found["section"], found["item"], found["amount"]) == ("break", "opening_differs", "-6.00")
    assert found["bank_statement"] == later and found["date"] == str(account.day)
    assert ("break", "opening_differs", "-6.00") in proven(office)
    assert proven(office, as_of=account.day - DAY)[0] == ("statement", "closing", "5.00")
    # It takes its place by its day, whenever it is read.
    name = office.take(missing)["statements"][0]["bank_statement"]
    assert shown(office, name)["ties"] and shown(office, later)["ties"] and shown(office, later)["previous"] == name
    assert rows(office, state="breaks") == [] and proven(office)[0] == ("statement", "closing", "12.00")


def test_two_statements_of_a_day_stand_by_the_banks_count(account):
    first, second = account.books("5.00", sequence=11), None
    account.day -= DAY
    second = account.books("2.00", sequence=12)
    for data in (second, first):
        account.office.take(data)
    listed = account.office.admin.items("/v1/bank-statements", scheme="tern-bay")
    assert {s["statement"]: s["ties"] for s in listed} == {"S-1": True, "S-2": True}
    assert proven(account.office)[0] == ("statement", "closing", "7.00")


def test_lines_that_do_not_sum_until_the_bank_tells_the_day_again(account):
    office = account.office  # noqa: F811
    known, forgotten = bank.Booking(Decimal("5.00"), reference="B-71"), bank.Booking(Decimal("2.00"), reference="B-72")
    account.tells("1.00")
    wrong = account.tells(known, closing=Decimal("8.00"))
    one = shown(office, wrong)
    assert (one["ties"], one["lines_off"]) == (False, "2.00") and "opening_off" not in one
    (found,) = rows(office, state="breaks")
    assert (found["item"], found["amount"], found["bank_statement"]) == ("lines_do_not_sum", "-2.00", wrong)
    assert ("break", "lines_do_not_sum", "-2.00") in proven(office)
    # The bank corrects itself in another statement of the same day.
    account.day, account.holds = account.day - DAY, Decimal("1.00")
    right = shown(office, account.tells(known, forgotten))
    assert [line["disposition"] for line in right["lines"]] == ["repeated", "unmatched"]
    assert shown(office, wrong)["ties"] is False and rows(office, state="breaks") == []
    told = [r for r in proven(office) if r[0] == "told_again"]
    assert sorted(told) == [("told_again", "lines_do_not_sum", "-2.00"), ("told_again", "opening_differs", "2.00")]
    assert shown(office, account.tells("1.00"))["ties"] is True and rows(office, state="breaks") == []


def test_a_statement_over_days_that_are_known(account):
    """Its lines are known, and count once: it ties."""
    days = [str(account.day + n * DAY) for n in range(5)]
    bookings = [bank.Booking(Decimal(n), reference=f"B-{n}", day=days[n]) for n in range(1, 5)]
    for booking in bookings[:3]:
        account.tells(booking)
    account.holds = Decimal(1)
    one = shown(account.office, account.tells(*bookings[1:]))  # from the second day on
    assert [line["disposition"] for line in one["lines"]] == ["repeated"] * 2 + ["unmatched"] and one["ties"] is True
    assert (one["opening"], one["expected_opening"], one["booked"]) == ("1.00", "1.00", "9.00")
    assert proven(account.office)[0] == ("statement", "closing", "10.00")


def test_a_message_that_came_twice_without_references_of_lines(account):
    """The lines cannot be known again, and post twice. The chain says so."""
    account.tells("5.00")
    account.day, account.holds = account.day - DAY, Decimal(0)
    account.tells("5.00")
    (found,) = rows(account.office, state="breaks")
    assert (found["item"], found["amount"]) == ("opening_differs", "5.00")
    assert proven(account.office)[-1] == ("ledger", "bank", "10.00")


# --- before the first statement, and in transit -----------------------------------------------------------------------


def test_no_statement_was_read(paid):  # noqa: F811
    assert proven(paid) == [("statement", "none_read", "0.00"), ("ledger", "bank", "0.00")]
    payment = paid.payments()["hearth", "pool"]["payment_id"]
    assert paid.ben.send("POST", f"/v1/payments/{payment}/confirm").status == 200
    assert proven(paid)[1:] == [("before", "payments_by_hand", "101.78"), ("ledger", "bank", "101.78")]


def test_what_the_account_held_before(account):
    """By the bank, and by a journal from before the first statement was read."""
    office = account.office  # noqa: F811
    journal = event(
        "journal",
        None,
        at(D0 + DAY),
        scheme="tern-bay",
        reason="the account as we took it over",
        legs=[{"account": "bank", "amount": "30.00"}, {"account": "operator_account", "amount": "-30.00"}],
    )
    assert office.ben.send("POST", "/v1/events", journal).status == 202
    approved = office.admin.send("POST", f"/v1/journals/{journal['event_id']}/approve")
    assert approved.status == 200
    account.holds = Decimal("31.00")
    account.tells("2.00")
    assert proven(office) == [
        ("statement", "closing", "33.00"),
        ("before", "opening", "-31.00"),
        ("before", "journal", "30.00"),
        ("ledger", "bank", "32.00"),
    ]
    (row,) = [r for r in rows(office) if r["item"] == "journal"]
    assert row["entry"] == approved.json["entry"]


def test_a_payment_by_hand_is_in_transit_until_its_line_comes(account):
    office = account.office  # noqa: F811
    account.tells(office.bookings[PAYOUT])
    payments = office.payments()
    target = f"/v1/payments/{payments['hearth', 'pool']['payment_id']}/confirm"
    assert office.ben.send("POST", target).status == 200
    miller = payments["pool", "miller"]["payment_id"]
    assert office.ben.send("POST", f"/v1/payments/{miller}/fail", {"reason": "the bank called"}).status == 200
    assert sorted(r for r in proven(office) if r[0] == "in_transit") == [
        ("in_transit", "confirmed_by_hand", "101.78"),
        ("in_transit", "failed_by_hand", "56.01"),
    ]
    first, second = sorted(rows(office, state="in_transit"), key=lambda row: row["item"])
    assert (first["payment_id"], first["participant"]) == (payments["hearth", "pool"]["payment_id"], "hearth")
    assert (second["payment_id"], second["participant"]) == (miller, "miller") and first["entry"] != second["entry"]
    account.tells(office.bookings[COLLECTION], bank.come_back(office.bookings[PAYOUT]))
    assert rows(office, state="in_transit") == [] and proven(office)[-1] == ("ledger", "bank", "101.78")


def test_a_line_without_reference_leaves_a_payment_by_hand_in_transit_until_a_person_says_so(account):
    office = account.office  # noqa: F811
    payment = office.payments()["hearth", "pool"]["payment_id"]
    account.tells("1.00")
    assert office.ben.send("POST", f"/v1/payments/{payment}/confirm").status == 200
    (line,) = office.take(account.books(str(COLLECTION)))["statements"][0]["lines"]
    assert [r for r in proven(office) if r[0] == "in_transit"] == [("in_transit", "confirmed_by_hand", "101.78")]
    office.resolve(line, payment_id=payment)
    assert rows(office, state="in_transit") == [] and proven(office)[0] == ("statement", "closing", "102.78")


def test_a_statement_of_yesterday_that_was_read_today(account):
    """At the bank on its day, in the ledger a day later."""
    office, yesterday = account.office, business_day() - DAY  # noqa: F811
    account.tells("1.00")
    account.day = yesterday - DAY
    account.tells(office.bookings[COLLECTION], "2.00")
    transit = [r for r in proven(office, as_of=yesterday) if r[0] == "in_transit"]
    assert sorted(transit) == [("in_transit", "posted_later", a) for a in ("-1.00", "-101.78", "-2.00")]
    assert rows(office, as_of=yesterday, state="in_transit")[0]["bank_statement"]
    assert [r for r in proven(office) if r[0] == "in_transit"] == []


def test_a_statement_of_a_day_to_come(account):
    """A bank's day may begin before ours."""
    account.tells("1.00")
    account.day = business_day() + DAY
    account.tells("2.00", account.office.bookings[SMALL])
    transit = [r for r in proven(account.office) if r[0] == "in_transit"]
    assert sorted(transit) == [("in_transit", "posted_before", a) for a in ("-0.41", "2.00")]


def test_two_accounts(account):
    """The operator moves to another account: each has its chain."""
    office = account.office  # noqa: F811
    account.tells("5.00")
    scheme = {k: v for k, v in office.admin.get("/v1/schemes/tern-bay").items() if k != "scheme"}
    scheme["operator"] = {**scheme["operator"], "bank_account": {"account": "00002000", "bank_code": "TB-000"}}
    office.admin.agreed(office.ben, "PUT", "/v1/schemes/tern-bay", scheme)
    data = account.books("3.00", opening=Decimal("0.00")).replace(b"<Id>00001000</Id>", b"<Id>00002000</Id>")
    office.take(data)
    assert proven(office) == [
        ("statement", "closing", "5.00"),
        ("statement", "closing", "3.00"),
        ("before", "opening", "0.00"),
        ("before", "opening", "0.00"),
        ("ledger", "bank", "8.00"),
    ]
    assert [r["bank_account"] for r in rows(office)[:2]] == [ACCOUNT, "00002000"]


# --- pages ------------------------------------------------------------------------------------------------------------


def page(client, target):
    answer = client.send("GET", target, headers={"Accept": "text/html"})
    assert answer.status == 200, answer.body
    return answer.body.decode()


def test_pages_lead_to_each_other(account):
    office = account.office  # noqa: F811
    name = account.tells(office.bookings[PAYOUT], "5.00", closing=Decimal("1.00"))
    payment = office.payments()["pool", "miller"]
    report = f"{REPORT}?scheme=tern-bay"
    leads = {
        "/": ["/v1/bank-statements?scheme=tern-bay", report],
        "/v1/bank-statements?scheme=tern-bay": [f"/v1/bank-statements/{name}"],
        f"/v1/bank-statements/{name}": [
            f"/v1/bank-lines/{payment['line']}",
            f"/v1/payments/{payment['payment_id']}",
            f"/v1/bank-statements/{name}/raw",
            f"{report}&amp;as_of={account.day}",
        ],
        f"/v1/bank-lines/{payment['line']}": [f"/v1/bank-statements/{name}", f"/v1/payments/{payment['payment_id']}"],
        f"/v1/payments/{payment['payment_id']}": [f"/v1/bank-lines/{payment['line']}"],
        f"/v1/settlements/tern-bay/{D0}": [f"/v1/bank-lines/{payment['line']}"],
        report: [f"/v1/bank-statements/{name}", "/v1/reports/general-ledger?scheme=tern-bay&amp;account=bank"],
    }
    for target, wanted in leads.items():
        text = page(office.ann, target)
        for link in wanted:
            assert f'href="{link}' in text, (target, link)


def test_the_ledgers_line_is_the_total(account):
    account.tells(account.office.bookings[PAYOUT], "5.00")
    shown = Page(page(account.office.ann, f"{REPORT}?scheme=tern-bay").encode())
    lines = list(shown.root.first("tbody").all("tr"))
    assert lines[0].first("th").text == "statement" and "closing" in [cell.text for cell in lines[0].all("td")]
    totals = [row.first("th").text for row in lines if row.has_class("total")]
    assert totals == [lines[-1].first("th").text] == ["ledger"]


def test_a_participant_does_not_see_the_banks_lines(account):
    office = account.office  # noqa: F811
    account.tells(*office.bookings.values())
    key = office.service.client(office.service.create_key("hearth", "participant", participant="hearth"))
    payment = office.payments()["hearth", "pool"]
    assert "line" in payment and "line" not in key.get(f"/v1/payments/{payment['payment_id']}")
    (own,) = key.get(f"/v1/settlements/tern-bay/{D0}")["payments"]
    assert own["payment_id"] == payment["payment_id"] and "line" not in own
