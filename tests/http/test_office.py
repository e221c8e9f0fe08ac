# SPDX-License-Identifier: ISC
"""The page of all schemes: each figure against the report, list or task that it leads to, the order against the stated
rule, and sums in one currency against Python's decimals. The rule of the order is this project's own."""
import csv
import io
from collections import defaultdict
from datetime import timedelta
from decimal import ROUND_HALF_EVEN, Decimal

import pytest

import network
from network import at, business_day, cups, event
from pages import Page, tidy

DAY = timedelta(days=1)
CSV, HTML = {"Accept": "text/csv"}, {"Accept": "text/html"}
AMOUNTS = ("uncovered", "to_collect", "to_pay", "arrears_to_pool", "arrears_of_pool")
COUNTS = ("days_not_closed", "sites_to_count", "exceptions_open", "journals_open", "openings_open", "bank_lines_open")
DECIMALS = {"CAD": 2, "EUR": 2, "ISK": 0}
SCHEMES = {  # each with its currency, and a site
    "auk-rock": ("EUR", "auk"),  # has only just begun: clear
    "eider-sound": ("ISK", "eider"),  # its pool is short: a cup went out for nothing
    "gannet-head": ("EUR", "gannet"),  # payments wait
    "petrel-bay": ("ISK", "petrel"),  # a payment failed, so there are arrears
    "tern-bay": ("CAD", "tern"),  # two days are not closed, and one has a late event
}


@pytest.fixture(scope="module")
def net(shared):
    admin, today = shared.admin, business_day()
    first = today - 2 * DAY
    values = {"CAD": "2.50", "EUR": "2.00", "ISK": "300"}
    terms = {c: [{"service_fee": "0" if c == "ISK" else "0.00"} | (zeros() if c == "ISK" else {})] for c in values}
    schemes = [
        network.scheme(
            code,
            today if code == "auk-rock" else first,
            {"cup-300": values[currency]},
            currency=currency,
            terms=terms[currency],
            dual_control=False,
        )
        for code, (currency, _) in SCHEMES.items()
    ]
    admin.load(network.reference(schemes, {site: (code, "hearth") for code, (_, site) in SCHEMES.items()}))
    closed = [code for code in SCHEMES if code not in ("tern-bay", "auk-rock")]
    for code, (_, site) in SCHEMES.items():
        if code == "auk-rock":
            continue
        admin.post(event("supply", site, at(first, "08:00"), cups=cups(cup_300=50)))
        admin.post(event("issue", site, at(first, "10:00"), issued=cups(cup_300=4)))
    admin.post(event("issue", "eider", at(first, "11:00"), issued=cups(cup_300=2), amount="0"))
    for code in closed:
        admin.close(code, first)
    for payment in admin.items("/v1/payments", scheme="petrel-bay"):
        for act in ("approve", "fail"):
            body = {"reason": "account closed"} if act == "fail" else None
            assert admin.send("POST", f"/v1/payments/{payment['payment_id']}/{act}", body).status == 200
    for code in closed:
        admin.close(code, first + DAY)
    admin.post(event("issue", "gannet", at(first, "12:00"), issued=cups(cup_300=1)))
    return shared


def zeros():
    return {"minimum_payment": "0", "handling_fee": "0"}


def rows_of(net, **query):
    return {row["scheme"]: row for row in net.admin.get("/v1/office", **query)["items"]}


def text(currency, amount):
    return str(amount.quantize(Decimal(1).scaleb(-DECIMALS[currency])))


def test_each_amount_is_that_of_the_books(net):
    found = rows_of(net)
    assert set(found) == set(SCHEMES)
    for code, row in found.items():
        assert row["currency"] == SCHEMES[code][0]
        cover = net.admin.get("/v1/reports/deposit-cover", scheme=code)["items"]
        [surplus] = [Decimal(line["difference"]) for line in cover if line["item"] == "surplus"] or [Decimal(0)]
        assert row["uncovered"] == text(row["currency"], max(-surplus, Decimal(0)))
        sums = defaultdict(Decimal)
        for payment in net.admin.items("/v1/payments", scheme=code, waiting="true"):
            sums["to_collect"] += Decimal(payment["amount"]) if payment["from"] != "pool" else 0
            sums["to_pay"] += Decimal(payment["amount"]) if payment["to"] != "pool" else 0
        for account in net.admin.items("/v1/accounts", scheme=code, account_kind="arrears"):
            balance = Decimal(account["balance"])
            sums["arrears_to_pool" if balance > 0 else "arrears_of_pool"] += abs(balance)
        for name in ("to_collect", "to_pay", "arrears_to_pool", "arrears_of_pool"):
            assert row[name] == text(row["currency"], sums[name]), (code, name)
    assert found["eider-sound"]["uncovered"] == "600" and found["tern-bay"]["uncovered"] == "0.00"
    assert found["petrel-bay"]["arrears_to_pool"] == "1200" and found["gannet-head"]["to_collect"] == "8.00"


def test_each_count_is_that_of_its_task(net):
    told = defaultdict(int)
    for task in net.admin.get("/")["tasks"]:
        name = task["task"].replace("_to_approve", "_open").replace("_proposed", "_open")
        told[task.get("scheme"), name] += task["count"]
    found = rows_of(net)
    for code, row in found.items():
        assert {name: row[name] for name in COUNTS} == {name: told[code, name] for name in COUNTS}, code
        days = net.admin.items(f"/v1/schemes/{code}/days")
        assert row["late_events"] == sum(d["late_events"] for d in days if d["state"] != "closed")
    assert found["tern-bay"]["days_not_closed"] >= 1 and found["gannet-head"]["late_events"] == 1
    assert found["eider-sound"]["exceptions_open"] >= 1


def worse(row):
    """The rule, as the description of the operation states it."""
    return (
        Decimal(row["uncovered"]) <= 0,
        -row["days_not_closed"],
        -row["payments_overdue"],
        Decimal(row["arrears_to_pool"]) == Decimal(row["arrears_of_pool"]) == 0,
        -sum(row[n] for n in ("exceptions_open", "journals_open", "openings_open", "bank_lines_open")),
        row["scheme"],
    )


def states(row):
    found = {
        "uncovered": Decimal(row["uncovered"]) > 0,
        "late": row["days_not_closed"] + row["late_events"] + row["sites_to_count"] > 0,
        "owed": any(Decimal(row[n]) for n in AMOUNTS[1:]),
        "open": any(row[n] for n in ("exceptions_open", "journals_open", "openings_open", "bank_lines_open")),
    }
    return [name for name, holds in found.items() if holds] or ["clear"]


def test_the_worst_comes_first(net):
    items = net.admin.get("/v1/office")["items"]
    assert items == sorted(items, key=worse)
    assert items[0]["scheme"] == "eider-sound" and items[1]["scheme"] == "tern-bay"
    assert [row["worst"] for row in items] == [states(row)[0] for row in items]
    assert {row["worst"] for row in items} >= {"uncovered", "late", "owed", "clear"}


@pytest.mark.parametrize("state", ["uncovered", "late", "owed", "open", "clear"])
def test_a_state_leaves_those_that_are_in_it(net, state):
    wanted = [row for row in net.admin.get("/v1/office")["items"] if state in states(row)]
    assert net.admin.get("/v1/office", state=state)["items"] == wanted


def test_a_currency_leaves_its_schemes(net):
    found = rows_of(net, currency="ISK")
    assert set(found) == {"eider-sound", "petrel-bay"}
    assert [s["currency"] for s in net.admin.get("/v1/office", currency="ISK")["currencies"]] == ["ISK"]


def sums_of(items):
    found = defaultdict(lambda: defaultdict(Decimal))
    for row in items:
        for name in AMOUNTS:
            found[row["currency"]][name] += Decimal(row[name])
    return found


def test_currencies_are_not_added(net):
    answer = net.admin.get("/v1/office")
    sums = sums_of(answer["items"])
    assert "in_one_currency" not in answer
    assert [s["currency"] for s in answer["currencies"]] == ["CAD", "EUR", "ISK"]
    for row in answer["currencies"]:
        assert row["schemes"] == sum(i["currency"] == row["currency"] for i in answer["items"])
        assert {n: row[n] for n in AMOUNTS} == {n: text(row["currency"], sums[row["currency"]][n]) for n in AMOUNTS}


RATED = dict(sum_in="EUR", rates="CAD:0.68,ISK:0.0067", rate_day="2026-05-12")


def test_stated_rates_add_them_up(net):
    answer = net.admin.get("/v1/office", **RATED)
    rates = {"CAD": Decimal("0.68"), "ISK": Decimal("0.0067"), "EUR": Decimal(1)}
    one, sums = answer["in_one_currency"], sums_of(answer["items"])
    for name in AMOUNTS:
        parts = [(sums[c][name] * rate).quantize(Decimal("0.01"), ROUND_HALF_EVEN) for c, rate in rates.items()]
        assert one[name] == str(sum(parts))
    assert (one["currency"], one["schemes"], one["rate_day"]) == ("EUR", 5, "2026-05-12")
    assert one["rates"] == [{"of": "CAD", "rate": "0.68"}, {"of": "ISK", "rate": "0.0067"}]
    assert answer["items"] == net.admin.get("/v1/office")["items"]


def test_one_currency_alone_needs_no_rate(net):
    answer = net.admin.get("/v1/office", currency="ISK", sum_in="ISK")
    assert {n: answer["in_one_currency"][n] for n in AMOUNTS} == {n: answer["currencies"][0][n] for n in AMOUNTS}


@pytest.mark.parametrize(
    "query, parameter",
    [
        ("state=bad", "state"),
        ("currency=cad", "currency"),
        ("currency=XXQ", "currency"),
        ("sum_in=XXQ", "sum_in"),
        ("sum_in=EUR", "rates"),
        ("sum_in=EUR&rates=CAD:0.68&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=CAD:0.68,ISK:0.0067", "rate_day"),
        ("rates=CAD:0.68&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=CAD&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=CAD:0,ISK:1&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=CAD:-1,ISK:1&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=CAD:1,CAD:1,ISK:1&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=EUR:1,CAD:1,ISK:1&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=CAD:1.1234567,ISK:1&rate_day=2026-05-12", "rates"),
        ("sum_in=EUR&rates=CAD:1,ISK:1&rate_day=soon", "rate_day"),
        ("sum_in=EUR&rates=,&rate_day=2026-05-12", "rates"),
    ],
)
def test_refused_queries(net, query, parameter):
    refused = net.admin.refused("GET", f"/v1/office?{query}", None, 422, "parameter_invalid")
    assert refused.json["errors"][0]["parameter"] == parameter


def test_csv_has_the_same_rows(net):
    answer = net.admin.send("GET", "/v1/office", headers=CSV)
    assert "office.csv" in answer.headers["Content-Disposition"]
    lines = list(csv.DictReader(io.StringIO(answer.body.decode())))
    items = net.admin.get("/v1/office")["items"]
    shown = [n for n in lines[0]]
    assert [{n: line[n] for n in shown} for line in lines] == [{n: str(row[n]) for n in shown} for row in items]
    assert {*AMOUNTS, *COUNTS, "late_events", "payments_overdue", "scheme", "currency"} <= set(shown)


def test_the_page_says_the_rates_in_words(net):
    query = "&".join(f"{n}={v}" for n, v in RATED.items())
    answer = net.admin.send("GET", f"/v1/office?{query}", headers=HTML)
    assert answer.status == 200 and tidy(answer.body) == ""
    page = Page(answer.body)
    assert "Sums in EUR at rates that the reader of this page stated, of 2026-05-12: 1 CAD = 0.68 EUR" in page.root.text
    assert "licensed accountant" in page.root.text
    assert {"state", "currency", "sum_in", "rates", "rate_day"} <= {f.get("name") for f in page.all("input", "select")}
    assert any(link.startswith("/v1/reports/deposit-cover?scheme=eider-sound") for link in page.links)
    plain = Page(net.admin.send("GET", "/v1/office", headers=HTML).body)
    assert "at rates that" not in plain.root.text
    start = Page(net.admin.send("GET", "/", headers=HTML).body)
    assert "/v1/office" in start.links
