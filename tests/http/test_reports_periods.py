# SPDX-License-Identifier: ISC
"""The reports of a period on the contract's worked example, by hand: trial balance with opening and movement, and
income statement."""
from decimal import Decimal

from network import WORKED_DAY
from test_reports import NEXT_DAY, books, report  # noqa: F401

SIDES = ("opening_debit", "opening_credit", "movement_debit", "movement_credit", "debit", "credit")


def test_a_trial_balance_of_a_period(books):  # noqa: F811
    """Each account: opening and movement make its balance. In the totals each pair of columns balances. Without a
    period the report is as it always was, and its other columns are empty."""
    first, after = report(books, "trial-balance"), report(
        books, "trial-balance", **{"from": NEXT_DAY, "as_of": NEXT_DAY}
    )
    plain = books.admin.get("/v1/reports/trial-balance", scheme="tern-bay", as_of=WORKED_DAY)["items"]
    for row in plain:
        assert [row[c] for c in SIDES[:4]] == [None] * 4
    assert [list(r.values())[:7] for r in plain] == [
        list(r.values())[:7] for r in first if r["debit"] != r["credit"] or r["account"] == "total"
    ]
    for rows in (first, after):
        for row in rows:
            assert len({type(row[c]) for c in SIDES}) == 1
            opening, movement, closing = (Decimal(row[d]) - Decimal(row[c]) for d, c in zip(SIDES[::2], SIDES[1::2]))
            assert opening + movement == closing
            if row["account"] == "total":
                assert opening == movement == 0
            else:
                assert 0 in (Decimal(row["movement_debit"]), Decimal(row["movement_credit"]))
    assert {Decimal(r[c]) for r in first for c in SIDES[:2]} == {0}
    assert {Decimal(r[c]) for r in after for c in SIDES[2:4]} == {0} and len(after) == len(plain)


def test_an_income_statement(books):  # noqa: F811
    """46 cups issued at 0.10 and 31 returned at 0.04, without tax; the tariff's 2.00; on deposit the shortages of 2
    cups at copper are charged to the site. IAS 1 paragraph 38 (from memory): beside each amount that of the period
    before, which here had no books."""
    rows = {(r["section"], r["account"]): r for r in report(books, "income-statement")}
    losses, result = (("0.00", "1.36"), ("5.00", "6.36"))[books.column]
    assert {at: r["amount"] for at, r in rows.items()} == {
        ("income", "service_fees"): "4.60",
        ("income", "forfeits"): "0.00",
        ("income", "loss_charges"): losses,
        ("income", "interest"): "0.00",
        ("income", "total"): f"{Decimal('4.60') + Decimal(losses)}",
        ("expenses", "handling_fees"): "-1.24",
        ("expenses", "bank_charges"): "0.00",
        ("expenses", "total"): "-1.24",
        ("variance", "refund_variance"): "-2.00",
        ("surplus", "total"): result,
    }
    assert {(r["previous"], r["previous_from"], r["previous_to"]) for r in rows.values()} == {(None,) * 3}
    for query, before, result in (
        ({"from": NEXT_DAY, "to": NEXT_DAY}, (WORKED_DAY, WORKED_DAY), result),
        ({"from": "2026-06-01", "to": "2026-06-30"}, ("2026-05-01", "2026-05-31"), result),  # a whole month
        ({"from": "2026-06-01", "to": "2026-06-29"}, ("2026-05-03", "2026-05-31"), result),
        ({"from": "2026-06-02", "to": "2026-06-30"}, ("2026-05-04", "2026-06-01"), result),
        ({"from": "2026-07-01", "to": "2026-07-31"}, ("2026-06-01", "2026-06-30"), "0.00"),
    ):
        later = report(books, "income-statement", **query)
        assert {(r["previous_from"], r["previous_to"]) for r in later} == {tuple(str(d) for d in before)}
        assert {r["amount"] for r in later} == {"0.00"} and later[-1]["previous"] == result, query


def test_taxes(books):  # noqa: F811
    """15 % on the service fees of 4.60, and on the handling fees of 1.24, each rounded once for a site."""
    output, input_tax = sum(Decimal(t) for t in ("0.60", "0.06", "0.03")), sum(
        Decimal(t) for t in ("0.13", "0.04", "0.02")
    )
    rows = {(r["direction"], r["what"]): (r["rate"], r["base"], r["tax"]) for r in report(books, "tax")}
    assert rows == {
        ("output", "service_fees"): ("0.15", "4.60", str(output)),
        ("output", "total"): (None, "4.60", str(output)),
        ("input", "handling_fees"): ("0.15", "-1.24", str(-input_tax)),
        ("input", "total"): (None, "-1.24", str(-input_tax)),
        (None, "total"): (None, None, str(output - input_tax)),
    }
    [after] = report(books, "tax", **{"from": NEXT_DAY, "to": NEXT_DAY})
    assert (after["what"], after["base"], after["tax"]) == ("total", None, "0.00")


def test_taxes_of_days_without_rates(books):  # noqa: F811
    """A version that kept no lines of fees closed the days: their rate is unknown, and all sums are the same."""

    def rates(rows):
        return [{k: v for k, v in r.items() if k != "rate"} for r in rows], {r["rate"] for r in rows}

    known, found = rates(report(books, "tax"))
    books.database.run("CREATE TABLE put_by AS SELECT * FROM fee_line; DELETE FROM fee_line")
    books.database.run("INSERT INTO older_fee_lines SELECT scheme, max(business_date) FROM settlement GROUP BY scheme")
    assert rates(report(books, "tax")) == (known, {None}) and found == {"0.15", None}
    books.database.run("DELETE FROM older_fee_lines")
    books.database.run(
        "SET session_replication_role = replica; INSERT INTO fee_line SELECT * FROM put_by; DROP TABLE put_by"
    )
    assert rates(report(books, "tax")) == (known, found)


def owners(accounts):
    """The sites and participants that the accounts are of."""
    named = [a.rstrip(")").partition("(") for a in accounts]
    return {
        (name not in ("settlement_due", "arrears"), owner.split(",")[0])
        for name, _, owner in named
        if name in ("settlement_due", "arrears", "site_clearing", "site_stock", "damaged", "stock_deposits")
    }


def test_the_general_ledger_sums_its_period(books):  # noqa: F811
    """The last line has the sums of the legs, which lead from the opening to the closing balance."""
    for account in books.admin.accounts("tern-bay"):
        *rows, movement, closing = report(books, "general-ledger", account=account, totals="shown")
        assert rows == report(books, "general-ledger", account=account)
        assert rows == report(books, "general-ledger", account=account, totals="left_out")
        sums = [sum(Decimal(r[side]) for r in rows if r[side] is not None) for side in ("debit", "credit")]
        net = [Decimal(movement[side]) for side in ("debit", "credit")]
        assert movement["kind"] == "movement" and net == [max(sums[0] - sums[1], 0), max(sums[1] - sums[0], 0)]
        assert closing["kind"] == "closing" and [Decimal(closing[side]) for side in ("debit", "credit")] == sums
        assert Decimal(closing["balance"]) == Decimal(rows[0]["balance"]) + sums[0] - sums[1]
        assert closing["balance"] == rows[-1]["balance"] and isinstance(closing["debit"], type(closing["balance"]))


def test_the_general_ledger_names_the_others(books):  # noqa: F811
    """Of each entry: the sites and participants of its other accounts, and the event's reference."""
    items = {i["entry"]: i for i in books.admin.feed("tern-bay")}
    met = set()
    for account in books.admin.accounts("tern-bay"):
        for row in report(books, "general-ledger", account=account)[1:]:
            item = items[row["entry"]]
            others = sorted(code for _, code in owners(leg["account"] for leg in item["legs"]) - owners([account]))
            assert (row["counterparty"] or "").split() == (others if len(others) <= 2 else []), (account, item)
            assert row["reference"] == item.get("event", {}).get("reference") and row["payment_id"] is None
            met.add(row["counterparty"])
    assert met >= {None, "anchor", "hearth"} and any(code for code in met if code and " " in code) == bool(books.column)
