# SPDX-License-Identifier: ISC
"""The codes that the office's own ledger has for accounts: as reference data, by date, and on every list that shows
accounts. And the files for an import: read by Python's csv module and by PostgreSQL's COPY, two readers that share
nothing with the service. tests/http/test_reports_model.py compares their figures with the model's."""
import csv
import io
from collections import Counter
from datetime import timedelta
from decimal import Decimal

import psycopg2
import pytest

import network
from network import WORKED_DAY, at, cups, event

NEXT_DAY = WORKED_DAY + timedelta(days=1)
LAST_DAY = NEXT_DAY + timedelta(days=1)


def code(account, number, name):
    return {"account": account, "code": number, "name": name}


CODES = [  # in the order of the chart, which is the order of the answer
    code("customer_deposits", "2300", "Deposits, held in trust"),
    code("customer_deposits(cup-300)", "2301", 'Deposits, 300 ml "small"'),
    code("site_clearing", "1310", "Cafés, not settled"),
    code("site_clearing(brick)", "1319", "Brick, not settled"),
    code("settlement_due", "1310", "Cafés, not settled"),
    code("arrears(hearth)", "1399", "Hearth, in arrears"),
    code("service_fees", "4100", "Service fees"),
    code("handling_fees", "5100", "Handling fees"),
]
LATER = [code("site_clearing", "1400", "Dealings"), code("service_fees", "4-100", "Fees")]


@pytest.fixture(scope="module")
def net(shared):
    """The worked example, closed, and a day after it. The codes are loaded with the network; others hold from the next
    day on."""
    document = network.worked_reference("on_loan")
    document["schemes"][0]["office_accounts"] = [
        {"effective_date": str(WORKED_DAY), "accounts": CODES[::-1]},
        {"effective_date": str(NEXT_DAY), "accounts": LATER},
    ]
    assert shared.admin.load(document)["office_accounts"] == 2
    shared.admin.post_many(network.worked_events())
    shared.admin.close("tern-bay", WORKED_DAY)
    shared.admin.post(event("issue", "anchor", at(NEXT_DAY), issued=cups(cup_300=2), amount="5.00"))
    shared.admin.close("tern-bay", NEXT_DAY)
    shared.hearth = shared.client(shared.create_key("hearth-book", "participant", participant="hearth"))
    return shared


def report(client, name, **query):
    return client.get(f"/v1/reports/{name}", scheme="tern-bay", **query)["items"]


def summary(net, day=WORKED_DAY, **query):
    return report(net.admin, "journal-summary", **{"from": day, "to": day, **query})


def amount(row):
    return Decimal(row["debit"] or 0) - Decimal(row["credit"] or 0)


def coded(rows):
    return {r["account"]: (r.get("code"), r.get("name")) for r in rows if r["account"] != "total"}


def expected(account, codes):
    """The code of the account itself, else that of its kind, else none."""
    by_name = {c["account"]: (c["code"], c["name"]) for c in codes}
    return by_name.get(account) or by_name.get(account.partition("(")[0], (None, None))


def test_they_are_given_back_in_the_order_of_the_chart(net):
    path = "/v1/schemes/tern-bay/office-accounts"
    held = net.admin.get(f"{path}/{WORKED_DAY}")
    assert held == {"effective_date": str(WORKED_DAY), "accounts": CODES}
    assert [o["effective_date"] for o in net.admin.items(path, limit=1)] == [str(WORKED_DAY), str(NEXT_DAY)]
    given = net.admin.get("/v1/reference")
    assert given["schemes"][0]["office_accounts"][0] == held
    changed = net.admin.items("/v1/changes", of="office_accounts")
    assert [(c["name"], c["after"]) for c in changed][:2] == [
        (str(WORKED_DAY), {"accounts": CODES}),
        (str(NEXT_DAY), {"accounts": LATER}),
    ]
    assert net.admin.load(given)["office_accounts"] == 2
    assert net.admin.get("/v1/reference") == given
    assert len(net.admin.items("/v1/changes", of="office_accounts")) == len(changed), "nothing changed"


def test_a_participant_does_not_see_them(net):
    """They are the office's own, and show nothing of the participant's."""
    assert "office_accounts" not in net.hearth.get("/v1/reference")["schemes"][0]
    net.hearth.refused("GET", "/v1/schemes/tern-bay/office-accounts", None, 403, "role_not_allowed")
    text = net.hearth.send("GET", f"/v1/reports/participant-journal-summary?scheme=tern-bay&from={WORKED_DAY}").body
    assert b"1310" not in text and b"service_fee" in text


@pytest.mark.parametrize("day, codes", [(WORKED_DAY, CODES), (NEXT_DAY, LATER)])
def test_every_list_of_accounts_shows_the_codes_of_its_day(net, day, codes):
    for rows in (
        summary(net, day, totals="left_out"),
        report(net.admin, "trial-balance", as_of=day),
        net.admin.items("/v1/accounts", scheme="tern-bay", as_of=day),
    ):
        shown = coded(rows)
        assert len(shown) >= 4
        assert shown == {a: expected(a, codes) for a in shown}
    for account in ("site_clearing(brick)", "site_clearing(anchor)", "bank", "with_customers(cup-300)"):
        rows = report(net.admin, "general-ledger", account=account, **{"from": WORKED_DAY, "to": NEXT_DAY})
        for row in rows:
            at_day = CODES if row["date"] in (None, str(WORKED_DAY)) else LATER
            assert (row["code"], row["name"]) == expected(account, at_day), row


def test_days_balance_and_say_what_has_no_code(net):
    rows = summary(net)
    lines, [total] = [r for r in rows if r["line"] != "total"], [r for r in rows if r["line"] == "total"]
    assert rows[-1] is total and total["debit"] == total["credit"]
    assert Decimal(total["debit"]) == sum(Decimal(r["debit"] or 0) for r in lines)
    assert sum(map(amount, lines)) == 0
    assert total["accounts"] == len(lines)
    assert total["without_code"] == len([r for r in lines if r["code"] is None]) > 0
    # the worked example of the accounting contract: input tax is not set off against output tax
    by_text = {r["text"]: amount(r) for r in lines}
    assert by_text[f"tern-bay {WORKED_DAY} service_fees"] == Decimal("-4.60")
    assert by_text[f"tern-bay {WORKED_DAY} handling_fees"] == Decimal("1.24")
    assert by_text[f"tern-bay {WORKED_DAY} tax"] == Decimal("-0.69")
    assert by_text[f"tern-bay {WORKED_DAY} tax on handling fees"] == Decimal("0.19")
    assert by_text[f"tern-bay {WORKED_DAY} customer_deposits(cup-300)"] == Decimal("-22.50")
    day = next(d for d in net.admin.items("/v1/schemes/tern-bay/days") if d["date"] == str(WORKED_DAY))
    assert total["last_entry"] - total["first_entry"] + 1 >= day["entries"]
    assert (total["settlement"], total["currency"]) == (str(WORKED_DAY), "CAD")
    assert summary(net, totals="left_out") == lines


def test_by_code(net):
    """Accounts that share a code are one line on each side: debits are not set off against credits."""
    wanted = Counter()
    for row in summary(net, totals="left_out"):
        wanted[row["code"] or row["account"], amount(row) > 0] += amount(row)
    rows = summary(net, by="code", totals="left_out")
    assert {(r["code"] or r["account"], amount(r) > 0): amount(r) for r in rows} == wanted
    assert len(rows) == len(wanted)
    shared = [r for r in rows if r["code"] == "1310"]
    assert {(r["line"], r["name"]) for r in shared} == {("code", "Cafés, not settled")}
    assert sum(r["accounts"] for r in shared) > len(shared)
    codes = [r["code"] for r in rows]
    assert codes == sorted(codes, key=lambda c: (c is None, c)), "those without a code come last"
    [total] = [r for r in summary(net, by="code") if r["line"] == "total"]
    assert total == [r for r in summary(net) if r["line"] == "total"][0]


def test_codes_may_change_for_days_that_are_closed(net):
    """They move no money. The change is recorded, the day's figures stay, and its seal as well."""
    path = f"/v1/schemes/tern-bay/office-accounts/{WORKED_DAY}"
    before = summary(net)
    tag = net.admin.send("GET", path).headers["ETag"]
    mended = {"accounts": [*CODES, code("tax", "1780", "Sales tax")]}
    net.admin.refused("PUT", path, mended, 412, "precondition_failed", headers={"If-Match": '"other"'})
    assert net.admin.put(f"{path}?dry_run=true", mended).status == 200
    assert summary(net) == before
    assert net.admin.put(f"{path}?why=forgotten", mended, headers={"If-Match": tag}).status == 200
    try:
        after = summary(net)
        assert [(r["text"], r["debit"], r["credit"]) for r in after] == [
            (r["text"], r["debit"], r["credit"]) for r in before
        ]
        assert {r["code"] for r in after if r["account"] == "tax"} == {"1780"}
        assert after[-1]["without_code"] == before[-1]["without_code"] - 2
        last = net.admin.items("/v1/changes", of="office_accounts")[-1]
        assert (last["name"], last["why"], last["before"]) == (str(WORKED_DAY), "forgotten", {"accounts": CODES})
        net.admin.assert_holds("tern-bay")
    finally:
        net.admin.put(path, {"accounts": CODES})


def test_an_empty_list_ends_the_codes(net):
    path = f"/v1/schemes/tern-bay/office-accounts/{LAST_DAY}"
    assert net.admin.put(path, {"accounts": []}).status == 201
    net.admin.post(event("issue", "anchor", at(LAST_DAY), issued=cups(cup_300=1), amount="2.50"))
    rows = summary(net, LAST_DAY)
    assert {r["code"] for r in rows} == {None} and rows[-1]["without_code"] == len(rows) - 1 == 2
    assert {r["settlement"] for r in rows} == {None}, "the day is open"


def test_faults_of_a_document_are_pointed_at(service):
    document = network.worked_reference("on_loan")
    rows = [
        code("bank", "1020", "Pool"),
        code("bank", "1020", "Pool"),
        code("tax", "1020", "Tax"),
        code("cash", "1", "C"),
    ]
    document["schemes"][0]["office_accounts"] = [
        {"effective_date": str(WORKED_DAY), "accounts": rows},
        {"effective_date": str(WORKED_DAY), "accounts": []},
    ]
    answer = service.admin.send("POST", "/v1/reference", document)
    place = "/schemes/0/office_accounts"
    assert {(e["pointer"], e["reason"]) for e in answer.json["errors"]} == {
        (f"{place}/1", "name_taken"),
        (f"{place}/0/accounts/1/account", "name_taken"),
        (f"{place}/0/accounts/2/name", "bad_format"),
        (f"{place}/0/accounts/3/account", "account_unknown"),
    }
    assert service.admin.items("/v1/schemes") == []


def fetched(net, name, **query):
    asked = "&".join(f"{k}={v}" for k, v in {"from": WORKED_DAY, "to": NEXT_DAY, "totals": "left_out", **query}.items())
    answer = net.admin.send("GET", f"/v1/reports/{name}?scheme=tern-bay&{asked}", headers={"Accept": "text/csv"})
    assert answer.status == 200
    return answer.body.decode()


@pytest.mark.parametrize("name", ["journal-summary", "participant-journal-summary"])
def test_a_file_for_an_import(net, name):
    """Two independent readers find in the CSV the rows of the JSON, each day in balance, and PostgreSQL adds it up by
    code."""
    text = fetched(net, name)
    rows = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    listed = report(net.admin, name, **{"from": WORKED_DAY, "to": NEXT_DAY, "totals": "left_out"})
    assert rows == [{k: "" if v is None else str(v) for k, v in row.items()} for row in listed]
    with psycopg2.connect(net.database.owner_dsn) as connection, connection.cursor() as cursor:
        columns = ", ".join(f'"{c}" {"numeric" if c in ("debit", "credit") else "text"}' for c in rows[0])
        cursor.execute(f"CREATE TEMPORARY TABLE imported ({columns})")
        cursor.copy_expert("COPY imported FROM STDIN WITH (FORMAT csv, HEADER match)", io.StringIO(text, newline=""))
        cursor.execute("SELECT date, sum(coalesce(debit, 0) - coalesce(credit, 0)) FROM imported GROUP BY 1 ORDER BY 1")
        assert cursor.fetchall() == [(str(WORKED_DAY), 0), (str(NEXT_DAY), 0)]
        if name == "journal-summary":
            cursor.execute(
                "SELECT scheme, currency, name, sum(credit) FROM imported WHERE code = '2301' AND date = %s"
                " GROUP BY 1, 2, 3",
                [str(WORKED_DAY)],
            )
            assert cursor.fetchall() == [("tern-bay", "CAD", 'Deposits, 300 ml "small"', Decimal("22.50"))]
        connection.rollback()


def test_a_settlement_in_a_line_for_each_account(net):
    """The worked example from the participants' side: hearth's anchor and copper, with the fees in two directions."""
    rows = report(net.hearth, "participant-journal-summary", **{"from": WORKED_DAY, "to": WORKED_DAY})
    assert {r["participant"] for r in rows} == {"hearth"}
    assert {r["item"]: amount(r) for r in rows if r["line"] == "item"} == {
        "deposits_collected": Decimal("118.00"),
        "deposits_refunded": Decimal("-21.00"),
        "service_fee": Decimal("4.40"),
        "service_fee_tax": Decimal("0.66"),
        "handling_fee": Decimal("-0.24"),
        "handling_fee_tax": Decimal("-0.04"),
        "pool": Decimal("-101.78"),  # the position that it owes
    }
    [pool] = [r for r in rows if r["item"] == "pool"]
    assert (pool["opening"], pool["closing"]) == ("0.00", "101.78")
    assert (rows[-1]["line"], rows[-1]["debit"]) == ("total", rows[-1]["credit"])


@pytest.mark.parametrize("name", ["journal-summary", "participant-journal-summary"])
def test_pages(net, name):
    page = net.admin.send(
        "GET", f"/v1/reports/{name}?scheme=tern-bay&from={WORKED_DAY}&to={NEXT_DAY}&format=html"
    ).body.decode()
    assert "need a licensed accountant" in page and "total" in page
    if name == "journal-summary":
        assert "Caf\u00e9s, not settled" in page and "general-ledger?scheme=tern-bay&amp;account=settlement_due" in page
        assert "office-accounts" in net.admin.send("GET", "/v1/schemes/tern-bay?format=html").body.decode()
    shown = net.admin.send("GET", f"/v1/schemes/tern-bay/office-accounts/{WORKED_DAY}?format=html").body.decode()
    assert "2301" in shown and "300 ml &quot;small&quot;" in shown
