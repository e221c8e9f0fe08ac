# SPDX-License-Identifier: ISC
"""Reads: the feed and its filters, single events, accounts, settlements and reports, as JSON and as CSV (RFC 4180)."""
import base64
import csv
import io
import re
from collections import Counter
from datetime import timedelta
from decimal import Decimal
from urllib.parse import urlencode

import pytest

import network
from network import WORKED_DAY, at, cups, event
from test_reports_keys import MAY_BE_EMPTY

NEXT_DAY = WORKED_DAY + timedelta(days=1)
ODD_REFERENCE = 'till "2"\\ \u00e9/\u2603'


class Books:
    """tern-bay on deposit with a closed day and an open day at another value. skerry has an event with the same id."""

    def __init__(self, service):
        self.admin = service.admin
        document = network.worked_reference("on_deposit")
        document["schemes"][0]["refund_values"].append(
            {"cup_type": "cup-300", "effective_date": str(NEXT_DAY), "amount": "3.00"}
        )
        document["schemes"].append(network.scheme("skerry", WORKED_DAY, {"cup-300": "2.00"}))
        document["sites"] += network.reference([], {"gull": ("skerry", "hearth")})["sites"]
        self.admin.load(document)
        self.events = network.worked_events()
        self.events.append(event("issue", "anchor", at(NEXT_DAY), issued=cups(cup_300=2), reference=ODD_REFERENCE))
        self.answers = [self.admin.post(e) for e in self.events]
        self.shared = {
            **event("issue", "gull", at(WORKED_DAY), issued=cups(cup_300=1)),
            "event_id": self.events[3]["event_id"],
        }
        self.admin.post(self.shared)
        self.before_close = self.cover(NEXT_DAY)
        self.settlement = self.admin.close("tern-bay", WORKED_DAY)
        self.till = service.client(service.create_key("anchor-till", "pos", sites=["anchor"]))
        self.hearth = service.client(service.create_key("hearth-office", "participant", participant="hearth"))
        self.miller = service.client(service.create_key("miller-office", "participant", participant="miller"))

    def cover(self, day):
        return self.admin.items("/v1/reports/deposit-cover", scheme="tern-bay", as_of=day)


@pytest.fixture(scope="module")
def books(shared):
    return Books(shared)


def get_csv(client, path, **query):
    answer = client.send("GET", f"{path}?{urlencode({**query, 'format': 'csv'})}")
    assert answer.status == 200 and answer.headers["Content-Type"].startswith("text/csv")
    # RFC 6266 section 4
    assert re.fullmatch(r'attachment; filename="[a-z0-9_-]+[.]csv"', answer.headers["Content-Disposition"])
    text = answer.body.decode()
    assert text.endswith("\r\n") and text.count("\n") == text.count("\r\n")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def total(rows, column):
    return sum(Decimal(row[column]) for row in rows if row[column])


# The feed and its filters ---------------------------------------------------------------------------------------------
def test_the_feed_misses_nothing_and_repeats_nothing(books):
    pages, page = [], books.admin.get("/v1/events", scheme="tern-bay", limit=4)
    while page["items"]:
        assert len(page["items"]) <= 4
        pages.append(page)
        page = books.admin.get("/v1/events", scheme="tern-bay", limit=4, cursor=page["next"])
    assert page["next"] == pages[-1]["next"], "an empty page goes on where it stands"
    cuts, feed = [], []
    for item in (item for page in pages for item in page["items"]):
        (cuts if item["kind"] == "day_cut" else feed).append(item)
    assert [cut["business_date"] for cut in cuts] == [str(WORKED_DAY)]
    assert [item["entry"] for item in feed] == list(range(1, len(feed) + 1))
    assert [item["event"]["event_id"] for item in feed if "event" in item] == [e["event_id"] for e in books.events]
    assert {item["kind"] for item in feed if "event" not in item} == {"fees", "settle", "remeasurement"}

    new = books.admin.post(event("supply", "dock", at(NEXT_DAY), cups=cups(cup_300=1)))
    assert [i["entry"] for i in books.admin.get("/v1/events", scheme="tern-bay", cursor=page["next"])["items"]] == [
        new["entry"]
    ]


def former_cursor(number):
    """The number of an entry as version 0.1.0 wrote it: eight bytes in base64url (RFC 4648 section 5), without
    padding."""
    return base64.urlsafe_b64encode(number.to_bytes(8, "big")).decode().rstrip("=")


def test_a_cursor_of_the_last_release_still_leads_on(books):
    for entry in (0, 1, 4, 1000000):
        wanted = books.admin.get("/v1/events", scheme="tern-bay", limit=4, cursor=str(entry))
        assert books.admin.get("/v1/events", scheme="tern-bay", limit=4, cursor=former_cursor(entry)) == wanted
    first = books.admin.get("/v1/events", scheme="tern-bay", limit=4)
    assert former_cursor(4) != first["next"], "it is given no more"


@pytest.mark.parametrize(
    "cursor",
    [
        "-1",
        "01",
        "1.5",
        "9223372036854775808",
        "12345678901234567890",
        "brick",
        "AAAAAAAAAA",
        "AAAAAAAAAAAA",
        "AAAAAAAAAAJ",  # bits beyond the eighth byte
        "gAAAAAAAAAA",
    ],
)  # a number below 0
def test_a_cursor_that_no_answer_gave_is_refused(books, cursor):
    books.admin.refused("GET", f"/v1/events?scheme=tern-bay&cursor={cursor}", None, 422, "parameter_invalid")


def test_link_leads_where_next_does(books):
    """RFC 8288 section 3: Link: <target>; rel="next" """
    answer = books.admin.send("GET", f"/v1/events?{urlencode({'scheme': 'tern-bay', 'site': 'anchor', 'limit': 1})}")
    target, _, parameters = answer.headers["Link"].partition(">")
    assert parameters.replace(" ", "") == ';rel="next"' and target.startswith("</v1/events?")
    followed = books.admin.send("GET", target[1:])
    assert followed.json == books.admin.get(
        "/v1/events", scheme="tern-bay", site="anchor", limit=1, cursor=answer.json["next"]
    )
    assert followed.json["items"][0]["event"]["site"] == "anchor"
    assert "Link" not in books.admin.send("GET", "/v1/events?scheme=tern-bay&site=copper&kind=count").headers


@pytest.mark.parametrize(
    "query, wanted",
    [
        ({"site": "copper"}, lambda i: i.get("event", {}).get("site") == "copper"),
        ({"kind": "return"}, lambda i: i["kind"] == "return"),
        ({"kind": "return", "site": "brick"}, lambda i: i["kind"] == "return" and i["event"]["site"] == "brick"),
        ({"business_date": NEXT_DAY}, lambda i: i["business_date"] == str(NEXT_DAY)),
        ({"from": NEXT_DAY}, lambda i: i["business_date"] >= str(NEXT_DAY)),
        ({"to": WORKED_DAY}, lambda i: i["business_date"] <= str(WORKED_DAY)),
        ({"from": WORKED_DAY, "to": NEXT_DAY, "kind": "issue"}, lambda i: i["kind"] == "issue"),
        ({"business_date": WORKED_DAY, "from": NEXT_DAY}, lambda i: False),
        ({"from": "2001-01-01", "to": "2001-12-31"}, lambda i: False),
        ({"reference": "till 2/1187"}, lambda i: i.get("event", {}).get("reference") == "till 2/1187"),
        ({"reference": ODD_REFERENCE}, lambda i: i.get("event", {}).get("reference") == ODD_REFERENCE),
        ({"reference": "till 2"}, lambda i: False),
    ],
)
def test_filters(books, query, wanted):
    feed = books.admin.feed("tern-bay")
    found = books.admin.items("/v1/events", scheme="tern-bay", limit=3, **query)
    assert [i for i in found if "event" in i] == [i for i in feed if "event" in i and wanted(i)]
    if "site" in query:  # the entry that the close posted for a site is also the site's
        assert {i["kind"] for i in found if "event" not in i} <= {"fees", "settle", "remeasurement"}
    else:
        assert found == [i for i in feed if wanted(i)]


def test_a_till_needs_no_scheme(books):
    assert books.till.items("/v1/events") == books.admin.items("/v1/events", scheme="tern-bay", site="anchor")
    books.hearth.refused("GET", "/v1/events", None, 422, "parameter_missing")  # its sites are of two schemes


# One event ------------------------------------------------------------------------------------------------------------
def test_ids_of_two_schemes_meet(books):
    path = f"/v1/events/{books.shared['event_id']}"
    books.admin.refused("GET", path, None, 422, "parameter_missing")
    for scheme, site in (("tern-bay", "anchor"), ("skerry", "gull")):
        found = books.admin.get(path, scheme=scheme)
        assert (found["scheme"], found["event"]["site"]) == (scheme, site)
    assert books.till.get(path)["event"]["site"] == "anchor"  # it knows of only one
    books.till.refused("GET", path + "?scheme=skerry", None, 404, "not_found")


def test_an_event_links_to_its_settlement(books):
    found = books.admin.get(f"/v1/events/{books.events[0]['event_id']}")
    assert books.admin.get(found["settlement"]) == books.settlement
    assert "settlement" not in books.admin.get(f"/v1/events/{books.events[14]['event_id']}")
    exchange = books.admin.get(f"/v1/events/{books.events[7]['event_id']}")
    assert exchange["exceptions"] == books.answers[7]["exceptions"] != []


# Accounts and days ----------------------------------------------------------------------------------------------------
def test_accounts_page_by_page_and_as_of(books):
    now = books.admin.accounts("tern-bay")
    assert {a["account"]: a["balance"] for a in books.admin.items("/v1/accounts", scheme="tern-bay", limit=2)} == now
    first = books.admin.accounts("tern-bay", as_of=WORKED_DAY)
    assert first.keys() == now.keys()
    assert first["customer_deposits(cup-300)"] == "-22.50" and first["with_customers(cup-300)"] == 9
    assert set(books.admin.accounts("tern-bay", as_of=WORKED_DAY - timedelta(days=1)).values()) == {0, "0.00"}


@pytest.mark.parametrize("query", [{}, {"as_of": WORKED_DAY}, {"limit": 1}])
def test_accounts_of_a_kind(books, query):
    whole = books.admin.items("/v1/accounts", **{"scheme": "tern-bay", **query})
    found = 0
    for kind in ("bank", "site_clearing", "settlement_due", "customer_deposits", "unaccounted"):
        listed = books.admin.items("/v1/accounts", **{"scheme": "tern-bay", "account_kind": kind, **query})
        assert listed == [a for a in whole if a["account"].split("(")[0] == kind]
        found += len(listed)
    assert found > 5


def test_days(books):
    days = books.admin.items("/v1/schemes/tern-bay/days", limit=1000)
    assert [d["state"] for d in days] == ["closed"] + ["open"] * (len(days) - 1)
    assert all(a["ends_at"] == b["starts_at"] for a, b in zip(days, days[1:]))
    assert days[0]["date"] == str(WORKED_DAY) and days[0]["events"] == 14
    assert books.admin.items("/v1/schemes/tern-bay/days", limit=7) == days


# Settlements ----------------------------------------------------------------------------------------------------------
def test_a_settlement_never_changes(books):
    books.admin.load(network.reference([], {"egret": ("tern-bay", "hearth")}, []))
    assert books.admin.get(f"/v1/settlements/tern-bay/{WORKED_DAY}") == books.settlement
    assert books.admin.items("/v1/settlements", scheme="tern-bay") == [
        {
            "scheme": "tern-bay",
            "date": str(WORKED_DAY),
            "closed_at": books.settlement["closed_at"],
            "payments": 3,
            "paid": books.settlement["totals"]["paid"],
        }
    ]


def test_participants_see_their_own_lines(books):
    own = books.miller.get(f"/v1/settlements/tern-bay/{WORKED_DAY}")
    assert [p["participant"] for p in own["positions"]] == ["miller"]
    assert [s["site"] for p in own["positions"] for s in p["sites"]] == ["brick"]
    assert [(p["from"], p["to"], p["amount"]) for p in own["payments"]] == [("miller", "pool", "98.99")]
    all_of_it = {"owed": "98.99", "owing": "0.00", "paid": "98.99", "payments": 1}
    assert {k: own["totals"][k] for k in all_of_it} == all_of_it and own["totals"]["to_collect"] == "98.99"
    assert own["totals"]["by_status"]["computed"] == {"payments": 1, "amount": "98.99"}
    assert [s["payments"] for s in books.miller.items("/v1/settlements", scheme="tern-bay")] == [1]
    assert {r["participant"] for r in get_csv(books.miller, f"/v1/settlements/tern-bay/{WORKED_DAY}")} == {"miller"}
    books.miller.refused("GET", f"/v1/settlements/skerry/{WORKED_DAY}", None, 404, "not_found")


def test_a_settlement_as_a_table(books):
    rows = get_csv(books.admin, f"/v1/settlements/tern-bay/{WORKED_DAY}")
    assert rows == get_csv(books.admin, "/v1/reports/settlement", scheme="tern-bay", date=WORKED_DAY)
    sites = {
        s["site"]: {k: v for k, v in s.items() if k != "fee_rows"}  # they have a report of their own
        for p in books.settlement["positions"]
        for s in p["sites"]
    }
    assert {r["site"]: {k: r[k] for k in sites[r["site"]]} for r in rows if r["site"]} == sites
    assert {r["participant"]: r["position"] for r in rows if not r["site"]} == {
        p["participant"]: p["amount"] for p in books.settlement["positions"]
    }
    assert total(rows, "net") + total(rows, "arrears") == total(rows, "position")
    books.admin.refused("GET", f"/v1/settlements/tern-bay/{NEXT_DAY}?format=csv", None, 404, "not_found")


def test_a_file_is_named_after_its_scheme_and_period(books):
    def name(target):
        answer = books.admin.send("GET", target)
        assert answer.status == 200
        return answer.headers["Content-Disposition"]

    at, ends = f"scheme=tern-bay&as_of={WORKED_DAY}", f"scheme=tern-bay&from={WORKED_DAY}&to={NEXT_DAY}"
    settlement = f'attachment; filename="settlement_tern-bay_{WORKED_DAY}.csv"'
    assert name(f"/v1/settlements/tern-bay/{WORKED_DAY}?format=csv") == settlement
    assert name(f"/v1/reports/settlement?scheme=tern-bay&date={WORKED_DAY}&format=csv") == settlement
    assert name(f"/v1/reports/stock?{at}&format=csv") == f'attachment; filename="stock_tern-bay_{WORKED_DAY}.csv"'
    ledger = f"/v1/reports/general-ledger?{ends}&account=customer_deposits(cup-300)&format=csv"
    name_of_ledger = f"general-ledger_tern-bay_customer_deposits-cup-300-_{WORKED_DAY}_{NEXT_DAY}.csv"
    assert name(ledger) == f'attachment; filename="{name_of_ledger}"'
    for format in ("json", "html"):
        assert name(f"/v1/reports/stock?{at}&format={format}") is None


# Reports --------------------------------------------------------------------------------------------------------------
def test_reports_list_themselves(books):
    listed = {r["report"]: r for r in books.admin.get("/v1/reports")["items"]}
    # test_reports_keys.py: which, for whom
    assert listed.keys() >= {"deposit-cover", "trial-balance", "stock", "settlement"}
    for name, described in listed.items():
        needed = {
            p["name"]: {"day": str(WORKED_DAY), "account": "refund_variance"}[p["kind"]]
            for p in described["parameters"]
            if p["name"] != "scheme" and (p["required"] or p["name"] in ("from", "to", "as_of"))
        }
        report = books.admin.get(f"/v1/reports/{name}", scheme="tern-bay", **needed)
        assert report["columns"] == [c["name"] for c in described["columns"]]
        assert report["items"] or name in MAY_BE_EMPTY, name
        rows = get_csv(books.admin, f"/v1/reports/{name}", scheme="tern-bay", **needed)
        ends = {"scheme": "tern-bay", "currency": "CAD"}  # of each line, unless they are columns already
        assert (report["scheme"], report["currency"]) == ("tern-bay", "CAD")
        assert rows == [{k: "" if v is None else str(v) for k, v in {**ends, **i}.items()} for i in report["items"]]
        last = [c for c in ends if c not in report["columns"]]
        assert not rows or list(rows[0]) == [*report["columns"], *last], name
        kinds = {c["name"]: c["kind"] for c in described["columns"]}
        assert all(
            isinstance(v, int) for i in report["items"] for k, v in i.items() if v is not None and kinds[k] == "cups"
        )
        assert all(
            isinstance(v, str)
            for i in report["items"]
            for k, v in i.items()
            if v is not None and kinds[k] in ("text", "amount")
        )


def test_parameters_of_another_report(books):
    books.admin.refused("GET", f"/v1/reports/stock?scheme=tern-bay&date={WORKED_DAY}", None, 422, "parameter_unknown")
    books.admin.refused("GET", "/v1/reports/settlement?scheme=tern-bay", None, 422, "parameter_missing")
    books.till.refused("GET", "/v1/reports/trial-balance?scheme=tern-bay", None, 403, "role_not_allowed")


def test_a_remeasurement_to_come_is_said(books):
    """9 cup-300 with customers at 2.50, and 2 issued at 3.00 the day after: 4.50 is to come until the day is closed."""
    before, after = (
        [r for r in rows if (r["section"], r["cup_type"]) == ("customers", "cup-300")]
        for rows in (books.before_close, books.cover(NEXT_DAY))
    )
    assert before == [
        {
            "section": "customers",
            "item": "with_customers",
            "cup_type": "cup-300",
            "cups": 11,
            "refund_value": "3.00",
            "required": "33.00",
            "held": "33.00",
            "to_come": "4.50",
            "difference": "0.00",
        }
    ]
    assert after == [{**before[0], "to_come": "0.00"}]
    in_transit = next(r for r in books.before_close if r["section"] == "transit")
    assert (in_transit["cups"], in_transit["held"], in_transit["to_come"]) == (1, "3.00", "0.50")
    causes = {r["item"]: r for r in books.before_close if r["section"] == "funding"}
    assert causes["refund_variance"]["to_come"] == "-5.00" and causes["unexplained"]["difference"] == "0.00"


@pytest.mark.parametrize("day", [WORKED_DAY, NEXT_DAY])
def test_the_cover_is_exact_and_funded(books, day):
    rows = books.cover(day)
    cover, funding = ([r for r in rows if (r["section"] == "funding") == funds] for funds in (False, True))
    assert {r["difference"] for r in cover} == {"0.00"}
    assert {r["section"] for r in cover} == {"customers", "stock", "transit"}
    accounts = Counter()
    for account, balance in books.admin.accounts("tern-bay", as_of=day).items():
        if isinstance(balance, str):
            accounts[account.partition("(")[0]] += Decimal(balance)
    lines = {r["item"]: r for r in funding}
    assert len(lines) == len(funding) and lines.keys() - {"surplus", "unexplained"} >= accounts.keys()
    deposits = {a for a in lines if a.endswith("_deposits")}
    assets = {"bank", "bank_suspense", "settlement_due", "site_clearing", "arrears"}
    assets |= {"between_schemes", "settlement_due_scheme"}
    assert {a: Decimal(lines[a]["required"]) for a in deposits} == {a: -accounts[a] for a in deposits}
    assert {a: Decimal(lines[a]["held"]) for a in assets} == {a: accounts[a] for a in assets}
    causes = lines.keys() - deposits - assets - {"surplus", "unexplained"}
    assert {a: Decimal(lines[a]["difference"]) for a in causes} == {a: -accounts[a] for a in causes}
    surplus = Decimal(lines["surplus"]["difference"])
    assert surplus == total([lines[a] for a in assets], "held") - total([lines[a] for a in deposits], "required")
    assert surplus == sum(Decimal(lines[a]["difference"]) for a in causes)
    assert funding[-1]["item"] == "unexplained" and funding[-1]["difference"] == "0.00"


def test_the_trial_balance_balances(books):
    report = books.admin.get("/v1/reports/trial-balance", scheme="tern-bay", as_of=WORKED_DAY)
    accounts = books.admin.accounts("tern-bay", as_of=WORKED_DAY)
    lines = {
        r["account"]: Decimal(r["debit"]) - Decimal(r["credit"]) for r in report["items"] if r["account"] != "total"
    }
    assert lines == {a: Decimal(b) for a, b in accounts.items() if Decimal(b)}
    totals = {r["unit"]: r for r in report["items"] if r["account"] == "total"}
    assert totals.keys() == {"CAD", "cup-300", "cup-450"}
    for unit, line in totals.items():
        rows = [r for r in report["items"] if r["unit"] == unit and r["account"] != "total"]
        assert Decimal(line["debit"]) == Decimal(line["credit"]) == total(rows, "debit") == total(rows, "credit")
        assert isinstance(line["debit"], str if unit == "CAD" else int)


def test_stock_says_where_each_cup_is(books):
    rows = books.admin.get("/v1/reports/stock", scheme="tern-bay", as_of=WORKED_DAY)["items"]
    for cup_type in ("cup-300", "cup-450"):
        assert sum(r["sound"] + (r["damaged"] or 0) for r in rows if r["cup_type"] == cup_type) == 0
    dock = next(r for r in rows if (r["site"], r["cup_type"]) == ("dock", "cup-450"))
    assert (dock["sound"], dock["negative"], dock["place"]) == (-2, 2, None)
    assert {r["site"] for r in books.till.items("/v1/reports/stock", scheme="tern-bay")} == {"anchor"}
    assert {r["site"] for r in books.hearth.items("/v1/reports/stock", scheme="tern-bay")} == {"anchor", "copper"}
