# SPDX-License-Identifier: ISC
"""The reports on the contract's worked example, to the cent and the cup, in both stock terms. Statements, ledger,
journal and trial balance must be one set of books, so the tests compare their figures."""
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from urllib.parse import quote, urlencode

import pytest

import network
from harness import Database, new_service
from network import WORKED_DAY, WORKED_SITES
from pages import Page

NEXT_DAY = WORKED_DAY + timedelta(days=1)
# The contract's day, by hand: (site, column) -> on loan, on deposit. On deposit the counter's own legs are the till
# amount beyond the cups' value, and the cups' deposits go through the site's clearing: supplies, the receipt at dock,
# the cup retired at brick.
WORKED_LINES = {
    ("anchor", "collected"): ("110.00", "0.00"),
    ("anchor", "refunded"): ("0.00", "0.00"),
    ("anchor", "stock"): ("0.00", "390.00"),
    ("brick", "collected"): ("0.00", "0.00"),
    ("brick", "refunded"): ("55.00", "0.00"),
    ("brick", "stock"): ("0.00", "100.00"),
    ("copper", "collected"): ("8.00", "0.00"),
    ("copper", "refunded"): ("21.00", "2.00"),
    ("copper", "stock"): ("0.00", "170.00"),
    ("dock", "collected"): ("0.00", "0.00"),
    ("dock", "refunded"): ("0.50", "0.00"),
    ("dock", "stock"): ("0.00", "47.50"),
}
# without the reversed issue at brick
ISSUED = {"anchor": (40, 0), "brick": (0, 22), "copper": (4, 6), "dock": (2, 3)}


@pytest.fixture(scope="module", params=(0, 1), ids=("on_loan", "on_deposit"))
def books(request):
    """The worked example posted and closed, once for each of the stock terms."""
    database = Database()
    service = new_service(database)
    service.column = request.param
    service.admin.load(network.worked_reference(("on_loan", "on_deposit")[request.param]))
    service.events = network.worked_events()
    service.answers = [service.admin.post(e) for e in service.events]
    service.open_reports = {name: report(service, name) for name in ("site-statement", "liability", "trial-balance")}
    service.admin.close("tern-bay", WORKED_DAY)
    yield service
    service.stop()
    database.drop()


def report(service, name, client=None, **query):
    """The rows of a report, by default of the worked day."""
    described = next(r for r in service.admin.get("/v1/reports")["items"] if r["report"] == name)
    known = {p["name"] for p in described["parameters"]}
    days = {d: str(WORKED_DAY) for d in ("from", "to", "as_of", "date") if d in known}
    return (client or service.admin).get(f"/v1/reports/{name}", **{"scheme": "tern-bay", **days, **query})["items"]


def cents(text):
    return int(Decimal(text) * 100)


def adds_up(row, plus, minus=()):
    return cents(row["closing"]) == sum(cents(row[c]) for c in plus) - sum(cents(row[c]) for c in minus)


STATEMENT = ("opening", "collected", "fees", "tax", "stock", "other", "settled")


# Statements -----------------------------------------------------------------------------------------------------------
def test_site_statement(books):
    before = {r["site"]: r for r in books.open_reports["site-statement"]}
    after = {r["site"]: r for r in report(books, "site-statement")}
    assert before.keys() == after.keys() == WORKED_SITES.keys()
    for site in WORKED_SITES:
        expected = {c: WORKED_LINES[site, c][books.column] for c in ("collected", "refunded", "stock")}
        assert {c: after[site][c] for c in expected} == {c: before[site][c] for c in expected} == expected, site
        assert before[site]["closing"] == network.WORKED_BEFORE_CLOSE[f"site_clearing({site})"][books.column]
        assert (after[site]["issued"], after[site]["returned"]) == ISSUED[site]
        assert (after[site]["fees"], after[site]["tax"]) == network.WORKED_FEES[site]
        assert (after[site]["opening"], after[site]["other"], after[site]["closing"]) == ("0.00", "0.00", "0.00")
        for row in (before[site], after[site]):
            assert adds_up(row, STATEMENT, ["refunded"])
    assert [r["site"] for r in report(books, "site-statement", site="dock")] == ["dock"]


def test_participant_statement(books):
    rows = report(books, "participant-statement")
    for row in rows:
        assert adds_up(row, (*STATEMENT, "paid", "failed"), ["refunded"]), row
    due = {r["participant"]: r for r in rows if r["account"].startswith("settlement_due(")}
    assert {p: r["closing"] for p, r in due.items()} == {
        p: columns[books.column] for p, columns in network.WORKED_POSITIONS.items()
    }
    assert {r["site"]: r["participant"] for r in rows if r["site"]} == WORKED_SITES
    for participant in due:  # settling only moves amounts from a line to another
        assert sum(cents(r["settled"]) for r in rows if r["participant"] == participant) == 0
    assert not [r for r in rows if r["account"].startswith("arrears(")]


def test_payments(books):
    rows = report(books, "payments")
    assert {(r["payer"], r["payee"]): r["amount"] for r in rows} == network.WORKED_PAYMENTS[books.column]
    assert {(r["status"], r["held"], r["date"]) for r in rows} == {("computed", None, str(WORKED_DAY))}
    assert report(books, "payments", participant="quay") == [r for r in rows if "quay" in (r["payer"], r["payee"])]


def test_liability(books):
    """39 cup-300 issued at 2.50, 25 returned, the issue of 5 at brick reversed; 12 cup-450 issued at 3.50, 6
    returned."""
    expected = {"cup-300": ("97.50", "62.50", "-12.50", "22.50", 9), "cup-450": ("42.00", "21.00", "0.00", "21.00", 6)}
    for rows in (books.open_reports["liability"], report(books, "liability")):
        assert {
            r["cup_type"]: (r["issued"], r["refunded"], r["reversed"], r["closing"], r["cups_out"]) for r in rows
        } == expected
        for row in rows:
            assert (row["opening"], row["forfeited"], row["reinstated"], row["remeasured"]) == ("0.00",) * 4
            assert adds_up(
                row, ("opening", "issued", "reinstated", "remeasured", "reversed"), ("refunded", "forfeited")
            )
    assert [r["cup_type"] for r in report(books, "liability", cup_type="cup-450")] == ["cup-450"]
    assert {r["settlement"] for r in books.open_reports["liability"]} == {None}
    assert {r["settlement"] for r in report(books, "liability")} == {str(WORKED_DAY)}


# The books ------------------------------------------------------------------------------------------------------------
def test_the_general_ledger_of_every_account(books):
    """Each account of the chart: its legs are those of the feed, and its running balance ends in the trial balance."""
    legs, kinds = {}, {}
    for item in books.admin.feed("tern-bay"):
        kinds[item["entry"]] = item["kind"]
        for leg in item["legs"]:
            legs.setdefault(leg["account"], []).append((item["entry"], leg["cups"] if "cups" in leg else leg["amount"]))
    accounts = books.admin.accounts("tern-bay")
    assert legs.keys() <= accounts.keys() and len(legs) > 25
    for account, balance in accounts.items():
        opening, *rows = report(books, "general-ledger", account=account)
        zero = type(balance)(0) if isinstance(balance, int) else "0.00"
        assert (opening["kind"], opening["entry"], opening["balance"]) == ("opening", None, zero)
        signed = [
            (
                r["entry"],
                r["debit"]
                if r["debit"] is not None
                else -r["credit"]
                if isinstance(r["credit"], int)
                else "-" + r["credit"],
            )
            for r in rows
        ]
        assert signed == legs.get(account, []), account
        running = 0
        for row, (_, amount) in zip(rows, signed):
            running += Decimal(amount)
            assert Decimal(row["balance"]) == running and row["kind"] == kinds[row["entry"]]
        assert (rows or [opening])[-1]["balance"] == balance, account
        # A day later the opening balance has all of it.
        assert (
            report(books, "general-ledger", account=account, **{"from": str(NEXT_DAY), "to": str(NEXT_DAY)})[0][
                "balance"
            ]
            == balance
        )


def test_the_journal_is_the_feed(books):
    rows, feed = report(books, "journal"), books.admin.feed("tern-bay")
    assert [(r["entry"], r["account"]) for r in rows] == [
        (i["entry"], leg["account"]) for i in feed for leg in i["legs"]
    ]
    for item in feed:
        units = Counter()
        for row in (r for r in rows if r["entry"] == item["entry"]):
            assert (row["kind"], row["event_id"]) == (item["kind"], item.get("event", {}).get("event_id"))
            units[row["unit"]] += Decimal(row["debit"] or 0) - Decimal(row["credit"] or 0)
        assert set(units.values()) == {0} and len(units) >= 1, item
    dock = [i["entry"] for i in books.admin.items("/v1/events", scheme="tern-bay", site="dock")]
    assert sorted({r["entry"] for r in report(books, "journal", site="dock")}) == dock


def test_the_trial_balance_leads_down(books):
    rows = report(books, "trial-balance")
    assert {r["moved_on"] for r in rows if r["account"] != "total"} == {str(WORKED_DAY)}
    assert {r["moved_on"] for r in rows if r["account"] == "total"} == {None}


# Cups, and things for a person to look at -----------------------------------------------------------------------------
def test_stock_knows_the_last_count(books):
    rows = {(r["site"], r["cup_type"]): r for r in report(books, "stock", as_of=str(NEXT_DAY)) if r["site"]}
    assert {k: r["sound"] for k, r in rows.items()} == {
        tuple(a.removeprefix("site_stock(").rstrip(")").split(",")): n
        for a, n in network.WORKED_CUPS.items()
        if a.startswith("site_stock(")
    }
    assert {k: (r["counted_on"], r["days_since_count"]) for k, r in rows.items() if r["counted_on"]} == {
        ("copper", "cup-300"): (str(WORKED_DAY), 1)
    }


def test_transfers(books):
    sent = next(e for e in books.events if e["kind"] == "dispatch")
    [row] = report(books, "transfers", as_of=str(NEXT_DAY))
    assert {k: v for k, v in row.items() if k != "entry"} == {
        "date": str(WORKED_DAY),
        "age_days": 1,
        "event_id": sent["event_id"],
        "from_scheme": "tern-bay",
        "sender": "brick",
        "to_scheme": "tern-bay",
        "receiver": "dock",
        "cup_type": "cup-300",
        "condition": "sound",
        "sent": 20,
        "received": 19,
        "lost": 0,
        "in_transit": 1,
        "on_the_way": None,
        "over": 0,
        "state": "short",
    }
    assert report(books, "transfers", as_of=str(WORKED_DAY - timedelta(days=1))) == []


def test_exceptions(books):
    rows = report(books, "exceptions")
    found = [
        (e["kind"], e["site"], x)
        for e in books.events
        for x in network.WORKED_EXCEPTIONS.get((e["kind"], e["site"]), [])
    ]
    by_event = {e["event_id"]: e for e in books.events}
    assert [
        (
            by_event[r["event_id"]]["kind"],
            r["site"],
            {
                k: v
                for k, v in (
                    ("exception", r["kind"]),
                    ("cup_type", r["cup_type"]),
                    ("quantity", r["quantity"]),
                    ("amount", r["amount"]),
                )
                if v is not None
            },
        )
        for r in rows
    ] == found and len(found) == 4
    assert {r["state"] for r in rows} == {"open"}
    assert report(books, "exceptions", site="copper") == [r for r in rows if r["site"] == "copper"]
    assert report(books, "exceptions", state="open") == rows and report(books, "exceptions", state="resolved") == []


def test_exceptions_from_the_newest_on(books):
    """Those of one entry stay in their order. Pages begin with the newest unless they are asked."""
    rows = report(books, "exceptions")
    newest = report(books, "exceptions", order="newest")
    assert newest == sorted(rows, key=lambda row: -row["entry"]) != rows
    assert report(books, "exceptions", order="oldest") == rows
    target = f"/v1/reports/exceptions?scheme=tern-bay&from={WORKED_DAY}&to={WORKED_DAY}"
    for query, expected in (("", newest), ("&order=oldest", rows)):
        page = Page(books.admin.send("GET", target + query, headers={"Accept": "text/html"}).body)
        assert [row["Exception id"] for row in page.table()] == [row["exception_id"] for row in expected]


def test_day_totals_recorded(books):
    """The money that changed hands at the counter, the same in both stock terms, without the reversed issue."""
    expected = {
        "anchor": ("110.00", "0.00"),
        "brick": ("0.00", "55.00"),
        "copper": ("8.00", "21.00"),
        "dock": ("0.00", "0.50"),
    }
    rows = {r["site"]: r for r in report(books, "day-totals")}
    assert {s: (r["collected_recorded"], r["refunded_recorded"]) for s, r in rows.items()} == expected
    assert {s: (r["issued_recorded"], r["returned_recorded"]) for s, r in rows.items()} == ISSUED
    assert {r["issued_stated"] for r in rows.values()} == {None} == {r["refunded_difference"] for r in rows.values()}


def test_return_rate(books):
    """25 of 34 cup-300 and 6 of 12 cup-450 of the day came back on the same day; no week has passed since."""
    rows = {r["cup_type"]: r for r in report(books, "return-rate", totals="shown", by="all")}
    assert {k: (r["issued"], r["returned"], r["rate"], r["out"], r["forfeited"]) for k, r in rows.items()} == {
        "cup-300": (34, 25, "0.7353", 9, 0),
        "cup-450": (12, 6, "0.5000", 6, 0),
        "total": (46, 31, "0.6739", 15, 0),
    }
    assert {(r["rate_7"], r["returned_30"], r["target"], r["state"]) for r in rows.values()} == {
        (None, None, "0.90", "running")
    }
    daily = report(books, "return-rate-daily")
    assert [(d["date"], d["cup_type"], d["posted"], d["issued"], d["returned_7"]) for d in daily] == [
        (str(WORKED_DAY), "cup-300", 34, 34, 25),
        (str(WORKED_DAY), "cup-450", 12, 12, 6),
    ]


def test_site_flows(books):
    rows = {(r["site"], r["cup_type"]): (r["issued"], r["returned"], r["net"]) for r in report(books, "site-flows")}
    assert rows == {
        ("anchor", "cup-300"): (30, 0, 30),
        ("anchor", "cup-450"): (10, 0, 10),
        ("brick", "cup-300"): (0, 22, -22),
        ("copper", "cup-300"): (4, 0, 4),
        ("copper", "cup-450"): (0, 6, -6),
        ("dock", "cup-300"): (0, 3, -3),
        ("dock", "cup-450"): (2, 0, 2),
    }


def test_recovery(books):
    """200 cup-300 of 48 g supplied; one retired, weighed at 47 g."""
    rows = {r["cup_type"]: r for r in report(books, "recovery")}
    assert {k: v for k, v in rows["cup-300"].items() if k != "account"} == {
        "cup_type": "cup-300",
        "supplied": 200,
        "supplied_g": 9600,
        "retired": 1,
        "weighed": 1,
        "retired_g": 47,
        "share_of_cups": "0.0050",
        "share_of_grams": "0.0049",
        # at the sites and on the road, with customers and unaccounted for, as the contract has them
        "in_service": 70 + 61 + 34 + 22 + 1,
        "with_customers": 9,
        "lost": 2,
        **dict.fromkeys(("batches", "batched", "remade"), 0),
        "return_rate": "0.7353",  # 25 of 34, without the issue that was reversed
        "target": "0.90",
    }
    assert (rows["cup-450"]["supplied"], rows["cup-450"]["retired"]) == (60, 0)


def test_ageing(books):
    """Nothing is overdue at the end of the day. A week later everything is, by the days since it was due."""
    due = {p: c[books.column] for p, c in network.WORKED_POSITIONS.items()}
    assert {r["participant"]: r["current"] for r in report(books, "ageing")} == due
    due_on = date.fromisoformat(report(books, "payments")[0]["due_on"])
    for days, bucket in (
        (0, "current"),
        (1, "days_1_7"),
        (7, "days_1_7"),
        (8, "days_8_30"),
        (30, "days_8_30"),
        (31, "days_31_60"),
        (60, "days_31_60"),
        (61, "days_over_60"),
    ):
        rows = report(books, "ageing", as_of=str(due_on + timedelta(days=days)))
        assert {r["participant"]: r[bucket] for r in rows} == due == {r["participant"]: r["total"] for r in rows}, days
        assert {r["first_due_on"] for r in rows} == {str(due_on)}
        assert {r["participant"] for r in rows if r["side"] == "receivable"} == {
            p for p, a in due.items() if Decimal(a) > 0
        }


# Links ----------------------------------------------------------------------------------------------------------------
def test_every_link_leads_somewhere(books):
    """RFC 6570 level 1: a variable is a column of the row, or else a parameter of the request. The test follows each
    template from the first row that has all of its values. The same key must be able to read the target."""
    followed = Counter()
    for described in books.admin.get("/v1/reports")["items"]:
        name = described["report"]
        asked = {
            "scheme": "tern-bay",
            "from": str(WORKED_DAY),
            "to": str(WORKED_DAY),
            "as_of": str(WORKED_DAY),
            "date": str(WORKED_DAY),
            "account": "site_clearing(dock)",
        }
        query = {
            p["name"]: asked[p["name"]]
            for p in described["parameters"]
            if p["required"] or p["name"] in ("from", "to", "as_of")
        }
        rows = books.admin.get(f"/v1/reports/{name}", **query)["items"]
        for column in (c for c in described["columns"] if "link" in c):
            for row in rows:
                target = expand(column["link"], {**query, **row}) if row[column["name"]] is not None else None
                if target:
                    assert books.admin.send("GET", target).status == 200, (name, column["name"], target)
                    followed[name] += 1
                    break
    assert followed.keys() >= {
        "settlement",
        "site-statement",
        "liability",
        "general-ledger",
        "journal",
        "exceptions",
        "stock",
        "trial-balance",
        "transfers",
        "payments",
        "ageing",
        "deposit-cover",
        "participant-statement",
    }


def expand(template, values):
    """None: a value is missing."""
    text, rest = "", template
    while "{" in rest:
        literal, _, rest = rest.partition("{")
        name, _, rest = rest.partition("}")
        if values.get(name) is None:
            return None
        text += literal + quote(str(values[name]), safe="")
    return text + rest


def test_an_entry_by_its_number(books):
    for item in books.admin.feed("tern-bay"):
        found = books.admin.get(f"/v1/entries/{item['entry']}", scheme="tern-bay")
        assert (found["kind"], found["legs"], found.get("event")) == (item["kind"], item["legs"], item.get("event"))
        if "event" in item:
            assert found == books.admin.get(f"/v1/events/{item['event']['event_id']}")
    for number in ("0", "-1", "01", "1x", "999", "99999999999999999999"):
        books.admin.refused("GET", f"/v1/entries/{number}?{urlencode({'scheme': 'tern-bay'})}", None, 404, "not_found")
    books.admin.refused("GET", "/v1/entries/1", None, 422, "parameter_missing")


# Figures and the rows that they sum -----------------------------------------------------------------------------------
FIGURES = ("issued", "returned", "collected", "refunded", "fees", "tax", "stock", "other")


@pytest.mark.parametrize("figure", FIGURES)
def test_the_parts_of_a_sites_figure_sum_to_it(books, figure):
    """Also of the issue at brick that was reversed: its parts are there, and take each other away."""
    found = 0
    for row in report(books, "site-statement"):
        *parts, total = report(books, "site-figures", site=row["site"], figure=figure)
        member = "cups" if figure in ("issued", "returned") else "amount"
        assert all(part["figure"] == figure and part["site"] == row["site"] for part in parts)
        assert total["figure"] == "total" and Decimal(str(total[member])) == Decimal(str(row[figure]))
        assert sum(Decimal(str(part[member])) for part in parts) == Decimal(str(row[figure]))
        found += len(parts)
    assert found or figure in ("other", ("stock", "collected")[books.column])


def test_all_parts_of_figures_come_without_a_sum(books):
    rows = report(books, "site-figures")
    assert {"issued", "returned", "fees", "tax"} < {row["figure"] for row in rows} <= set(FIGURES)
    entries = [row["entry"] for row in rows]
    assert None not in entries and entries == sorted(entries)
    of_type = report(books, "site-figures", figure="issued", cup_type="cup-450")
    assert of_type[-1]["cups"] == 12 and {row["cup_type"] for row in of_type[:-1]} == {"cup-450"}


@pytest.mark.parametrize(
    "column, part",
    [("issued", "counter"), ("refunded", "counter"), ("remeasured", "remeasurements"), ("reversed", "reversals")],
)
def test_a_part_of_the_ledger_sums_to_the_liabilitys_figure(books, column, part):
    for row in report(books, "liability"):
        rows = report(books, "general-ledger", account=row["account"], part=part, totals="shown")
        movement, closing = rows[-2:]
        assert (movement["kind"], closing["kind"]) == ("movement", "closing") and closing["balance"] is None
        sums = {closing["debit"], closing["credit"], movement["debit"], movement["credit"]}
        assert Decimal(row[column]).copy_abs() in map(Decimal, sums), (row, rows)


def test_the_parts_of_an_account_are_its_legs(books):
    """Each leg is in one part."""
    parts = next(
        p["values"]
        for r in books.admin.get("/v1/reports")["items"]
        if r["report"] == "general-ledger"
        for p in r["parameters"]
        if p["name"] == "part"
    )
    for account in ("site_clearing(anchor)", "customer_deposits(cup-300)", "tax", "settlement_due(hearth)"):
        legs = [row for row in report(books, "general-ledger", account=account) if row["kind"] != "opening"]
        apart = [row for part in parts for row in report(books, "general-ledger", account=account, part=part)]
        assert Counter((r["entry"], r["debit"], r["credit"]) for r in legs) == Counter(
            (r["entry"], r["debit"], r["credit"]) for r in apart
        )


@pytest.mark.parametrize("fee", ["service", "handling", "standing"])
def test_fees_of_a_kind_end_with_their_sum(books, fee):
    *rows, total = report(books, "fees", fee=fee)
    assert total["fee"] == "total" and {row["fee"] for row in rows} <= {fee}
    assert Decimal(total["amount"] or 0) == sum(Decimal(row["amount"]) for row in rows)
    assert Decimal(total["tax"] or 0) == sum(Decimal(row["tax"]) for row in rows if row["tax"])
    assert rows == [row for row in report(books, "fees") if row["fee"] == fee]
