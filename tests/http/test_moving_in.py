# SPDX-License-Identifier: ISC
"""A running network moves in. 20 sites, 3,000 cups with customers, money at the bank and two participants in arrears
come from four spreadsheets and a scheme's terms. Two people open it, and it trades for three days. Every figure of
the files is found again in the reports. Nothing of it looks into the database.

The network is invented. The figures that are expected are added up here from the lines of the files."""
import csv
import io
import random
from collections import Counter
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

import network
from harness import Database, new_service
from model import DAY
from network import at, cups, event

CSV = {"Content-Type": "text/csv"}
FIRST = date.today() - 4 * DAY
DAYS = [FIRST, FIRST + DAY, FIRST + 2 * DAY]
VALUES = {"cup-240": Decimal("2.00"), "cup-300": Decimal("2.50"), "cup-450": Decimal("3.50")}
PARTICIPANTS = ["barnacle", "cuttle", "dulse", "fulmar", "limpet", "marram", "sandeel"]
HUB, RETURN_POINT = "site-19", "site-18"
SITES = [f"site-{n:02}" for n in range(20)]
IN_ARREARS = {"cuttle": "118.50", "limpet": "47.25"}
OWED = {"marram": "-31.00"}
TEMPLATES = Path(__file__).parents[2] / "deploy" / "templates"


def owner_of(site):
    return PARTICIPANTS[SITES.index(site) % len(PARTICIPANTS)]


def kind_of(site):
    return {HUB: "hub", RETURN_POINT: "return_point"}.get(site, "cafe")


def line(what, **cells):
    return {"what": what, **cells}


def opening_lines():
    chosen = random.Random(20)
    lines = [line("bank", amount="8450.75")]
    for site in SITES:
        for cup in VALUES:
            lines.append(line("stock", site=site, cup_type=cup, quantity=chosen.randint(10, 90)))
    lines += [line("stock", site=HUB, cup_type=cup, quantity=n, condition="damaged") for cup, n in (("cup-240", 12),)]
    lines += [
        line("with_customers", cup_type=cup, quantity=n)
        for cup, n in (("cup-240", 700), ("cup-300", 1650), ("cup-450", 650))
    ]
    lines += [line("retired", cup_type="cup-300", quantity=203), line("unaccounted", cup_type="cup-450", quantity=31)]
    lines += [
        line("shipment", site=HUB, to="site-04", cup_type=c, quantity=n) for c, n in (("cup-300", 60), ("cup-450", 25))
    ]
    lines += [line("due", participant=p, amount=a) for p, a in (IN_ARREARS | OWED).items()]
    return lines


LINES = opening_lines()


def as_csv(rows, **how):
    text = io.StringIO()
    table = csv.DictWriter(text, list(dict.fromkeys(name for row in rows for name in row)), **how)
    table.writeheader()
    table.writerows(rows)
    return text.getvalue().encode()


FILES = {
    "/v1/cup-types": [
        {"cup_type": cup, "name": f"Cup of {cup[4:]} ml", "volume_ml": int(cup[4:]), "mass_g": int(cup[4:]) // 4}
        for cup in VALUES
    ],
    "/v1/participants": [
        {
            "participant": p,
            "name": p.title() + ', "the" Counter',
            "bank_account.account": f"0000{n:04}",
            "bank_account.bank_code": "GH-001",
            "mandate.id": f"M-{n}",
            "mandate.signed_on": "2025-04-01",
        }
        for n, p in enumerate(PARTICIPANTS)
    ],
    "/v1/sites": [
        {
            "site": site,
            "scheme": "gull-haven",
            "participant": owner_of(site),
            "name": f"Counter {site[-2:]}",
            "kind": kind_of(site),
            "opened_on": "2025-04-01",
        }
        for site in SITES
    ],
}
SCHEME = network.scheme(
    "gull-haven",
    FIRST,
    {cup: str(value) for cup, value in VALUES.items()},
    dual_control=True,
    operator={"name": "Gull Haven Cup Pool", "bank_account": {"account": "00009000", "bank_code": "GH-000"}},
    terms=[{"netting": "central", "service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}],
)


def cups_of(*whats, **cells):
    """Cups of each type on the lines of these kinds."""
    found = Counter()
    for row in LINES:
        if row["what"] in whats and all(row.get(name) == value for name, value in cells.items()):
            found[row["cup_type"]] += row["quantity"]
    return found


def worth(found):
    return sum((VALUES[cup] * n for cup, n in found.items()), Decimal(0))


def expected_balances():
    """Debits positive; cups as whole numbers, money with two decimals."""
    balances = {"bank": Decimal("8450.75")}
    for row in LINES:
        if row["what"] == "due":
            balances[f"arrears({row['participant']})"] = Decimal(row["amount"])
        elif row["what"] == "stock":
            account = "damaged" if row.get("condition") else "site_stock"
            balances[f"{account}({row['site']},{row['cup_type']})"] = row["quantity"]
    for what, account in (
        ("with_customers", "with_customers"),
        ("retired", "retired"),
        ("unaccounted", "unaccounted"),
        ("shipment", "in_transit"),
    ):
        balances |= {f"{account}({cup})": n for cup, n in cups_of(what).items()}
    every = cups_of("stock", "with_customers", "retired", "unaccounted", "shipment")
    balances |= {f"supply({cup})": -n for cup, n in every.items()}
    balances |= {f"customer_deposits({cup})": -VALUES[cup] * n for cup, n in cups_of("with_customers").items()}
    money = sum(v for v in balances.values() if isinstance(v, Decimal))
    return balances | {"operator_account": -money}


def post_csv(client, path, rows, query="", status=200):
    answer = client.send("POST", path + query, as_csv(rows), CSV)
    assert answer.status == status, answer.body
    return answer.json


def report(client, name, **query):
    return client.get(f"/v1/reports/{name}", scheme="gull-haven", **query)["items"]


class Moved:
    def __init__(self, service):
        self.service, self.admin = service, service.admin
        post_csv(self.admin, "/v1/cup-types", FILES["/v1/cup-types"])
        self.admin.load({"schemes": [SCHEME]})
        post_csv(self.admin, "/v1/participants", FILES["/v1/participants"])
        post_csv(self.admin, "/v1/sites", FILES["/v1/sites"])
        self.ann, self.ben = (service.client(service.create_key(name, "accountant")) for name in ("ann", "ben"))
        path = "/v1/schemes/gull-haven/opening"
        self.dry = self.ann.send("POST", path + "?dry_run=true", as_csv(LINES), CSV)
        self.proposed = post_csv(self.ann, path, LINES, status=202)
        self.again = self.ann.send("POST", path, as_csv(LINES, delimiter=";"), CSV)
        self.approved = self.ben.send("POST", f"/v1/openings/{self.proposed['event_id']}/approve")
        self.known = self.ann.send("POST", path, as_csv(LINES), CSV)
        self.opened = self.admin.accounts("gull-haven")
        self.admin.assert_holds()

    def trade(self):
        """Three days of it. The shipment arrives on the second, one cup short."""
        chosen, self.issued, self.returned = random.Random(3000), Counter(), Counter()
        [shipment] = self.admin.get(f"/v1/openings/{self.proposed['event_id']}")["event"]["shipments"]
        self.settlements = []
        for day in DAYS:
            events = []
            for _ in range(120):
                site, cup, n = chosen.choice(SITES[:18]), chosen.choice(list(VALUES)), chosen.randint(1, 3)
                kind = chosen.choice(["issue", "return"])
                (self.issued if kind == "issue" else self.returned)[cup] += n
                name = "issued" if kind == "issue" else "returned"
                line_of_cups = [{"cup_type": cup, "quantity": n}]
                events.append(event(kind, site, at(day, f"{chosen.randint(8, 20):02}:30"), **{name: line_of_cups}))
            if day == DAYS[1]:
                arrived = cups(cup_300=60, cup_450=24)
                events.append(
                    event("receipt", "site-04", at(day, "21:00"), cups=arrived, dispatch=shipment["dispatch"])
                )
            results = self.admin.post_many(events)
            assert {r["status"] for r in results} == {"recorded"}, results
            self.settlements.append(self.ann.close("gull-haven", day))
        self.admin.assert_holds()


@pytest.fixture(scope="module")
def moved(module_database):
    service = new_service(module_database)
    try:
        moved = Moved(service)
        moved.trade()
        yield moved
    finally:
        service.stop()


def test_two_people_open_it(moved):
    assert sum(cups_of("with_customers").values()) == 3000 and len(FILES["/v1/sites"]) == 20
    assert moved.dry.status in (200, 202) and moved.dry.json["dry_run"] and moved.dry.json["status"] == "proposed"
    assert moved.proposed["status"] == "proposed"
    assert moved.again.json["event_id"] == moved.proposed["event_id"] == moved.known.json["event_id"]
    assert (moved.again.status, moved.again.json["status"]) == (202, "proposed")
    assert moved.approved.status == 200, moved.approved.body
    assert (moved.known.status, moved.known.json["status"]) == (200, "duplicate")


def test_every_account_is_as_the_files_say(moved):
    found = {a: Decimal(v) if isinstance(v, str) else v for a, v in moved.opened.items() if Decimal(v) != 0}
    assert found == {a: v for a, v in expected_balances().items() if v != 0}


def entry_of_the_opening(moved):
    return moved.admin.get(f"/v1/events/{moved.proposed['event_id']}", scheme="gull-haven")


def test_the_entry_stands_first_and_balances(moved):
    entry = entry_of_the_opening(moved)
    assert entry["entry"] == 1 and entry["business_date"] == str(FIRST)
    sums = Counter()
    for leg in entry["legs"]:
        unit = leg["account"].rpartition(",")[2].rpartition("(")[2].rstrip(")") if "cups" in leg else "money"
        sums[unit] += leg["cups"] if "cups" in leg else Decimal(leg["amount"])
    assert set(sums.values()) == {0} and len(sums) == 1 + len(VALUES)


def movements(moved):
    """The cups that the trade added to those with customers, by type."""
    out = moved.issued.copy()
    out.subtract(moved.returned)
    return out


def test_deposit_cover_after_three_days(moved):
    """The opening's cups with customers, plus those that the trade moved, each at its value."""
    rows = report(moved.admin, "deposit-cover", as_of=DAYS[-1])
    customers = {r["cup_type"]: r for r in rows if r["section"] == "customers" and r["cup_type"]}
    for cup, n in cups_of("with_customers").items():
        with_customers = n + movements(moved)[cup]
        assert customers[cup]["cups"] == with_customers
        assert Decimal(customers[cup]["required"]) == Decimal(customers[cup]["held"]) == with_customers * VALUES[cup]
        assert Decimal(customers[cup]["difference"]) == 0


def test_stock_after_three_days(moved):
    rows = report(moved.admin, "stock", as_of=DAYS[-1])
    found, outside = Counter(), Counter()
    for row in rows:
        if row["site"]:
            found[row["cup_type"]] += row["sound"]
            found[row["cup_type"] + " damaged"] += row["damaged"] or 0
        else:
            outside[row["place"], row["cup_type"]] += row["sound"]
    arrived = {"cup-300": 60, "cup-450": 24}
    for cup in VALUES:
        sound = cups_of("stock", cup_type=cup)[cup] - cups_of("stock", condition="damaged", cup_type=cup)[cup]
        assert found[cup] == sound - movements(moved)[cup] + arrived.get(cup, 0)
        assert found[cup + " damaged"] == cups_of("stock", condition="damaged", cup_type=cup)[cup]
        for what, place in (("retired", "retired"), ("unaccounted", "unaccounted")):
            assert outside[place, cup] == cups_of(what, cup_type=cup)[cup]
        assert outside["in_transit", cup] == cups_of("shipment", cup_type=cup)[cup] - arrived.get(cup, 0)
        assert outside["with_customers", cup] == cups_of("with_customers")[cup] + movements(moved)[cup]


def test_the_trial_balance_of_the_last_day(moved):
    rows = {r["account"]: r for r in report(moved.admin, "trial-balance", as_of=DAYS[-1])}

    def balance(account):
        return Decimal(rows[account]["debit"] or 0) - Decimal(rows[account]["credit"] or 0)

    opened = expected_balances()
    assert balance("bank") == opened["bank"]
    assert balance("operator_account") == opened["operator_account"]
    for cup in VALUES:
        assert balance(f"supply({cup})") == opened[f"supply({cup})"]
        assert -balance(f"customer_deposits({cup})") == VALUES[cup] * (
            cups_of("with_customers")[cup] + movements(moved)[cup]
        )
    totals = [r for r in rows.values() if r["account"].startswith("total")]
    assert totals and all(Decimal(r["debit"]) == Decimal(r["credit"]) for r in totals)


def test_statements_begin_with_the_money_due(moved):
    for participant, amount in (IN_ARREARS | OWED).items():
        rows = report(moved.admin, "participant-statement", participant=participant, **{"from": FIRST, "to": FIRST})
        [arrears] = [r for r in rows if r["account"].startswith("arrears")]
        assert Decimal(arrears["settled"]) == -Decimal(amount), rows
        [position] = [p for p in moved.settlements[0]["positions"] if p["participant"] == participant]
        assert Decimal(position["arrears"]) == Decimal(amount)


def test_the_first_payouts_are_held(moved):
    payouts = [p for p in moved.settlements[0]["payments"] if p["from"] == "pool"]
    assert payouts and all("held" in p for p in payouts)


BANK = line("bank", amount="1.50")
STOCK = line("stock", site="site-01", cup_type="cup-300", quantity=3)
WRONG = {
    "lines that say the same": (
        [BANK, STOCK, {**STOCK, "quantity": 4}, line("due", participant="cuttle", amount="0.00")],
        [("/4/cup_type", "cup_type_repeated"), ("/5/amount", "out_of_range")],
    ),
    "a shipment to where it is": (
        [BANK, line("shipment", site=HUB, to=HUB, cup_type="cup-300", quantity=3), STOCK],
        [("/3/to", "same_site")],
    ),
    "unknown things": (
        [
            line("bank", amount="1.5"),
            {**STOCK, "site": "site-77"},
            line("retired", cup_type="cup-999", quantity=4),
            line("shipment", site=HUB, to="nowhere", cup_type="cup-998", quantity=3),
            line("due", participant="nobody", amount="1.00"),
        ],
        [
            ("/2/amount", "amount_decimals"),
            ("/3/site", "site_unknown"),
            ("/4/cup_type", "cup_type_unknown"),
            ("/5/to", "site_unknown"),
            ("/5/cup_type", "cup_type_unknown"),
            ("/6/participant", "participant_unknown"),
        ],
    ),
    "cells of another kind of line": (
        [{**BANK, "site": "site-01"}, line("shipment", site=HUB, cup_type="cup-300", quantity=3)],
        [("/2/site", "member_unknown"), ("/3/to", "member_missing")],
    ),
}


@pytest.fixture(scope="module")
def unopened():
    """The same network without an opening."""
    database = Database()
    service = new_service(database)
    try:
        for path in ("/v1/cup-types", "/v1/participants"):
            post_csv(service.admin, path, FILES[path])
        service.admin.load({"schemes": [SCHEME]})
        post_csv(service.admin, "/v1/sites", FILES["/v1/sites"])
        yield service.admin
    finally:
        service.stop()
        database.drop()


@pytest.mark.parametrize("name", WRONG)
def test_faults_of_an_opening_name_the_line(unopened, name):
    rows, expected = WRONG[name]
    answer = unopened.send("POST", "/v1/schemes/gull-haven/opening?dry_run=true", as_csv(rows), CSV)
    assert answer.status >= 400, answer.body
    assert sorted((fault["pointer"], fault["reason"]) for fault in answer.json["errors"]) == sorted(expected)
    for fault in answer.json["errors"]:
        number, _, column = fault["pointer"].removeprefix("/").partition("/")
        assert fault["detail"].startswith(f"line {number}, column {column}: "), fault


def test_other_refusals_of_an_opening(unopened):
    def refused(query, status, reason, scheme="gull-haven", body=as_csv([BANK, STOCK]), headers=CSV):
        answer = unopened.send("POST", f"/v1/schemes/{scheme}/opening{query}", body, headers)
        assert (answer.status, answer.json["reason"]) == (status, reason), answer.body

    refused("?event_id=7", 422, "parameter_invalid")
    refused("", 404, "not_found", scheme="fog")
    refused("", 422, "member_missing", body=as_csv([STOCK]))
    refused("", 415, "unsupported_media_type", headers={"Content-Type": "application/x-ndjson"})
    refused("", 400, "not_csv", body=b"")


def test_the_id_may_be_given(unopened):
    own = "6f1c0d9e-6a1b-4c55-9d0e-3b1f6f2a7c10"
    path = f"/v1/schemes/gull-haven/opening?dry_run=true&event_id={own}"
    assert post_csv(unopened, path, [BANK, STOCK], status=200)["event_id"] == own
