# SPDX-License-Identifier: ISC
"""Statements and ageing when payments are confirmed and fail, including the contract's case: hearth's payment to
miller fails, both are in arrears, and both settle at the next close."""
from datetime import timedelta
from decimal import Decimal

import psycopg2
import pytest

import network
from network import WORKED_DAY, at, cups, event

D0, D1, D2 = (WORKED_DAY + timedelta(days=n) for n in range(3))
DUE = timedelta(days=1)  # of the week's first days: the next one

# The entry of a change, by the contract's posting rules: debits of settlement_due and arrears.
POST = """
WITH p AS (SELECT * FROM payment WHERE payment_id = %(payment)s),
side AS (SELECT payer AS participant, amount FROM p WHERE payer IS NOT NULL UNION ALL
         SELECT payee, -amount FROM p WHERE payee IS NOT NULL),
leg AS (SELECT account_of(5, participant, 0) AS account, -amount AS amount FROM side UNION ALL
        SELECT account_of(6, participant, 0), amount FROM side WHERE %(change)s = 'fail' UNION ALL
        SELECT account_of(7, 0, 0), (SELECT sum(amount) FROM side)
         WHERE %(change)s = 'confirm' AND (SELECT sum(amount) FROM side) <> 0),
entry AS (INSERT INTO entry (scheme, entry, business_date, kind, late, occurred_at, recorded_at, hash, accounts,
    amounts)
          SELECT p.scheme, last_entry + 1, %(day)s, CASE %(change)s WHEN 'fail' THEN 24 ELSE 23 END, false, now(),
              now(), '',
                 (SELECT array_agg(account ORDER BY account) FROM leg), (SELECT array_agg(amount ORDER BY account)
                     FROM leg)
            FROM p JOIN scheme_head h USING (scheme)),
day AS (UPDATE business_day d SET first_entry = coalesce(first_entry, last), last_entry = last
          FROM (SELECT scheme, last_entry + 1 AS last FROM scheme_head) h WHERE h.scheme = d.scheme
              AND business_date = %(day)s),
moved AS (INSERT INTO balance (scheme, account, business_date, movement) SELECT (SELECT scheme FROM p), account,
    %(day)s, amount FROM leg
              ON CONFLICT (scheme, account, business_date) DO UPDATE
                  SET movement = balance.movement + excluded.movement)
INSERT INTO payment_change (scheme, payment_id, position, changed_at, change, entry)
SELECT scheme, payment_id, 1, now(), %(change)s, (SELECT last_entry + 1 FROM scheme_head h WHERE h.scheme = p.scheme)
    FROM p"""


class Books:
    def __init__(self, service):
        self.service, self.admin = service, service.admin
        service.database.rows(
            "INSERT INTO entry_kind VALUES (23, 'payment_confirmed'), (24, 'payment_failed')"
            " ON CONFLICT DO NOTHING RETURNING 1"
        )

    def close(self, day):
        return {(p["from"], p["to"]): p for p in self.admin.close("tern-bay", day)["payments"]}

    def change(self, payment, change, day):
        """Confirms or fails a payment on an open day."""
        connection = psycopg2.connect(self.service.database.owner_dsn)
        with connection, connection.cursor() as cursor:
            cursor.execute(POST, {"payment": payment["payment_id"], "change": change, "day": day})
            cursor.execute("UPDATE scheme_head SET last_entry = last_entry + 1")
            for status in ("approved", {"confirm": "confirmed", "fail": "failed"}[change]):
                cursor.execute("UPDATE payment SET status = %s WHERE payment_id = %s", (status, payment["payment_id"]))
        connection.close()

    def report(self, name, **query):
        return self.admin.get(f"/v1/reports/{name}", scheme="tern-bay", **query)["items"]

    def statement(self, participant, day):
        rows = self.report("participant-statement", participant=participant, **{"from": day, "to": day})
        return {r["account"].partition("(")[0]: r for r in rows if not r["site"]}

    def ageing(self, day):
        """(account, side) -> the buckets that are not empty. Also checks that they add up to the trial balance."""
        rows = [r for r in self.report("ageing", as_of=day) if r["account"]]  # the others are carried forward
        total = {}
        for row in rows:
            total[row["account"]] = total.get(row["account"], 0) + Decimal(row["total"])
        assert {a: n for a, n in total.items() if n} == {
            r["account"]: Decimal(r["debit"]) - Decimal(r["credit"])
            for r in self.report("trial-balance", as_of=day)
            if r["account"].partition("(")[0] in ("settlement_due", "arrears")
        }
        buckets = ("current", "days_1_7", "days_8_30", "days_31_60", "days_over_60", "undated")
        return {
            (r["account"], r["side"]): (r["first_due_on"], {b: r[b] for b in buckets if Decimal(r[b])}) for r in rows
        }


@pytest.fixture(scope="module")
def books(shared):
    """D0: hearth pays miller 56.01, quay 0.41, the pool 45.36. D1: quay's payment is confirmed, miller's fails, and
    hearth takes 10.00 in. The close of D1 makes a single payment to miller and the pool. D2: miller's payment fails
    again."""
    shared.admin.load(network.worked_reference("on_loan"))
    books = Books(shared)
    for sent in network.worked_events():
        shared.admin.post(sent)
    books.first = books.close(D0)
    books.change(books.first["hearth", "quay"], "confirm", D1)
    books.change(books.first["hearth", "miller"], "fail", D1)
    shared.admin.post(event("issue", "anchor", at(D1), issued=cups(cup_300=4), amount="10.00"))
    books.open_day = books.ageing(D1), books.statement("hearth", D1)
    books.second = books.close(D1)
    books.change(books.second["hearth", "miller"], "fail", D2)
    return books


def test_both_are_in_arrears_and_settle_at_the_next_close(books):
    ageing, statement = books.open_day
    due = str(D0 + DUE)
    assert ageing["arrears(hearth)", "receivable"] == (due, {"current": "56.01"})
    assert ageing["arrears(miller)", "payable"] == (due, {"current": "-56.01"})
    assert ageing["settlement_due(hearth)", "receivable"] == (due, {"current": "45.36"})
    assert statement["arrears"]["failed"] == statement["arrears"]["closing"] == "56.01"
    # The issue of 4 costs 0.40 and 0.06 tax: 10.46 of the debt is new, 56.01 is not.
    assert books.second["hearth", "miller"]["amount"] == "56.01" and books.second["hearth", "pool"]["amount"] == "10.46"


def test_the_statement_of_the_day(books):
    lines = books.statement("hearth", D1)
    due, arrears = lines["settlement_due"], lines["arrears"]
    assert (due["opening"], due["paid"], due["failed"], due["settled"], due["closing"]) == (
        "101.78",
        "-0.41",
        "-56.01",
        "66.47",
        "111.83",
    )
    assert (arrears["opening"], arrears["failed"], arrears["settled"], arrears["closing"]) == (
        "0.00",
        "56.01",
        "-56.01",
        "0.00",
    )
    quay = books.statement("quay", D1)["settlement_due"]
    assert (quay["opening"], quay["paid"], quay["closing"]) == ("-0.41", "0.41", "0.00")
    for day in (D0, D1, D2):  # each line adds up; over all lines of a participant, settled and failed add up to nothing
        for participant in ("hearth", "miller", "quay"):
            rows = books.report("participant-statement", participant=participant, **{"from": day, "to": day})
            for row in rows:
                assert Decimal(row["closing"]) == sum(
                    Decimal(row[c])
                    for c in ("opening", "collected", "fees", "tax", "stock", "other", "settled", "paid", "failed")
                ) - Decimal(row["refunded"])
            assert sum(Decimal(r["settled"]) for r in rows) == 0 == sum(Decimal(r["failed"]) for r in rows)


def test_what_failed_stays_as_old_as_it_is(books):
    """It was first due on the day after D0, and stays so through two failures. New amounts at the close of D1 are due
    a day later."""
    first, second = str(D0 + DUE), str(D1 + DUE)
    stands = books.ageing(D2)
    assert stands["arrears(miller)", "payable"] == (first, {"days_1_7": "-56.01"})
    assert stands["arrears(hearth)", "receivable"] == (first, {"days_1_7": "56.01"})
    # hearth owes the pool 45.36 of the first close and 10.46 of the second. Of the second, 56.01 of 66.47 is old: so is
    # that share of what it was to pay the pool, to the cent.
    old = round(Decimal("10.46") * Decimal("56.01") / Decimal("66.47"), 2)
    due, buckets = stands["settlement_due(hearth)", "receivable"]
    assert due == first and buckets == {"days_1_7": str(Decimal("45.36") + old), "current": str(Decimal("10.46") - old)}
    later = books.ageing(D0 + DUE + timedelta(days=8))["settlement_due(hearth)", "receivable"][1]
    assert later == {"days_8_30": buckets["days_1_7"], "days_1_7": buckets["current"]}
    assert second == books.report("payments", **{"from": D1, "to": D1})[0]["due_on"]


def test_as_of_an_earlier_day_nothing_had_failed(books):
    """Payments that were confirmed or failed later were still unpaid at the end of D0."""
    assert {k: v[1] for k, v in books.ageing(D0).items()} == {
        ("settlement_due(hearth)", "receivable"): {"current": "101.78"},
        ("settlement_due(miller)", "payable"): {"current": "-56.01"},
        ("settlement_due(quay)", "payable"): {"current": "-0.41"},
    }


def test_payments_say_how_it_stands(books):
    rows = {
        (r["date"], r["payer"], r["payee"]): r["status"] for r in books.report("payments", **{"from": D0, "to": D1})
    }
    assert rows == {
        (str(D0), "hearth", "miller"): "failed",
        (str(D0), "hearth", "quay"): "confirmed",
        (str(D0), "hearth", "pool"): "computed",
        (str(D1), "hearth", "miller"): "failed",
        (str(D1), "hearth", "pool"): "computed",
    }


def test_the_ledger_of_what_is_due(books):
    opening, *rows = books.report("general-ledger", account="settlement_due(hearth)", **{"from": D0, "to": D2})
    assert opening["balance"] == "0.00" and rows[-1]["balance"] == "55.82"
    assert [r["kind"] for r in rows if r["kind"].startswith("payment")] == [
        "payment_confirmed",
        "payment_failed",
        "payment_failed",
    ]
    paid = {r["payment_id"]: (r["payer"], r["payee"]) for r in books.report("payments", **{"from": D0, "to": D1})}
    for row in rows:
        if row["kind"].startswith("payment"):
            assert paid[row["payment_id"]] == ("hearth", row["counterparty"])
        else:
            assert row["payment_id"] is None
