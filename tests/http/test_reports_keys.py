# SPDX-License-Identifier: ISC
"""Tests the keys that may read each report and the rows that they see, the requests that a report refuses, and its
CSV, which has the figures of its JSON and which PostgreSQL can also read."""
import io
from datetime import timedelta
from urllib.parse import urlencode

import psycopg2
import pytest

import network
from harness import wait_until
from network import WORKED_DAY, at, cups, event
from pages import Page

NEXT_DAY = WORKED_DAY + timedelta(days=1)
OFFICE = {
    "deposit-cover",
    "trial-balance",
    "income-statement",
    "tax",
    "liability",
    "general-ledger",
    "journal",
    "journal-summary",
    "transfers",
    "exceptions",
    "day-totals",
    "counts",
    "second-counts",
    "shrinkage",
    "shrinkage-lines",
    "ageing",
    "bank-reconciliation",
    "withdrawable",
    "between-schemes",
    "winding-up",
    "return-rate",
    "return-rate-daily",
    "site-flows",
    "trips",
    "trip-counts",
    "recovery",
    "retired-cups",
}
BALANCES = (
    "bank-reconciliation",
    "deposit-cover",
    "trial-balance",
    "stock",
    "transfers",
    "ageing",
    "damaged-cups",
)  # as of a day
WITHOUT_DAYS = (
    "withdrawable",
    "between-schemes",
    "winding-up",
    "counts",
    "count-sheet",
    "second-counts",
    "retired-cups",
)
MAY_BE_EMPTY = {"between-schemes", "damaged-cups", "trips", "trip-counts"}  # the worked example leaves none
OF_PARTICIPANTS = {
    "settlement",
    "statement-of-account",
    "participant-statement",
    "participant-journal-summary",
    "fees",
    "payments",
}
OF_SITES = {"site-statement", "site-figures", "stock", "count-sheet", "damaged-cups"}
READERS = {
    "pos": OF_SITES,
    "participant": OF_SITES | OF_PARTICIPANTS,
    **dict.fromkeys(("auditor", "accountant", "admin"), OF_SITES | OF_PARTICIPANTS | OFFICE),
}
CUP = "07300015200154000000000356"  # GS1's data dictionary, page of `grai` (BDT00000065)
IBAN = "DE89370400440532013000"  # the IBAN registry's example


@pytest.fixture(scope="module")
def net(shared):
    """The worked example closed, a second scheme, and a key of each role. hearth owns anchor and copper, and gull in
    skerry."""
    document = network.worked_reference("on_loan")
    document["schemes"][0]["operator"] = {
        "name": "Pool of the bay",
        "bank_account": {"account": "7788", "bank_code": "0001-234"},
    }
    document["schemes"].append(network.scheme("skerry", WORKED_DAY, {"cup-300": "2.00"}))
    document["sites"] += network.reference([], {"gull": ("skerry", "hearth"), "tarn": ("skerry", "miller")})["sites"]
    for participant in document["participants"]:
        if participant["participant"] == "miller":
            participant.update({"bank_account": {"iban": IBAN}, "bic": "TERNCATTXXX"})
    shared.admin.load(document)
    worked = network.worked_events()
    worked[3]["issued"][0]["ids"] = [CUP]
    shared.admin.post_many([*worked, event("issue", "gull", at(WORKED_DAY), issued=cups(cup_300=1))])
    wait_until(lambda: shared.admin.send("GET", f"/v1/cups/{CUP}").status == 200)
    shared.admin.close("tern-bay", WORKED_DAY)
    shared.by_role = {
        "pos": shared.client(shared.create_key("copper-till", "pos", sites=["copper"])),
        "participant": shared.client(shared.create_key("hearth-book", "participant", participant="hearth")),
        **{role: shared.client(shared.create_key(f"the-{role}", role)) for role in ("auditor", "accountant", "admin")},
    }
    return shared


def target(net, name, **query):
    described = next(r for r in net.admin.get("/v1/reports")["items"] if r["report"] == name)
    asked = {
        "scheme": "tern-bay",
        "account": "customer_deposits(cup-300)",
        **dict.fromkeys(("from", "to", "as_of", "date"), str(WORKED_DAY)),
    }
    known = {p["name"] for p in described["parameters"]}
    return f"/v1/reports/{name}?" + urlencode({**{k: v for k, v in asked.items() if k in known}, **query})


@pytest.mark.parametrize("role", READERS)
def test_who_reads_which(net, role):
    client = net.by_role[role]
    assert {r["report"] for r in client.get("/v1/reports")["items"]} == READERS[role]
    for name in OFFICE | OF_PARTICIPANTS | OF_SITES:
        answer = client.send("GET", target(net, name))
        if name in READERS[role]:
            assert answer.status == 200 and (answer.json["items"] or name in MAY_BE_EMPTY), name
        else:
            assert (answer.status, answer.reasons[0]) == (403, "role_not_allowed"), name


@pytest.mark.parametrize("role, sites", [("pos", {"copper"}), ("participant", {"anchor", "copper"})])
def test_keys_see_their_own(net, role, sites):
    """They see nothing of others. Asking for others' codes does not even show that these exist."""
    client = net.by_role[role]
    for name in READERS[role]:
        rows = client.send("GET", target(net, name)).json["items"]
        assert {r["site"] for r in rows if r.get("site")} in (sites, set()), name
        text = str([{k: v for k, v in r.items() if name != "payments"} for r in rows])
        assert not [word for word in ("brick", "dock", "miller", "quay", "gull") if word in text], name
    for name, query in (
        ("site-statement", {"site": "brick"}),
        ("site-statement", {"site": "nowhere"}),
        ("payments", {"participant": "miller"}),
        ("participant-statement", {"participant": "nobody"}),
        ("statement-of-account", {"participant": "miller"}),
        ("participant-journal-summary", {"participant": "miller"}),
    ):
        if name in READERS[role]:
            client.refused("GET", target(net, name, **query), None, 422, "parameter_invalid")
    other = client.send("GET", target(net, "site-statement", scheme="skerry"))
    if role == "pos":
        assert other.status == 404  # no site of the key is there
    else:
        assert {r["site"] for r in other.json["items"]} == {"gull"}


def test_a_payer_sees_whom_and_where_to_pay(net):
    rows = {
        (r["payer"], r["payee"]): r
        for r in net.by_role["participant"].send("GET", target(net, "payments")).json["items"]
    }
    assert rows.keys() == {("hearth", "miller"), ("hearth", "quay"), ("hearth", "pool")}
    to_miller = rows["hearth", "miller"]
    assert (to_miller["payee_name"], to_miller["iban"], to_miller["bic"], to_miller["amount"]) == (
        "Miller",
        IBAN,
        "TERNCATTXXX",
        "56.01",
    )
    to_pool = rows["hearth", "pool"]
    assert (to_pool["payee_name"], to_pool["iban"], to_pool["bank_account"], to_pool["bank_code"]) == (
        "Pool of the bay",
        None,
        "7788",
        "0001-234",
    )
    miller = net.client(net.create_key("miller-book", "participant", participant="miller"))
    assert [(r["payer"], r["payee"]) for r in miller.send("GET", target(net, "payments")).json["items"]] == [
        ("hearth", "miller")
    ]
    assert miller.send("GET", target(net, "payments", participant="miller")).json["items"]


@pytest.mark.parametrize(
    "name, query, reason",
    [
        ("general-ledger", {"account": "bank_of(anchor)"}, "parameter_invalid"),
        ("general-ledger", {"account": "site_clearing"}, "parameter_invalid"),
        ("general-ledger", {"account": "site_clearing(nowhere)"}, "parameter_invalid"),
        ("general-ledger", {"account": ""}, "parameter_invalid"),
        ("general-ledger", {"account": "site_stock(anchor,cup-300"}, "parameter_invalid"),
        ("site-statement", {"from": "2026-02-30"}, "parameter_invalid"),
        ("site-statement", {"to": "tomorrow"}, "parameter_invalid"),
        ("site-statement", {"site": "nowhere"}, "parameter_invalid"),
        ("liability", {"cup_type": "cup-1"}, "parameter_invalid"),
        ("payments", {"participant": "nobody"}, "parameter_invalid"),
        ("exceptions", {"state": "closed"}, "parameter_invalid"),
        ("exceptions", {"state": ""}, "parameter_invalid"),
        ("liability", {"site": "anchor"}, "parameter_unknown"),
        ("ageing", {"state": "open"}, "parameter_unknown"),
        ("recovery", {"colour": "blue"}, "parameter_unknown"),
    ],
)
def test_refused_parameters(net, name, query, reason):
    net.admin.refused("GET", target(net, name, **query), None, 422, reason)


def test_missing_parameters(net):
    net.admin.refused("GET", "/v1/reports/general-ledger?scheme=tern-bay", None, 422, "parameter_missing")
    net.admin.refused("GET", "/v1/reports/journal", None, 422, "parameter_missing")
    net.admin.refused("GET", "/v1/reports/journal?scheme=nowhere", None, 404, "not_found")


def test_a_journals_page_is_of_one_day(net):
    """The day is `to`, or today. JSON is of a month."""
    today = net.admin.get("/v1/reports/journal", scheme="tern-bay")["to"]
    for query, day in (({}, today), ({"to": str(NEXT_DAY)}, str(NEXT_DAY))):
        asked = urlencode({"scheme": "tern-bay", **query})
        answer = net.admin.send("GET", f"/v1/reports/journal?{asked}", headers={"Accept": "text/html"})
        facts = Page(answer.body).facts
        assert (facts["From"], facts["To"]) == (day, day)


def test_days_that_are_not_given(net):
    """The last day is today. The first is 30 days before it or before `to`, but not before the scheme's first day."""
    asked = net.admin.get("/v1/reports/journal", scheme="tern-bay")
    assert asked["from"] <= asked["to"] and asked["to"] > str(NEXT_DAY)
    assert net.admin.get("/v1/reports/journal", scheme="tern-bay", to=NEXT_DAY)["from"] == str(WORKED_DAY)
    long = net.admin.get("/v1/reports/journal", scheme="tern-bay", to=WORKED_DAY + timedelta(days=45))
    assert long["from"] == str(WORKED_DAY + timedelta(days=15))
    for far in ({"from": "1970-01-01", "to": "9999-12-31"}, {"from": "9999-12-31", "to": "1970-01-01"}):
        for name in READERS["admin"] - {"settlement", *WITHOUT_DAYS, *BALANCES}:
            assert net.admin.send("GET", target(net, name, **far)).status == 200, (name, far)
    for day in ("1970-01-01", "9999-12-31"):
        assert net.admin.send("GET", target(net, "counts", uncounted_since=day)).status == 200
    for name in BALANCES:
        for day in ("1970-01-01", "9999-12-31"):
            assert net.admin.send("GET", target(net, name, as_of=day)).status == 200, (name, day)


def test_postgresql_reads_the_csv(net):
    """COPY … CSV HEADER is an independent implementation of RFC 4180. It must give each cell of the JSON, and at the
    end of each line scheme and currency."""
    for described in net.admin.get("/v1/reports")["items"]:
        name, columns = described["report"], [c["name"] for c in described["columns"]]
        report = net.admin.send("GET", target(net, name)).json
        columns += [c for c in ("scheme", "currency") if c not in columns]
        rows = [{**{c: report[c] for c in ("scheme", "currency")}, **row} for row in report["items"]]
        text = net.admin.send("GET", target(net, name, format="csv")).body.decode()
        connection = psycopg2.connect(net.database.owner_dsn)
        with connection, connection.cursor() as cursor:
            cursor.execute("CREATE TEMP TABLE csv (" + ", ".join(f'"{c}" text' for c in columns) + ")")
            cursor.copy_expert("COPY csv FROM STDIN (FORMAT csv, HEADER match)", io.StringIO(text))
            cursor.execute("SELECT * FROM csv")
            assert cursor.fetchall() == [
                tuple(None if row[c] is None else str(row[c]) for c in columns) for row in rows
            ] and (rows or name in MAY_BE_EMPTY), name
        connection.close()
