# SPDX-License-Identifier: ISC
"""Payments from the pool of a scheme to the pool of a host that took its cups back. The accounting contract has the
rules; the figures are worked by hand. Paying what one operator owes another on fixed days is common practice; there is
no published source."""
from datetime import date, timedelta
from decimal import Decimal

import pytest

import bank
import network
from harness import wait_until
from network import at, cups, event

D0 = date.today() - timedelta(days=4)
D1, D2 = D0 + timedelta(days=1), D0 + timedelta(days=2)
NO_FEES = dict.fromkeys(("minimum_payment", "service_fee", "handling_fee"), "0")


def operator(name, account):
    return {"name": name, "bank_account": {"account": account, "bank_code": "TB-001"}}


class Network:
    """tern-bay's cups come back at skerry, which has the same currency, and at eider-sound, which has another. Ada
    signs for tern-bay, Ann for both hosts."""

    def __init__(self, service, terms, minimum="0.00"):
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
                    ),
                ],
                {"anchor": ("tern-bay", "hearth"), "cairn": ("skerry", "miller"), "eider-1": ("eider-sound", "puffin")},
            )
        )
        for host, currency, amount, rate in (("skerry", "CAD", "2.30", "1"), ("eider-sound", "ISK", "240", "0.0105")):
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


def tell(net, scheme, account, *bookings):
    text = bank.statement(f"S-{scheme}", account, "CAD", str(D1), list(bookings))
    answer = net.cleo.send("POST", f"/v1/bank-statements?scheme={scheme}", text, {"Content-Type": "application/xml"})
    assert answer.status == 200, answer.body
    return answer.json["statements"][0]["lines"]


def test_the_banks_of_both_pools_tell_it(service):
    """The home's line confirms the payment; two people say that the host's line was it."""
    net = Network(service, "on_loan")
    net.ada.post(event("issue", "anchor", at(D0), issued=cups(cup_300=20), amount="50.00"))
    net.take_back("cairn", 4, D0, "8.00")
    net.wait_for("skerry", "-9.20")
    net.ann.close("tern-bay", D0)
    payment = net.payment(D0, "skerry")
    net.do(net.ada, payment, "release")
    net.do(net.ben, payment, "approve")
    name = payment["payment_id"]
    assert net.books("skerry")["between_schemes(tern-bay,skerry)"] == "9.20"
    [line] = tell(net, "tern-bay", "00001000", bank.Booking(Decimal("-9.20"), name, "B-1"))
    assert (line["disposition"], line["payment_id"]) == ("matched", name)
    assert net.payment(D0, "skerry")["status"] == "confirmed" and net.books()["bank"] == "-9.20"
    [line] = tell(net, "skerry", "00002000", bank.Booking(Decimal("9.20"), name, "C-1"))
    assert line["disposition"] == "unmatched"
    body = {"account": "between_schemes", "scheme": "tern-bay", "note": "by its end-to-end id"}
    path = f"/v1/bank-lines/{line['line']}/resolve"
    net.cleo.refused("POST", path, {**body, "scheme": "eider-sound"}, 422, "scheme_unknown")
    net.cleo.refused("POST", path, {k: v for k, v in body.items() if k != "scheme"}, 422, "member_missing")
    asked = net.cleo.send("POST", path, body)
    assert asked.status == 202, asked.body
    net.cleo.refused("POST", f"/v1/proposals/{asked.json['proposal']}/approve", None, 409, "second_key_needed")
    assert net.ben.send("POST", f"/v1/proposals/{asked.json['proposal']}/approve").status == 200
    assert {a: b for a, b in net.books("skerry").items() if a != "refund_variance"} == {"bank": "9.20"}
    net.ada.assert_holds("skerry")
    net.ada.assert_holds("tern-bay")


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
