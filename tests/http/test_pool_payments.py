# SPDX-License-Identifier: ISC
"""Payments from the pool of a scheme to the pool of a host that took its cups back. The accounting contract has the
rules; the figures are worked by hand. Paying what one operator owes another on fixed days is common practice; there is
no published source."""
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import psycopg2
import pytest

import bank
import network
from between import followed
from harness import wait_until
from network import at, business_day, cups, event
from statements import SQL, statement_text
from test_payments import end_today

D0 = date.today() - timedelta(days=4)
D1, D2 = D0 + timedelta(days=1), D0 + timedelta(days=2)
NO_FEES = dict.fromkeys(("minimum_payment", "service_fee", "handling_fee"), "0")


def operator(name, account):
    return {"name": name, "bank_account": {"account": account, "bank_code": "TB-001"}}


# The agreement with eider-sound is in its own currency, or in tern-bay's.
IN_KRONA, IN_DOLLARS = ("ISK", "240", "0.0105"), ("CAD", "2.40", "97.5")


class Network:
    """tern-bay's cups come back at skerry, which has the same currency, and at eider-sound, which has another. Ada
    signs for tern-bay, Ann for both hosts."""

    def __init__(self, service, terms="on_loan", minimum="0.00", far=IN_KRONA):
        self.service, self.ada = service, service.admin
        self.ann, self.ben, self.cleo = (
            service.client(service.create_key(n, "accountant", holder=n)) for n in ("ann", "ben", "cleo")
        )
        self.ada.load(
            network.reference(
                [
                    network.scheme(
                        "tern-bay",
                        D0,
                        {"cup-300": "2.50"},
                        stock_terms=terms,
                        terms=[{"minimum_payment": minimum}],
                        operator=operator("tern-bay", "00001000"),
                    ),
                    network.scheme(
                        "skerry", D0, {"cup-300": "2.00"}, stock_terms=terms, operator=operator("skerry", "00002000")
                    ),
                    network.scheme(
                        "eider-sound",
                        D0,
                        {"cup-300": "250"},
                        currency="ISK",
                        time_zone="Atlantic/Reykjavik",
                        stock_terms=terms,
                        terms=[NO_FEES],
                        operator=operator("eider-sound", "00003000"),
                    ),
                ],
                {"anchor": ("tern-bay", "hearth"), "cairn": ("skerry", "miller"), "eider-1": ("eider-sound", "puffin")},
            )
        )
        for host, (currency, amount, rate) in (("skerry", ("CAD", "2.30", "1")), ("eider-sound", far)):
            self.ada.agreed(
                self.ann,
                "PUT",
                f"/v1/schemes/tern-bay/agreements/{host}/{D0}",
                {
                    "currency": currency,
                    "rate": rate,
                    "values": [{"cup_type": "cup-300", "amount": amount}],
                    "signs_for": "tern-bay",
                },
            )

    def take_back(self, site, quantity, day, amount, clock="12:00"):
        line = {"cup_type": "cup-300", "quantity": quantity, "home": "tern-bay"}
        self.ada.post(event("return", site, at(day, clock), returned=[line], amount=amount))

    def books(self, scheme="tern-bay"):
        return {
            account: balance
            for account, balance in self.ada.accounts(scheme).items()
            if account.startswith(("between_schemes", "settlement_due_scheme", "bank", "refund_variance"))
            and Decimal(balance) != 0
        }

    def wait_for(self, host, balance):
        account = f"between_schemes(tern-bay,{host})"
        wait_until(lambda: self.books().get(account) == balance, f"{account} is {balance}")

    def payment(self, day, host):
        settlement = self.ada.get(f"/v1/settlements/tern-bay/{day}")
        [found] = [p for p in settlement["payments"] if p["to"] == f"pool/{host}"]
        return found

    def do_file(self, scheme, day):
        answer = self.cleo.send("POST", f"/v1/settlements/{scheme}/{day}/files", {"type": "payouts"})
        assert answer.status == 201, answer.body
        return answer.json

    def do(self, client, payment, change, body=None, status=200, reason=None):
        answer = client.send("POST", f"/v1/payments/{payment['payment_id']}/{change}", body)
        assert answer.status == status and (reason is None or reason in answer.reasons), answer.body
        return answer.json


@pytest.mark.parametrize("terms", ["on_loan", "on_deposit"])
def test_what_is_owed_is_paid_by_itself(service, terms):
    """4 cups at 2.30 are 9.20. 1 and 3 cups at 240 ISK are 240 and 720 ISK, and at 0.0105 2.52 and 7.56 CAD."""
    net = Network(service, terms)
    net.ada.post(event("issue", "anchor", at(D0), issued=cups(cup_300=20), amount="50.00"))
    net.take_back("cairn", 4, D0, "8.00")
    net.take_back("eider-1", 1, D0, "250")
    net.take_back("eider-1", 3, D0, "750", "13:00")
    net.wait_for("skerry", "-9.20")
    net.wait_for("eider-sound", "-10.08")
    settlement = net.ann.close("tern-bay", D0)
    near, far = net.payment(D0, "skerry"), net.payment(D0, "eider-sound")
    shown = {"from": "pool", "status": "computed", "held": {"reason": "between_schemes", "released": False}}
    assert near.items() >= {**shown, "amount": "9.20", "agreed": {"amount": "9.20", "currency": "CAD"}}.items()
    assert far.items() >= {**shown, "amount": "10.08", "agreed": {"amount": "960", "currency": "ISK"}}.items()
    assert settlement["totals"]["payments"] == (terms == "on_loan"), "the netting alone"
    assert settlement["totals"]["paid"] == ("50.00" if terms == "on_loan" else "0.00")
    due = {"settlement_due_scheme(skerry)": "-9.20", "settlement_due_scheme(eider-sound)": "-10.08"}
    variance = Decimal(net.books().pop("refund_variance", "0"))
    assert {a: b for a, b in net.books().items() if a != "refund_variance"} == due

    # Only Ada signed for tern-bay: nobody else lets a payment go, and nobody alone.
    net.do(net.ben, near, "approve", None, 409, "payment_held")
    net.do(net.ben, near, "release", None, 403, "signer_needed")
    net.do(net.ada, near, "release")
    net.do(net.ada, far, "release")
    net.do(net.ann, near, "approve", None, 409, "approver_closed_day")
    net.do(net.ada, near, "approve", None, 409, "second_key_needed")
    net.do(net.ben, near, "approve")
    net.do(net.ben, far, "approve")
    net.do(net.cleo, near, "confirm", {"amount": "9.21"}, 422, "out_of_range")
    assert net.do(net.cleo, near, "confirm")["status"] == "confirmed"
    net.do(net.cleo, far, "confirm", None, 422, "member_missing")
    net.do(net.cleo, far, "confirm", {"amount": "10.310"}, 422, "amount_decimals")
    done = net.do(net.cleo, far, "confirm", {"amount": "10.31"})
    assert done["changes"][-1]["booked"] == "10.31"
    # The bank's exchange cost 0.23 more than the books had.
    assert {a: Decimal(b) for a, b in net.books().items()} == {
        "bank": Decimal("-19.51"),
        **({"refund_variance": variance + Decimal("0.23")} if variance + Decimal("0.23") else {}),
    }
    net.ada.assert_holds("tern-bay")

    # One comes back. It is owed again from the day of its failure on, which is today.
    net.do(net.cleo, far, "fail", {"reason": "the account is closed"})
    assert net.books()["between_schemes(tern-bay,eider-sound)"] == "-10.08" and net.books()["bank"] == "-9.20"
    net.take_back("eider-1", 2, D1, "500")
    net.wait_for("eider-sound", "-15.12")
    net.ann.close("tern-bay", D1)
    again = net.payment(D1, "eider-sound")
    assert (again["amount"], again["agreed"]["amount"]) == ("5.04", "480"), "the failure is of a later day"
    net.ada.assert_holds("tern-bay")


ACCOUNTS = {"tern-bay": ("00001000", "CAD"), "skerry": ("00002000", "CAD"), "eider-sound": ("00003000", "ISK")}


def tell(net, scheme, *bookings):
    """The scheme's bank tells of bookings: the lines of its statement."""
    account, currency = ACCOUNTS[scheme]
    text = bank.statement(f"S-{uuid4().hex[:8]}", account, currency, str(D1), list(bookings))
    answer = net.cleo.send("POST", f"/v1/bank-statements?scheme={scheme}", text, {"Content-Type": "application/xml"})
    assert answer.status == 200, answer.body
    return answer.json["statements"][0]["lines"]


def resolve(net, line, home="tern-bay", **more):
    """Two people say that the line was what another scheme owed."""
    body = {"account": "between_schemes", "scheme": home, "note": "by the letter of its bank", **more}
    net.cleo.agreed(net.ben, "POST", f"/v1/bank-lines/{line['line']}/resolve", body)


def ready(net, host, cups=4, amount="8.00"):
    """The host has taken back cups, the home has closed its day, and its payment may leave."""
    site = {"skerry": "cairn", "eider-sound": "eider-1"}[host]
    net.ada.post(event("issue", "anchor", at(D0), issued=cups_of(20), amount="50.00"))
    net.take_back(site, cups, D0, amount)
    followed(net.service)
    net.ann.close("tern-bay", D0)
    payment = net.payment(D0, host)
    net.do(net.ada, payment, "release")
    net.do(net.ben, payment, "approve")
    return payment


def cups_of(quantity):
    return cups(cup_300=quantity)


def money(net, host):
    """The report's line of money, which is the same at both schemes."""
    lines = [
        [
            r
            for r in net.ada.items("/v1/reports/between-schemes", scheme=s)
            if r["item"] == "money" and r["host"] == host
        ]
        for s in ("tern-bay", host)
    ]
    assert lines[0] == lines[1] and len(lines[0]) == 1
    return {k: lines[0][0][k] for k in ("agreed", "not_settled", "settled", "to_follow_amount", "under_way")}


def owed(agreed, not_settled="0", settled="0", to_follow_amount="0", under_way="0"):
    return {
        "agreed": agreed,
        "not_settled": not_settled,
        "settled": settled,
        "to_follow_amount": to_follow_amount,
        "under_way": under_way,
    }


def in_cents(figures):
    return {k: f"{Decimal(v):.2f}" for k, v in figures.items()}


@pytest.mark.parametrize("first", ["home", "host"])
def test_the_banks_of_both_pools_tell_it(service, first):
    """Whichever bank tells first. Both lines name the payment and its amount, so nobody has to look at them."""
    net = Network(service)
    payment = ready(net, "skerry")
    name = payment["payment_id"]
    assert money(net, "skerry") == in_cents(owed("9.20", settled="9.20"))

    def home_tells():
        [line] = tell(net, "tern-bay", bank.Booking(Decimal("-9.20"), name, "B-1"))
        assert (line["disposition"], line["payment_id"]) == ("matched", name)
        assert net.payment(D0, "skerry")["status"] == "confirmed" and net.books()["bank"] == "-9.20"

    def host_tells():
        [line] = tell(net, "skerry", bank.Booking(Decimal("9.20"), name, "C-1"))
        assert (line["disposition"], line["payment_id"]) == ("between_schemes", name)
        assert {a: b for a, b in net.books("skerry").items() if a != "refund_variance"} == {"bank": "9.20"}

    for tells in (home_tells, host_tells) if first == "home" else (host_tells, home_tells):
        tells()
        net.ada.assert_holds()
    assert money(net, "skerry") == in_cents(owed("0"))

    # The account was closed after all. Each bank takes it back, and it is owed again.
    [line] = tell(net, "tern-bay", bank.come_back(bank.Booking(Decimal("-9.20"), name, "B-1")))
    assert line["disposition"] == "returned" and net.payment(D0, "skerry")["status"] == "failed"
    assert money(net, "skerry") == in_cents(owed("0", not_settled="9.20", under_way="-9.20"))
    net.ada.assert_holds()
    [line] = tell(net, "skerry", bank.come_back(bank.Booking(Decimal("9.20"), name, "C-1")))
    assert (line["disposition"], line["payment_id"]) == ("between_schemes", name)
    assert net.books("skerry")["between_schemes(tern-bay,skerry)"] == "9.20" and "bank" not in net.books("skerry")
    assert money(net, "skerry") == in_cents(owed("9.20", not_settled="9.20"))
    net.ada.assert_holds()


def test_a_bank_says_what_it_was_instructed_to_exchange(service):
    """4 cups at 240 ISK are 960 ISK, which the home's bank books as 10.31 CAD. Its line says so by InstdAmt."""
    net = Network(service)
    payment = ready(net, "eider-sound", amount="1000")
    name = payment["payment_id"]
    booking = bank.Booking(Decimal("-10.31"), name, "B-1", instructed="950 ISK")
    [line] = tell(net, "tern-bay", booking)
    assert line["disposition"] == "unmatched", "of another amount"
    [line] = tell(net, "tern-bay", bank.Booking(Decimal("-10.31"), name, "B-2", instructed="960 ISK"))
    assert line["disposition"] == "matched"
    done = net.payment(D0, "eider-sound")
    assert done["status"] == "confirmed"
    assert net.ada.get(f"/v1/payments/{name}")["changes"][-1]["booked"] == "10.31"
    [line] = tell(net, "eider-sound", bank.Booking(Decimal("960"), name, "C-1"))
    assert line["disposition"] == "between_schemes"
    assert money(net, "eider-sound") == owed("0")
    net.ada.assert_holds()


@pytest.mark.parametrize("by", ["its line", "two people"])
def test_a_host_bears_the_exchange_of_what_was_agreed_in_the_homes_currency(service, by):
    """1 and 3 cups at 2.40 CAD are 2.40 and 7.20 CAD, and at 97.5 ISK for one CAD 234 and 702 ISK. The host's bank
    books 930 ISK for 9.60 CAD, so 6 ISK are missing."""
    net = Network(service, far=IN_DOLLARS)
    net.take_back("eider-1", 1, D0, "250", "13:00")
    payment = ready(net, "eider-sound", 3, "750")
    assert payment["agreed"] == {"amount": "9.60", "currency": "CAD"} and payment["amount"] == "9.60"
    pair = "between_schemes(tern-bay,eider-sound)"
    before = net.books("eider-sound")
    assert before[pair] == "936"
    [line] = tell(net, "tern-bay", bank.Booking(Decimal("-9.60"), payment["payment_id"], "B-1"))
    assert line["disposition"] == "matched"
    assert money(net, "eider-sound") == in_cents(owed("9.60", under_way="9.60"))
    if by == "its line":
        booking = bank.Booking(Decimal("930"), payment["payment_id"], "C-1", instructed="9.60 CAD")
        assert tell(net, "eider-sound", booking)[0]["disposition"] == "between_schemes"
    else:  # the bank has lost both the reference and the amount
        [line] = tell(net, "eider-sound", bank.Booking(Decimal("930"), "", "C-1"))
        assert line["disposition"] == "unmatched"
        resolve(net, line)
    after = net.books("eider-sound")
    assert pair not in after and after["bank"] == "930"
    assert Decimal(after.get("refund_variance", 0)) - Decimal(before.get("refund_variance", 0)) == 6
    assert money(net, "eider-sound") == in_cents(owed("0"))
    net.ada.assert_holds()


def test_a_line_over_or_under_waits_for_two_people(service):
    """In the agreed currency. The rest of a line that is under stays owed, and more than the payment is a finding until
    it has gone back."""
    net = Network(service)
    name = ready(net, "skerry")["payment_id"]
    tell(net, "tern-bay", bank.Booking(Decimal("-9.20"), name, "B-1"))
    [line] = tell(net, "skerry", bank.Booking(Decimal("9.00"), name, "C-1"))
    assert line["disposition"] == "underpaid" and "payment_id" not in line
    body = {"account": "between_schemes", "scheme": "tern-bay", "note": "less the bank's charge"}
    path = f"/v1/bank-lines/{line['line']}/resolve"
    net.cleo.refused("POST", path, {**body, "scheme": "eider-sound"}, 422, "scheme_unknown")
    net.cleo.refused("POST", path, {k: v for k, v in body.items() if k != "scheme"}, 422, "member_missing")
    net.cleo.refused("POST", path, {**body, "payment_id": "p-unknown"}, 422, "payment_unknown")
    asked = net.cleo.send("POST", path, body)
    assert asked.status == 202, asked.body
    net.cleo.refused("POST", f"/v1/proposals/{asked.json['proposal']}/approve", None, 409, "second_key_needed")
    assert net.ben.send("POST", f"/v1/proposals/{asked.json['proposal']}/approve").status == 200
    assert net.books("skerry")["between_schemes(tern-bay,skerry)"] == "0.20"
    assert money(net, "skerry") == in_cents(owed("0.20", under_way="0.20"))
    net.ada.assert_holds()
    [line] = tell(net, "skerry", bank.Booking(Decimal("0.30"), "", "C-2"))
    resolve(net, line, payment_id=name)
    assert money(net, "skerry") == in_cents(owed("-0.10", under_way="-0.10"))
    [found] = [c for c in net.ada.get("/v1/checks")["items"] if c["verdict"] != "holds"]
    assert (found["check"], found["scheme"]) == ("between_money", "tern-bay")
    assert found["detail"] == f"lines of the bank of skerry are more than payment {name} of tern-bay"
    [line] = tell(net, "skerry", bank.Booking(Decimal("-0.10"), "", "C-3"))
    resolve(net, line, payment_id=name)
    assert money(net, "skerry") == in_cents(owed("0"))
    net.ada.assert_holds()


def test_a_failed_payment_is_taken_up_by_the_next_pay_day(service):
    """9.20 fail. With 2 cups more, 13.80 are owed; the host's books have the same."""
    net = Network(service)
    failed = ready(net, "skerry")
    net.do(net.cleo, failed, "fail", {"reason": "the account is closed"})
    assert money(net, "skerry") == in_cents(owed("9.20", not_settled="9.20"))
    net.take_back("cairn", 2, D1, "4.00")
    followed(service)
    day, last = D1, business_day()
    end_today(service)
    while day <= last:
        net.ann.close("tern-bay", day)
        day += timedelta(days=1)
    assert net.payment(D1, "skerry")["amount"] == "4.60", "by then it had not failed"
    again = net.payment(last, "skerry")
    assert (again["amount"], again["agreed"]["amount"]) == ("9.20", "9.20")
    assert again["payment_id"] != failed["payment_id"]
    assert money(net, "skerry") == in_cents(owed("13.80", settled="13.80"))
    net.ada.assert_holds()


def test_a_balance_in_the_homes_favour_waits(service):
    """The return is settled and paid, and then it is reversed: the host owes the home, and nothing is paid."""
    net = Network(service)
    payment = ready(net, "skerry")
    tell(net, "tern-bay", bank.Booking(Decimal("-9.20"), payment["payment_id"], "B-1"))
    tell(net, "skerry", bank.Booking(Decimal("9.20"), payment["payment_id"], "C-1"))
    [returned] = [e for e in net.ada.feed("skerry") if e["kind"] == "return"]
    reversal = event("reversal", "cairn", at(D1), reverses=returned["event"]["event_id"])
    net.ada.post(reversal)
    followed(service)
    assert money(net, "skerry") == in_cents(owed("-9.20", not_settled="-9.20"))
    assert not [p for p in net.ann.close("tern-bay", D1)["payments"] if p["to"].startswith("pool/")]
    assert net.books()["between_schemes(tern-bay,skerry)"] == "9.20"
    net.ada.assert_holds()


def test_an_order_in_another_currency_is_in_the_file_of_payouts(service):
    """The bank is told to pay what was agreed, and the file's total is that of the books."""
    net = Network(service)
    net.take_back("cairn", 1, D0, "2.00")
    payment = ready(net, "eider-sound", amount="1000")
    near = net.payment(D0, "skerry")
    net.do(net.ada, near, "release")
    net.do(net.ben, near, "approve")
    made = net.do_file("tern-bay", D0)
    assert (made["payments"], made["total"]) == (2, "12.38")
    text = net.cleo.send("GET", f"/v1/files/{made['file_id']}", headers={"Accept": "application/xml"}).body
    _, orders = bank.read_file(text)
    assert {o.end_to_end: (o.amount, o.currency, o.other_account) for o in orders} == {
        payment["payment_id"]: (Decimal("-960"), "ISK", "00003000"),
        near["payment_id"]: (Decimal("-2.30"), "CAD", "00002000"),
    }
    assert net.payment(D0, "eider-sound")["status"] == "instructed"


def test_payments_to_pools_are_listed_with_the_others(service):
    """Lists, tasks, the ageing, the settlement's page and the bank's reconciliation name them."""
    net = Network(service)
    payment = ready(net, "skerry")
    name = payment["payment_id"]
    both = net.ada.items("/v1/payments", scheme="tern-bay")
    assert [p["to"] for p in both if p["from"] == "pool" and p["to"] != "pool"] == ["pool/skerry"]
    [alone] = net.ada.items("/v1/payments", scheme="tern-bay", to_pools="true")
    assert alone["agreed"] == {"amount": "9.20", "currency": "CAD"} and alone["payment_id"] == name
    others = net.ada.items("/v1/payments", scheme="tern-bay", to_pools="false")
    assert others and all("agreed" not in p for p in others) and len(both) == len(others) + 1
    for asked, found in (
        ({"status": "approved"}, 1),
        ({"status": "computed"}, 0),
        ({"held": "true"}, 0),
        ({"waiting": "true"}, 1),
    ):
        assert len(net.ada.items("/v1/payments", scheme="tern-bay", to_pools="true", **asked)) == found, asked
    [task] = [t for t in net.ada.items("/v1/tasks/payments_to_send") if t["scheme"] == "tern-bay"]
    assert (task["count"], task["amount"]) == (1, "9.20")
    aged = [
        r
        for r in net.ada.items("/v1/reports/ageing", scheme="tern-bay")
        if r["account"] == "settlement_due_scheme(skerry)"
    ]
    assert [(r["side"], r["total"], r["first_due_on"]) for r in aged] == [("payable", "-9.20", payment["due_on"])]
    [row] = [
        r
        for r in net.ada.items("/v1/reports/payments", scheme="tern-bay", **{"from": str(D0), "to": str(D0)})
        if r["payee"] == "pool/skerry"
    ]
    assert (row["payee_name"], row["bank_account"], row["agreed"]) == ("skerry", "00002000", "9.20")
    page = net.ada.send("GET", f"/v1/settlements/tern-bay/{D0}", headers={"Accept": "text/html"}).body.decode()
    assert "pool/skerry" in page and "beside the netting" in page
    tell(net, "tern-bay", bank.Booking(Decimal("12.00"), "", "B-0"))
    net.do(net.cleo, payment, "confirm")
    rows = [
        r for r in net.ada.items("/v1/reports/bank-reconciliation", scheme="tern-bay") if r["section"] == "in_transit"
    ]
    assert [(r["item"], r["payment_id"], r["amount"]) for r in rows] == [("confirmed_by_hand", name, "-9.20")]


HOST, PAIR = "(SELECT id FROM scheme WHERE code = 'skerry')", "(SELECT id FROM scheme WHERE code = 'tern-bay')"
ACCOUNT = f"account_of(18, {PAIR} << 16 | {HOST}, 0)"
BROKEN = {
    "what the host is owed": f"UPDATE between_day SET owed = owed + 1 WHERE scheme = {HOST}",
    "what the host is owed, in its books": (
        f"UPDATE balance SET movement = movement + 1 WHERE scheme = {HOST} AND account = {ACCOUNT}"
    ),
    "what the home has not settled": (
        f"UPDATE between_day SET owed = owed + 1, owed_closing = owed_closing + 1 WHERE scheme = {PAIR}"
    ),
    "the same, in its books": f"UPDATE balance SET closing = closing + 1 WHERE scheme = {PAIR} AND account = {ACCOUNT}",
    "what the home has settled": f"UPDATE between_day SET due_closing = due_closing - 1 WHERE scheme = {PAIR}",
    "what is to follow": "UPDATE following_place SET entry = entry - 1",
    "what the home's bank has booked": "UPDATE between_transit SET by_home = by_home - 1",
    "what the host's bank has booked": "UPDATE between_transit SET by_host = by_host + 1",
    "a line of another amount": "UPDATE between_booked SET agreed = agreed * 3",
    "a line of another payment": "UPDATE between_booked SET payment_id = 'another'",
}


def test_each_term_of_what_two_schemes_owe_can_fail_the_check(service):
    """A payment of 9.20, of which the host's bank has told 4.00, and a return after it that is not settled."""
    net = Network(service)
    name = ready(net, "skerry")["payment_id"]
    tell(net, "tern-bay", bank.Booking(Decimal("-9.20"), name, "B-1"))
    [line] = tell(net, "skerry", bank.Booking(Decimal("4.00"), name, "C-1"))
    resolve(net, line)
    net.take_back("cairn", 1, D1, "2.00")
    followed(service)
    assert money(net, "skerry") == in_cents(owed("7.50", not_settled="2.30", under_way="5.20"))
    net.ada.assert_holds()
    connection = psycopg2.connect(service.database.owner_dsn)
    cursor = connection.cursor()

    def broken(check):
        cursor.execute("DEALLOCATE ALL; PREPARE asked AS " + statement_text(SQL / f"checks/{check}.sql"))
        cursor.execute(f"EXECUTE asked ({PAIR})".replace(PAIR, str(home)))
        return cursor.fetchone()[1]

    cursor.execute(f"SELECT {PAIR}")
    [home] = cursor.fetchone()
    for what, statement in BROKEN.items():
        cursor.execute("SET LOCAL session_replication_role = replica")
        assert broken("check-between-money") == 0, f"before {what}"
        cursor.execute(statement)
        assert cursor.rowcount > 0 and broken("check-between-money") > 0, what
        connection.rollback()
    connection.close()


def test_less_than_the_minimum_waits(service):
    """9.20 is less than 9.21; with one cup more it is 11.50."""
    net = Network(service, "on_loan", minimum="9.21")
    net.ada.post(event("issue", "anchor", at(D0), issued=cups(cup_300=20), amount="50.00"))
    net.take_back("cairn", 4, D0, "8.00")
    net.wait_for("skerry", "-9.20")
    assert not [p for p in net.ann.close("tern-bay", D0)["payments"] if p["to"].startswith("pool/")]
    net.take_back("cairn", 1, D1, "2.00")
    net.wait_for("skerry", "-11.50")
    net.ann.close("tern-bay", D1)
    assert net.payment(D1, "skerry")["amount"] == "11.50"
    net.ada.assert_holds("tern-bay")
