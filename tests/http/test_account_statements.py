# SPDX-License-Identifier: ISC
"""A statement of account as its owner reads it. The accounting contract wants the dealings of each day, fees and taxes
gross, the payments, the closing balance in words, and the sites; and the same sums as JSON, CSV and page."""
import csv
import io
from datetime import timedelta
from decimal import Decimal

import pytest

import network
from network import WORKED_DAY, business_day
from pages import Page, label, tidy

NEXT_DAY, LAST_DAY = WORKED_DAY + timedelta(days=1), WORKED_DAY + timedelta(days=2)
HTML = {"Accept": "text/html"}
ACTIVITY = "Each day and payment, with the balance after it"
DUE, SITES = "What the closing balance is made of", "The days by site"
SUMS = (
    *("collected", "refunded", "service_fee", "service_tax", "handling_fee", "handling_tax"),
    *("standing_fee", "standing_tax", "transfers_and_losses", "other", "paid"),
)


class Owners:
    """The worked example, whose first two days are closed. Nobody owes or gets less than 1.00. A standing fee is due on
    no day of it."""

    def __init__(self, service):
        self.service, self.admin = service, service.admin
        reference = network.worked_reference("on_loan", minimum_payment="1.00")
        reference["schemes"][0]["operator"] = {
            "name": "Bay Cups & Co.",
            "bank_account": {"account": "7788", "bank_code": "0001-234"},
        }
        self.admin.load(reference)
        self.admin.post_many(network.worked_events())
        self.admin.close("tern-bay", WORKED_DAY)
        self.admin.close("tern-bay", NEXT_DAY)
        self.clients = {
            who: service.client(service.create_key(f"{who}-office", "participant", participant=who))
            for who in ("hearth", "miller", "quay")
        }
        self.ann = service.client(service.create_key("ann", "accountant"))
        self.payments = {(p["from"], p["to"]): p["payment_id"] for p in self.settlement()["payments"]}

    def settlement(self):
        return self.admin.get(f"/v1/settlements/tern-bay/{WORKED_DAY}")

    def target(self, first=WORKED_DAY, last=LAST_DAY, more=""):
        return f"/v1/reports/statement-of-account?scheme=tern-bay&from={first}&to={last}{more}"

    def rows(self, who, *days):
        return self.clients[who].get(self.target(*days))["items"]

    def page(self, client, *days, more=""):
        answer = client.send("GET", self.target(*days, more=more), headers=HTML)
        assert answer.status == 200 and tidy(answer.body) == "", tidy(answer.body)
        return Page(answer.body)

    def words(self, who, *days):
        page = self.page(self.clients[who], *days)
        return [p.text for p in page.all("p") if p.has_class("due")]


@pytest.fixture
def owners(service):
    return Owners(service)


def part(rows, section):
    return [r for r in rows if r["section"] == section]


def test_the_days_of_the_worked_example(owners):
    """The contract's table, from hearth's side. Amounts that it owes have a minus, and each fee and
    tax stands alone."""
    rows = owners.rows("hearth")
    [opening], [day], [closing] = (part(rows, s) for s in ("opening", "day", "closing"))
    assert (opening["date"], opening["balance"]) == (str(WORKED_DAY), "0.00")
    assert (day["date"], day["balance"], day["amount"]) == (str(WORKED_DAY), "-101.78", "-101.78")
    figures = {k: day[k] for k in SUMS if day[k] not in (None, "0.00")}
    assert figures == {
        "collected": "-118.00",
        "refunded": "21.00",
        "service_fee": "-4.40",
        "service_tax": "-0.66",
        "handling_fee": "0.24",
        "handling_tax": "0.04",
    }
    assert (closing["date"], closing["balance"]) == (str(LAST_DAY), "-101.78")
    assert [r["name"] for r in rows[:2]] == ["Bay Cups & Co.", owners.admin.get("/v1/participants/hearth")["name"]]
    sites = {r["site"]: r for r in part(rows, "site")}
    assert {code: row["amount"] for code, row in sites.items()} == {"anchor": "-114.60", "copper": "12.82"}
    assert part(rows, "sites")[0]["amount"] == "-101.78"
    assert {r["payment_id"]: r["amount"] for r in part(rows, "due")} == {
        owners.payments["hearth", "miller"]: "-56.01",
        owners.payments["hearth", "pool"]: "-45.77",
    }


def test_what_is_due_in_words(owners):
    """They speak of the payments as they are now, and of what is left at the end of the period."""
    due = f"{NEXT_DAY.day} {NEXT_DAY:%B %Y}"
    assert owners.words("hearth") == [f"You will pay 101.78 CAD on {due}. These are 2 payments."]
    assert owners.words("miller") == [f"You will receive 56.01 CAD on {due}."]
    assert owners.words("quay") == ["Not settled yet, you are owed 0.41 CAD."]
    assert owners.words("hearth", WORKED_DAY - timedelta(days=9), WORKED_DAY - timedelta(days=1)) == []
    paid = f"/v1/payments/{owners.payments['hearth', 'miller']}"
    for act, body in (("approve", None), ("confirm", None)):
        assert owners.ann.send("POST", f"{paid}/{act}", body).status == 200
    assert owners.words("miller", WORKED_DAY, LAST_DAY) == [
        f"After these days you have received 56.01 CAD, due on {due}."
    ]
    today = business_day()
    assert owners.words("miller", WORKED_DAY, today) == ["Nothing is due."]
    rows = owners.rows("miller", WORKED_DAY, today)
    [payment], [closing] = part(rows, "payment"), part(rows, "closing")
    assert (payment["item"], payment["payment_id"]) == ("confirmed", owners.payments["hearth", "miller"])
    assert (payment["paid"], payment["balance"], closing["balance"], closing["paid"]) == (
        *("-56.01", "0.00", "0.00", "-56.01"),
    )
    assert owners.ann.send("POST", f"{paid}/fail", {"reason": "sent back"}).status == 200
    assert owners.words("miller", WORKED_DAY, today) == ["The next settlement takes up what you are owed: 56.01 CAD."]
    undone = part(owners.rows("miller", WORKED_DAY, today), "payment")[-1]
    assert (undone["item"], undone["paid"], undone["balance"]) == ("failed", "56.01", "56.01")


def shown(page, caption):
    """The rows of a table and its totals, each {heading: text}."""
    table = next(t for t in page.all("table") if t.first("caption").text == caption)
    foot = [c.text for row in table.first("tfoot").all("tr") for c in row.all("th", "td")]
    return page.table(caption), dict(zip((th.text for th in table.first("thead").all("th")), foot))


def test_json_csv_and_page_tell_the_same(owners):
    rows, client = owners.rows("hearth"), owners.clients["hearth"]
    answer = client.send("GET", owners.target(more="&format=csv"))
    read = list(csv.DictReader(io.StringIO(answer.body.decode(), newline="")))
    ends = {"scheme": "tern-bay", "currency": "CAD"}
    assert read == [{k: "" if v is None else v for k, v in {**r, **ends}.items()} for r in rows]
    name = f'attachment; filename="statement-of-account_tern-bay_{WORKED_DAY}_{LAST_DAY}.csv"'
    assert answer.headers["Content-Disposition"] == name
    page = owners.page(client)
    lines, foot = shown(page, ACTIVITY)
    wanted = [r for r in rows if r["section"] in ("opening", "day", "payment")]
    used = [k for k in SUMS if any(r[k] and Decimal(r[k]) for r in wanted)]
    assert list(foot) == ["Date", "What", *map(label, used), "Balance"]
    for line, row in zip([*lines, foot], [*wanted, *part(rows, "closing")], strict=True):
        assert line["Date"] == row["date"] and (row["payment_id"] or "") in line["What"]
        assert {k: line[label(k)] for k in (*used, "balance")} == {k: row[k] or "" for k in (*used, "balance")}
    lines, foot = shown(page, DUE)
    assert [(r["Payment"], r["Amount"]) for r in lines] == [(r["payment_id"], r["amount"]) for r in part(rows, "due")]
    assert foot["Amount"] == part(rows, "closing")[0]["balance"]
    lines, foot = shown(page, SITES)
    assert [(r["Site"], r["Amount"]) for r in lines] == [(r["name"], r["amount"]) for r in part(rows, "site")]
    assert {k: foot[label(k)] for k in used} == {k: part(rows, "sites")[0][k] for k in used}
    [section] = [s for s in page.all("section") if s.has_class("statement")]
    assert [dd.text for dd in section.first("dl").all("dd")] == ["Bay Cups & Co.", rows[1]["name"]]


def test_figures_lead_to_their_rows(owners):
    page = owners.page(owners.clients["hearth"])
    of_day = f"/v1/reports/participant-statement?scheme=tern-bay&participant=hearth&from={WORKED_DAY}&to={WORKED_DAY}"
    fees = f"/v1/reports/fees?scheme=tern-bay&participant=hearth&from={WORKED_DAY}&to={WORKED_DAY}"
    site = f"/v1/reports/site-statement?scheme=tern-bay&site=anchor&from={WORKED_DAY}&to={LAST_DAY}"
    fees_of_site = f"/v1/reports/fees?scheme=tern-bay&site=anchor&from={WORKED_DAY}&to={LAST_DAY}"
    wanted = {
        of_day,
        site,
        *(f"{each}&fee=service" for each in (fees, fees_of_site)),
        site.replace("site-statement", "site-figures") + "&figure=collected",
        *(f"/v1/payments/{owners.payments['hearth', to]}" for to in ("miller", "pool")),
    }
    assert wanted <= set(page.links)
    for link in sorted(wanted):
        assert owners.clients["hearth"].send("GET", link, headers=HTML).status == 200, link
    listed = owners.clients["hearth"].get(fees)["items"]
    day = part(owners.rows("hearth"), "day")[0]
    for fee, sign in (("service", -1), ("handling", 1)):
        of = [r for r in listed if r["fee"] == fee]
        assert sum(sign * Decimal(r["amount"]) for r in of) == Decimal(day[f"{fee}_fee"])
        assert sum(sign * Decimal(r["tax"] or 0) for r in of) == Decimal(day[f"{fee}_tax"])
    anchor = next(r for r in part(owners.rows("hearth"), "site") if r["site"] == "anchor")
    listed, days = owners.clients["hearth"].get(fees_of_site)["items"], owners.clients["hearth"].get(site)["items"]
    assert sum(Decimal(r["amount"]) for r in listed if r["fee"] == "handling") == Decimal(anchor["handling_fee"])
    assert -sum(Decimal(r["collected"]) for r in days) == Decimal(anchor["collected"])


def test_it_explains_what_it_shows(owners):
    """Only the columns that the page has, in the reader's language."""
    page = owners.page(owners.clients["hearth"])
    [legend] = [s for s in page.all("section") if s.has_class("legend")]
    explained = [dt.text for dt in legend.all("dt")]
    shown = {th.text for table in page.all("table") for th in table.first("thead").all("th")}
    assert explained and set(explained) <= shown and "Standing fee" not in explained
    answer = owners.clients["hearth"].send("GET", owners.target(), headers={**HTML, "Accept-Language": "fr"})
    page, due = Page(answer.body), NEXT_DAY.day if NEXT_DAY.day > 1 else "1er"
    assert page.root.first("h1").text == "Relevé de compte"
    [words] = [p.text for p in page.all("p") if p.has_class("due")]
    assert words.startswith(f"Vous paierez 101.78 CAD le {due} ") and words.endswith(" Ce sont 2 paiements.")
    assert not [e.text for e in page.all() if e.get("lang") == "en"]


def test_the_office_prints_those_of_all(owners):
    """One below the other, in the order of their codes, each as its owner sees it."""
    page = owners.page(owners.ann)
    sections = [s for s in page.all("section") if s.has_class("statement")]
    names = [owners.admin.get(f"/v1/participants/{p}")["name"] for p in ("hearth", "miller", "quay")]
    assert [s.first("h2").text for s in sections] == names
    for section, name in zip(sections, names):
        running = [row.text for row in section.all("tr") if row.has_class("running")]
        assert running and all(f" {WORKED_DAY} {LAST_DAY}, {name}: " in line for line in running), "on each sheet"
    assert [[p.text for p in s.all("p") if p.has_class("due")] for s in sections] == [
        owners.words(who) for who in ("hearth", "miller", "quay")
    ]
    [own] = [s for s in owners.page(owners.ann, more="&participant=quay").all("section") if s.has_class("statement")]
    assert [[c.text for c in row.all("th", "td")] for row in own.all("tr") if not row.has_class("running")] == [
        [c.text for c in row.all("th", "td")] for row in sections[2].all("tr") if not row.has_class("running")
    ]
    owners.clients["hearth"].refused("GET", owners.target(more="&participant=quay"), None, 422, "parameter_invalid")
    assert {r["participant"] for r in owners.rows("hearth")} == {"hearth"}


def test_a_long_list_of_participants_is_cut(service):
    """Between two of them, and the page says so."""
    sites = {f"site-{n:03}": ("tern-bay", f"owner-{n:03}") for n in range(130)}
    service.admin.load(network.reference([network.scheme("tern-bay", WORKED_DAY, {"cup-300": "2.50"})], sites))
    answer = service.admin.send(
        "GET", f"/v1/reports/statement-of-account?scheme=tern-bay&to={WORKED_DAY}", headers=HTML
    )
    page = Page(answer.body)
    shown = [s for s in page.all("section") if s.has_class("statement")]
    assert 50 < len(shown) < 130 and "There are more participants." in page.source
    assert len(answer.body) < 1_000_000
    assert (
        len({r["participant"] for r in service.admin.items("/v1/reports/statement-of-account", scheme="tern-bay")})
        == 130
    )
