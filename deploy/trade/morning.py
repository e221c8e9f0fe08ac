# SPDX-License-Identifier: ISC
"""The accountant's morning after a close: another accountant approves, files go to the bank, and its statement comes
back."""

from collections import Counter
from decimal import Decimal

import bank

APPROVER = "treasurer"  # the accountant closes, so another person must approve
KINDS = ("payouts", "collections")


def counted(found, kind):
    return f"{len(found)} {kind}" if len(found) > 1 else f"one {kind[:-1]}"


class Morning:
    """The mornings of a scheme. Remembers the balance of its bank account from a statement to the next."""

    def __init__(self, client, scheme):
        self.client = client
        self.scheme = scheme["scheme"]
        self.currency = scheme["currency"]
        self.account = scheme["operator"]["bank_account"]["account"]
        self.balance = Decimal(0)
        self.statements = 0

    def of(self, date, eventful=False):
        """Does all of it, and returns a text about it. On an eventful morning the bank cannot collect a payment, and
        books a stranger's."""
        path = f"/v1/settlements/{self.scheme}/{date}"
        released = self.release(path)
        payments = self.client.post(path + "/approve", key=APPROVER)["payments"]
        done = released + [
            f"{APPROVER} approves {sum(p['status'] == 'approved' for p in payments)} of {len(payments)} payments"
        ]
        done += [f"{p['from']}'s to {p['to']} stays held" for p in payments if p["status"] == "computed"]
        orders = self.instruct(path, payments, done)
        if orders:
            self.read_statement(orders, eventful, done)
        self.confirm_direct(payments, done)
        return "; ".join(done) + "."

    def release(self, path):
        """After an opening the first payout to each participant waits until somebody has looked at it."""
        payments = self.client.get(path)["payments"]
        first = [p for p in payments if p.get("held") == {"reason": "first_payout", "released": False}]
        for payment in first:
            self.client.post(f"/v1/payments/{payment['payment_id']}/release", key="accountant")
        return (
            [f"the accountant looks at {counted(first, 'payouts')}, the first to its participant, and releases it"]
            if first
            else []
        )

    def instruct(self, path, payments, done):
        """Makes a file for each kind of payment that there is. Returns the orders that a bank finds in them."""
        orders = []
        pool = Counter(
            "payouts" if p["from"] == "pool" else "collections"
            for p in payments
            if p["status"] == "approved" and "pool" in (p["from"], p["to"])
        )
        for kind in (kind for kind in KINDS if pool[kind]):
            file = self.client.post(path + "/files", {"type": kind}, key=APPROVER)
            _, found = bank.read_file(self.client.fetch(file["location"], key=APPROVER))
            done.append(f"{counted(found, kind)} of {Decimal(file['total']):,} {self.currency} in a file for the bank")
            orders += found
        return orders

    def read_statement(self, orders, eventful, done):
        """Reads the statement of the day that the orders are for."""
        date = orders[0].requested_on
        bookings = bank.book(orders, f"{date}-{self.statements}")
        collected = [b for b in bookings if b.amount > 0]
        if eventful and collected:
            bookings.append(bank.come_back(collected[0]))
        if eventful:
            bookings.append(
                bank.Booking(collected[0].amount if collected else -bookings[0].amount, reference=f"{date}-unnamed")
            )
        self.statements += 1
        text = bank.statement(
            f"{self.scheme}-{self.statements}", self.account, self.currency, date, bookings, opening=self.balance
        )
        self.balance += sum(b.amount for b in bookings)
        taken = self.client.post_xml(f"/v1/bank-statements?scheme={self.scheme}", text, key=APPROVER)
        done.append(
            f"the bank's statement confirms {taken['confirmed']}"
            + (", of which one came back and is in arrears" if taken["returned"] else "")
            + (", and has one line that names no payment" if taken["unmatched"] else "")
        )

    def confirm_direct(self, payments, done):
        """Confirms payments between participants: the accountant has both parties' word."""
        direct = [p for p in payments if p["status"] == "approved" and "pool" not in (p["from"], p["to"])]
        for payment in direct:
            self.client.post(f"/v1/payments/{payment['payment_id']}/confirm", {"reason": "both say so"}, key=APPROVER)
        if direct:
            done.append(f"{len(direct)} between participants are confirmed because both parties say so")
