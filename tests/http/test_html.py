# SPDX-License-Identifier: ISC
"""Pages show the figures of the JSON, to the cent. No text of the ledger can break out of its place. Each page is
valid, accessible and without script. An accountant gets from the index down to an event by links alone."""
import re
from collections import Counter
from datetime import datetime, timedelta
from decimal import Decimal
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import pytest

import network
from network import WORKED_DAY, at, cups, event
from pages import Page, label, tidy

NEXT_DAY = WORKED_DAY + timedelta(days=1)
BROWSER = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
HOSTILE = [
    '<script>alert("1")</script>',
    '"><img src=x onerror=alert(2)>',
    "'; & &amp; </td></table>",
    "<!-- ]]> --> \u202e\u2603",
]
NEEDED = {"day": str(WORKED_DAY), "account": "site_clearing(anchor)"}  # the parameters that a report requires
KINDS_EACH = 3  # pages of one kind that the crawl reads


class Net:
    """The worked example, closed, with hostile names and references, and a second scheme."""

    def __init__(self, service):
        self.service, self.admin = service, service.admin
        document = network.worked_reference("on_deposit")
        document["schemes"].append(
            network.scheme(
                "skerry",
                WORKED_DAY,
                {"cup-300": "200"},
                currency="ISK",
                terms=[{"minimum_payment": "0", "service_fee": "0", "handling_fee": "0"}],
            )
        )
        document["sites"] += network.reference([], {"gull": ("skerry", "hearth")})["sites"]
        for row, name in zip([*document["sites"], *document["participants"]], HOSTILE * 3):
            row["name"] = name
        document["schemes"][0]["operator"] = {
            "name": HOSTILE[1],
            "bank_account": {"account": "1000042", "bank_code": "000300002"},
        }
        self.admin.load(document)
        self.hostile = [
            event("issue", "anchor", at(NEXT_DAY), issued=cups(cup_300=1), reference=text) for text in HOSTILE
        ]
        self.large = event("issue", "gull", at(WORKED_DAY), issued=cups(cup_300=12345))
        for e in [*network.worked_events(), *self.hostile, self.large]:
            self.admin.post(e)
        self.admin.close("tern-bay", WORKED_DAY)
        self.till_key = service.create_key("anchor-till", "pos", sites=["anchor"])
        self.till = service.client(self.till_key)
        self.miller = service.client(service.create_key("miller-office", "participant", participant="miller"))

    def page(self, target, client=None, status=200):
        """Follows a page that leads to another."""
        answer = (client or self.admin).send("GET", target, headers=BROWSER)
        if answer.status == 303:
            return self.page(answer.headers["Location"], client, status)
        assert answer.status == status, f"{target}: {answer.status} {answer.body[:500]}"
        assert answer.headers["Content-Type"] == "text/html; charset=utf-8", target
        page = Page(answer.body)
        page.answer = answer
        return page


@pytest.fixture(scope="module")
def net(shared):
    return Net(shared)


def kind_of(target):
    """The route, with the name of a report: pages of the same kind are made alike."""
    path = target.partition("?")[0]
    if path.startswith("/v1/reports/"):
        return path
    parts = path.split("/")
    return "/".join(
        part if i < 3 or part in ("terms", "refund-values", "days", "proof", "files") else "{}"
        for i, part in enumerate(parts)
    )


def crawl(net, client):
    """Follows only links, from the index, and reads some pages of each kind."""
    pages, waiting, read = {}, ["/"], Counter()
    while waiting:
        target = waiting.pop(0)
        if target in pages or read[kind_of(target)] >= KINDS_EACH:
            continue
        read[kind_of(target)] += 1
        pages[target] = net.page(target, client)
        waiting += pages[target].links
    return pages


@pytest.fixture(scope="module")
def crawled(net):
    return crawl(net, net.admin)


# Every page that links lead to ----------------------------------------------------------------------------------------
def test_links_lead_to_every_kind_of_page(net, crawled):
    kinds = {kind_of(target) for target in crawled}
    assert {
        f"/v1/reports/{r['report']}"
        for r in net.admin.get("/v1/reports")["items"]
        if not any(p["required"] and p["name"] != "scheme" for p in r["parameters"])
    } <= kinds
    assert {
        "/",
        "/v1/settlements",
        "/v1/settlements/{}/{}",
        "/v1/events",
        "/v1/events/{}",
        "/v1/schemes/{}/days",
        "/v1/sites/{}",
        "/v1/participants/{}",
        "/v1/checks",
        "/v1/accounts",
        "/v1/reports",
        "/v1/me",
    } <= kinds


@pytest.mark.parametrize("role", ["till", "miller"])
def test_links_lead_a_bound_key_only_where_it_may_go(net, role):
    """crawl() fails at the first page that is refused."""
    pages = crawl(net, getattr(net, role))
    assert len(pages) > 10
    other = "brick" if role == "till" else "anchor"
    assert not any(f"site={other}" in target or target.endswith(f"/{other}") for target in pages)


def test_the_other_party_to_a_payment_is_named_and_no_more(service):
    """The payment is between participants. Each sees the other's code, but may not read the other's statement."""
    service.admin.load(network.worked_reference("on_loan"))
    service.admin.post_many(network.worked_events())
    service.admin.close("tern-bay", WORKED_DAY)
    quay = service.client(service.create_key("quay-office", "participant", participant="quay"))
    target = f"/v1/settlements/tern-bay/{WORKED_DAY}"
    payments = [(p["from"], p["to"]) for p in quay.get(target)["payments"]]
    page = Page(quay.send("GET", target, headers=BROWSER).body)
    linked = {named[1] for a in page.all("a") if (named := re.search(r"participant=(\w+)", a.get("href")))}
    assert payments == [("hearth", "quay")] and linked == {"quay"} and "hearth" in page.source
    assert all(quay.send("GET", link, headers=BROWSER).status == 200 for link in page.links)


def test_every_page_is_valid(crawled):
    """HTML Tidy, Debian's validator."""
    assert {target: found for target, page in crawled.items() if (found := tidy(page.answer.body))} == {}


def test_no_page_has_anything_that_the_policy_would_have_to_allow(crawled):
    for target, page in crawled.items():
        headers = page.answer.headers
        assert headers["Content-Security-Policy"] == (
            "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
        )
        assert (headers["X-Content-Type-Options"], headers["Referrer-Policy"], headers["Cache-Control"]) == (
            "nosniff",
            "no-referrer",
            "no-store",
        )
        for element in page.all():
            assert element.tag not in ("script", "style", "iframe", "object", "embed", "img", "base"), target
            assert not [a for a in element.attributes if a.startswith("on") or a == "style"], (
                target,
                element.attributes,
            )
            for name in ("href", "src", "action"):
                assert element.get(name) is None or element.get(name).startswith(("/", "#")), (
                    target,
                    element.attributes,
                )


def test_every_page_is_accessible(crawled):
    """WCAG 2.1: 1.3.1 and 2.4.6 headings and tables, 1.1.1 pictures, 2.4.1 skip link, 2.4.2 title, 3.1.1 language,
    3.3.2 and 4.1.2 labels."""
    for target, page in crawled.items():
        assert page.root.first("html").get("lang") == "en" and page.root.first("title").text.startswith(page.title)
        assert page.all("a")[0].get("href") == "#content" and page.root.first("main").get("id") == "content"
        levels = [int(h.tag[1]) for h in page.all("h1", "h2", "h3")]
        assert levels[0] == 1 and levels.count(1) == 1, target
        assert all(b - a <= 1 for a, b in zip(levels, levels[1:])), (target, levels)
        ids = [e.get("id") for e in page.all() if e.get("id")]
        assert len(ids) == len(set(ids)), (target, ids)
        for table in page.all("table"):
            assert table.first("caption").text and table.parent.get("tabindex") == "0"
            assert table.parent.get("aria-label")
            assert {th.get("scope") for th in table.first("thead").all("th")} == {"col"}
            assert {th.get("scope") for body in table.all("tbody") for th in body.all("th")} <= {"row"}
        for svg in page.all("svg"):
            name, description = svg.children[:2]
            assert (svg.get("role"), name.tag, description.tag) == ("img", "title", "desc") and name.text
            assert description.text
        for field in page.all("input", "select"):
            if field.get("type") == "hidden":
                continue
            assert field.parent.tag == "label" and field.parent.text.strip(), target
        assert all(a.text.strip() for a in page.all("a")), target


ACCOUNTANTS_WALK = (
    r"/v1/settlements/tern-bay/",
    r"/v1/reports/\w+-statement\?",
    r"/v1/reports/journal\?",
    r"/v1/events/.{36}",
)


def walk(page_of, links_of, *steps):
    """Goes from the index by links alone, with each step to a page whose target matches; turns back from dead ends."""

    def go(target, rest):
        page = page_of(target)
        if not rest:
            return page
        for link in links_of(page):
            if re.match(rest[0], link) and (found := go(link, rest[1:])):
                return found
        return None

    return go("/", steps)


def test_an_accountant_walks_by_links_alone(net):
    reached = walk(net.page, lambda page: page.links, *ACCOUNTANTS_WALK)
    assert reached and reached.title == "Event" and reached.table("Legs")


def test_a_settlement_leads_to_the_events_of_its_day(net):
    reached = walk(
        net.page, lambda page: page.links, r"/v1/settlements/tern-bay/", r"/v1/events\?", r"/v1/events/.{36}"
    )
    assert reached and reached.facts["Business date"] == str(NEXT_DAY) and reached.table("Legs")


# Pages against the JSON -----------------------------------------------------------------------------------------------
def test_reports_say_what_the_json_says(net):
    compared = 0
    for described in net.admin.get("/v1/reports")["items"]:
        asked = {
            "scheme": "tern-bay",
            **{
                p["name"]: NEEDED[p["kind"]] for p in described["parameters"] if p["required"] and p["kind"] != "scheme"
            },
        }
        for parameter in described["parameters"]:
            if parameter.get("description", "").endswith("but on pages"):  # whose default is the first value
                asked[parameter["name"]] = parameter["values"][0]
        path = f"/v1/reports/{described['report']}"
        if described["report"] in ("settlement", "statement-of-account", "deposit-cover", "count-sheet"):
            continue  # their pages have other tests
        report = net.admin.get(path, **asked)
        page = net.page(f"{path}?{urlencode(asked)}")
        rows = page.table(described["title"])
        # A page leaves out columns that are empty without a parameter that was not given.
        heads = {th.text for th in page.root.first("thead").all("th")}
        left_out = [k for k in report["columns"] if label(k) not in heads]
        assert not [item for item in report["items"] if any(item[k] is not None for k in left_out)], path
        assert all("of the period" in c["title"] for c in described["columns"] if c["name"] in left_out), path
        assert rows == [
            {label(k): "" if v is None else str(v) for k, v in item.items() if label(k) in heads}
            for item in report["items"]
        ], path
        kinds = {label(c["name"]): c["kind"] for c in described["columns"]}
        for th in page.root.first("thead").all("th"):
            assert th.has_class("n") == (kinds[th.text] != "text"), (path, th.text)
        compared += sum(len(row) for row in rows)
    assert compared > 300


def foot_of(page, caption):
    """The totals below a table, {heading: text}."""
    table = next(t for t in page.all("table") if t.first("caption").text == caption)
    return dict(
        zip((th.text for th in table.first("thead").all("th")), (c.text for c in table.first("tfoot").all("th", "td")))
    )


def test_the_deposit_cover_is_two_statements(net):
    """Sites are added up by cup type; the totals, the funding and its causes are those of the report."""
    target = f"/v1/reports/deposit-cover?scheme=tern-bay&as_of={WORKED_DAY}"
    items, page = net.admin.items("/v1/reports/deposit-cover", scheme="tern-bay", as_of=WORKED_DAY), net.page(target)
    words = {"customers": "With customers", "stock": "At sites", "transit": "On the road"}
    figures = ("required", "held", "to_come", "difference")
    sums = Counter()
    for item in items:
        if item["section"] in words:
            place = item["cup_type"], words[item["section"]]
            for key in (place, (item["cup_type"], "Total"), "all"):
                sums[key, "cups"] += item["cups"]
                for figure in figures:
                    sums[key, figure] += Decimal(item[figure])
    caption = "Deposits against the refund value of the cups"
    rows = page.table(caption)
    assert {(r["Cup type"], r["Where"]) for r in rows} == {key for key, _ in sums if key != "all"} and len(rows) == 7
    for row in rows:
        key = row["Cup type"], row["Where"]
        assert int(row["Cups"]) == sums[key, "cups"]
        for figure in figures:
            assert Decimal(row[label(figure)]) == sums[key, figure], (key, figure)
    foot = foot_of(page, caption)
    assert [Decimal(foot[label(f)]) for f in figures] == [sums["all", f] for f in figures] and foot["Cups"] == ""
    assert sums["all", "held"] > 0 and sums["all", "difference"] == 0
    funding = {i["item"]: i for i in items if i["section"] == "funding"}
    surplus = funding["surplus"]["difference"]
    shown = {r["Account"]: Decimal(r["Amount"]) for r in page.table("The money that the deposits are held in")}
    money = {label(k): Decimal(i["held"]) for k, i in funding.items() if i["held"] and k != "surplus"}
    owed = {label(k): -Decimal(i["required"]) for k, i in funding.items() if i["required"] and k != "surplus"}
    totals = {"Money against the deposits": sum(money.values()), "Deposits owed": sum(owed.values())}
    assert shown == {**money, **owed, **totals} and "Bank" in money and "Customer deposits" in owed
    assert foot_of(page, "The money that the deposits are held in") == {"Account": "Surplus", "Amount": surplus}
    causes = {r["Cause"]: Decimal(r["Amount"]) for r in page.table("Where the surplus comes from")}
    assert causes == {
        label(k): Decimal(i["difference"]) for k, i in funding.items() if not i["held"] and not i["required"]
    }
    assert foot_of(page, "Where the surplus comes from") == {"Cause": "Surplus", "Amount": surplus}
    assert sum(causes.values()) == Decimal(surplus) > 0 and causes["Unexplained"] == 0


def test_totals_stand_out(net):
    page = net.page("/v1/reports/trial-balance?scheme=tern-bay")
    totals = [row for row in page.all("tr") if row.has_class("total")]
    assert [row.children[0].text for row in totals] == ["total"] * 3
    assert not [a for row in totals for a in row.all("a")]


@pytest.mark.parametrize(
    "report, totals",
    [
        (f"tax?scheme=tern-bay&from={WORKED_DAY}&to={WORKED_DAY}", {"What": {"total"}}),
        (f"income-statement?scheme=tern-bay&from={WORKED_DAY}&to={WORKED_DAY}", {"Account": {"total"}}),
        (f"journal-summary?scheme=tern-bay&from={WORKED_DAY}&to={WORKED_DAY}", {"Line": {"total"}}),
        ("general-ledger?scheme=tern-bay&account=refund_variance", {"Kind": {"movement", "closing"}}),
        ("withdrawable?scheme=tern-bay", {"Step": {"withdrawable", "shortfall"}}),
    ],
)
def test_a_report_says_which_rows_are_totals(net, report, totals):
    page = net.page(f"/v1/reports/{report}")
    [(head, words)] = totals.items()
    place = [th.text for th in page.root.first("thead").all("th")].index(head)
    rows = list(page.root.first("tbody").all("tr"))
    marked = [row.has_class("total") for row in rows]
    assert marked == [list(row.all("th", "td"))[place].text in words for row in rows] and any(marked)


def test_a_trial_balance_of_a_period_shows_its_columns(net):
    page = net.page(f"/v1/reports/trial-balance?scheme=tern-bay&from={WORKED_DAY}&as_of={WORKED_DAY}")
    heads = [th.text for th in page.root.first("thead").all("th")]
    assert heads[-4:] == ["Opening debit", "Opening credit", "Movement debit", "Movement credit"]
    assert [a for a in page.links if f"&from={WORKED_DAY}&to={WORKED_DAY}" in a and "account=bank" not in a]


def turned(amount):
    return amount[1:] if amount.startswith("-") else amount if not Decimal(amount) else f"-{amount}"


OF_SITE = ("brought_forward", "collected", "refunded", "fees", "tax", "stock", "other", "net")


def own_side(site, participants):
    """A site's line in the JSON, which has the pool's side, as the reader's own side: an amount to pay has a minus."""
    return {k: turned(site[k]) if participants != (k == "refunded") else site[k] for k in OF_SITE}


@pytest.mark.parametrize("reader", ["admin", "miller"])
def test_the_settlement_says_what_the_json_says(net, reader):
    client, participants = getattr(net, reader), reader == "miller"
    target = f"/v1/settlements/tern-bay/{WORKED_DAY}"
    json, page = client.get(target), net.page(target, client)
    rows = page.table("Positions")
    sites = {s["site"]: own_side(s, participants) for p in json["positions"] for s in p["sites"]}
    assert {r["Site"]: {k: r[label(k)] for k in OF_SITE} for r in rows if r["Site"]} == sites
    for row in rows:
        parts = sum(Decimal(row[label(k)]) for k in OF_SITE[:-1])
        assert parts == Decimal(row["Net"]), "each row adds up"
    assert any(a.get("href").startswith("/v1/reports/fees?") for a in page.all("a")), "each fee is a page further"
    own = [r for r in rows if not r["Site"]]
    side = turned if participants else str
    assert {r["Participant"]: (r["Position"], r["Arrears"]) for r in own} == {
        p["participant"]: (side(p["amount"]), side(p["arrears"])) for p in json["positions"]
    }
    assert all(Decimal(r["Net"]) + Decimal(r["Arrears"]) == Decimal(r["Position"]) for r in own)
    assert [(r["From"], r["To"], r["Amount"], r["Payment id"]) for r in page.table("Payments")] == [
        (p["from"], p["to"], p["amount"], p["payment_id"]) for p in json["payments"]
    ]
    assert {k: page.facts[label(k)] for k in json["seal"]} == {k: str(v) for k, v in json["seal"].items()}
    assert page.all("rect") == [] if participants else len(page.all("rect")) == len(json["positions"]), "bars"
    assert "two people approve" in page.source


def test_the_settlement_has_totals_by_meaning_and_of_each_column(net):
    target = f"/v1/settlements/tern-bay/{WORKED_DAY}"
    json, page = net.admin.get(target), net.page(target)
    totals, amounts = json["totals"], [Decimal(p["amount"]) for p in json["positions"]]
    assert Decimal(totals["to_collect"]) == sum(a for a in amounts if a > 0) > 0
    assert Decimal(totals["to_pay_out"]) == -sum(a for a in amounts if a < 0)
    settles = {r["What"]: r["Amount"] for r in page.table("What this close settles")}
    assert settles == {
        "To collect from participants": totals["to_collect"],
        "To pay out to participants": turned(totals["to_pay_out"]),
    }
    assert (
        Decimal(foot_of(page, "What this close settles")["Amount"])
        == sum(map(Decimal, settles.values()))
        == sum(amounts)
    )
    states = page.table("How far the payments are")
    assert [(r["Payments"], r["Amount"]) for r in states] == [
        (str(s["payments"]), s["amount"]) for s in totals["by_status"].values()
    ]
    foot = foot_of(page, "How far the payments are")
    assert (foot["Payments"], foot["Amount"]) == (str(totals["payments"]), totals["paid"])
    rows, foot = page.table("Positions"), foot_of(page, "Positions")
    for k in (label(k) for k in OF_SITE):
        assert Decimal(foot[k]) == sum(Decimal(r[k]) for r in rows if r["Site"]), k
    assert Decimal(foot["Position"]) == sum(amounts) and foot["Participant"] == "Total"
    assert foot_of(page, "Payments")["Amount"] == totals["paid"]


def test_a_state_of_payments_leads_to_these_payments(net):
    target = f"/v1/settlements/tern-bay/{WORKED_DAY}"
    table = next(t for t in net.page(target).all("table") if t.first("caption").text == "How far the payments are")
    followed = 0
    for row in [*table.first("tbody").all("tr"), *table.first("tfoot").all("tr")]:
        links = {a.get("href") for a in row.all("a")}
        count, amount = [c.text for c in row.all("td")]
        if int(count) == 0:
            assert not links
            continue
        [link] = links
        listed = net.page(link).table()
        assert len(listed) == int(count) and sum(Decimal(r["Amount"]) for r in listed) == Decimal(amount)
        followed += 1
    assert followed == 2, "the payments that wait, and all"


def test_the_report_of_a_settlement_leads_to_its_page(net):
    target = f"/v1/settlements/tern-bay/{WORKED_DAY}"
    report = f"/v1/reports/settlement?scheme=tern-bay&date={WORKED_DAY}"
    answer = net.admin.send("GET", report, headers=BROWSER)
    assert (answer.status, answer.headers["Location"], answer.body) == (303, target, b"")
    page = net.page(target)
    assert f"{target}?format=csv" in [a.get("href") for a in page.all("a")]
    csv = net.admin.send("GET", report + "&format=csv").body
    assert csv == net.admin.send("GET", target + "?format=csv").body and csv.startswith(b"participant,site,")
    net.page(report.replace(str(WORKED_DAY), "2001-01-01"), status=404)


def test_a_participant_reads_in_words_what_comes_of_a_settlement(service):
    """Payment straight from one to another; then carried forward, for want of size; then nothing."""
    admin = service.admin
    admin.load(network.worked_reference("on_loan", minimum_payment="1.00"))
    admin.post_many(network.worked_events())
    admin.close("tern-bay", WORKED_DAY)
    admin.close("tern-bay", NEXT_DAY)
    readers = {
        who: service.client(service.create_key(f"{who}-office", "participant", participant=who))
        for who in ("hearth", "miller", "quay")
    }

    def words(who, day):
        page = Page(readers[who].send("GET", f"/v1/settlements/tern-bay/{day}", headers=BROWSER).body)
        return [p.text for p in page.all("p") if p.has_class("due")]

    said = {(who, day): words(who, day) for who in readers for day in (WORKED_DAY, NEXT_DAY)}
    due = f"{NEXT_DAY.day} {NEXT_DAY:%B %Y}"
    assert said["hearth", WORKED_DAY] == [f"You will pay 101.78 CAD on {due}. These are 2 payments."]
    assert said["miller", WORKED_DAY] == [f"You will receive 56.01 CAD on {due}."]
    assert said["quay", WORKED_DAY] == ["You are owed 0.41 CAD, carried forward to a later settlement."]
    assert said["miller", NEXT_DAY] == ["Nothing is due."]
    settlement = admin.get(f"/v1/settlements/tern-bay/{WORKED_DAY}")
    path = next(f"/v1/payments/{p['payment_id']}" for p in settlement["payments"] if p["to"] == "miller")
    ann = service.client(service.create_key("ann", "accountant"))
    for act, body in (("approve", None), ("confirm", None), ("fail", {"reason": "sent back"})):
        assert ann.send("POST", f"{path}/{act}", body).status == 200
        said[act] = words("miller", WORKED_DAY)
    assert said["approve"] == said["miller", WORKED_DAY]
    assert said["confirm"] == [f"You have received 56.01 CAD, due on {due}."]
    assert said["fail"] == [f"A payment to you failed, and goes into the next settlement: 56.01 CAD, due on {due}."]


def glance_of(page, scheme):
    section = next(s for s in page.all("section") if s.first("h2").text == scheme)
    return {li.first("span").text: li.first("b").text for li in section.all("li") if li.first("b")}


def test_the_index_says_what_the_reports_say(net):
    json, page = net.admin.get("/"), net.page("/")
    scheme = next(s for s in json["schemes"] if s["scheme"] == "tern-bay")
    cover = [
        r for r in net.admin.get("/v1/reports/deposit-cover", scheme="tern-bay")["items"] if r["section"] != "funding"
    ]
    sums = {k: str(sum(Decimal(r[k]) for r in cover)) for k in ("required", "held", "difference")}
    payments = net.admin.get(f"/v1/settlements/tern-bay/{WORKED_DAY}")["payments"]
    assert scheme["cover"] == sums and Decimal(sums["held"]) > 0
    assert scheme["last_closed"]["date"] == str(WORKED_DAY) and scheme["last_closed"]["payments"] == len(payments)
    assert scheme["payments_waiting"] == {"count": len(payments), "amount": scheme["last_closed"]["paid"]}
    assert scheme["exceptions_open"] >= 4 and scheme["days_to_close"] > 100
    assert scheme["seal"] == net.admin.get(f"/v1/settlements/tern-bay/{WORKED_DAY}")["seal"]["seal"]
    assert scheme["arrears"] == {"owed": "0.00", "owing": "0.00"}
    shown = glance_of(page, "tern-bay")
    assert shown["Deposits held"] == sums["held"] and shown["Held less required"] == "0.00"
    assert shown["Deposits required"] == sums["required"] and shown["Cups out"] == str(scheme["cups_out"])
    assert shown["Payments waiting"] == str(len(payments))
    assert glance_of(page, "skerry")["Deposits held"] == str(12345 * 200)  # grouped for the eye only
    assert [r["path"] for r in json["routes"] if r["method"] == "GET"][:2] == ["/", "/style.css"]


def test_the_index_shows_a_bound_key_its_own(net):
    till, miller = ({s["scheme"]: s for s in c.get("/")["schemes"]} for c in (net.till, net.miller))
    payment = next(
        p
        for p in net.admin.get(f"/v1/settlements/tern-bay/{WORKED_DAY}")["payments"]
        if "miller" in (p["from"], p["to"])
    )
    assert till.keys() == miller.keys() == {"tern-bay"}
    assert till["tern-bay"].keys() == {"scheme", "currency", "business_date", "days_to_close", "last_closed"}
    assert till["tern-bay"]["last_closed"].keys() == {"date", "closed_at"}
    assert miller["tern-bay"]["payments_waiting"] == {"count": 1, "amount": payment["amount"]}
    assert not miller["tern-bay"].keys() & {"cover", "exceptions_open", "seal"}
    assert "Deposits held" not in glance_of(net.page("/", net.till), "tern-bay")
    net.service.client().refused("GET", "/", None, 401, "unauthenticated")


# Hostile texts --------------------------------------------------------------------------------------------------------
def test_hostile_texts_stay_texts(net, crawled):
    for page in crawled.values():
        assert not re.search(r"<script|<img|onerror=[^&]*>|</td></table></|<!--", page.source)
    feed = net.page(f"/v1/events?scheme=tern-bay&from={NEXT_DAY}")
    shown = [row["Reference"] for row in feed.table()]
    assert [r for r in shown if r in HOSTILE] == HOSTILE[::-1]
    for sent in net.hostile:
        assert net.page(f"/v1/events/{sent['event_id']}?scheme=tern-bay").facts["Reference"] == sent["reference"]
    for path, key in (("/v1/sites", "site"), ("/v1/participants", "participant")):
        named = {i[key]: i["name"] for i in net.admin.items(path)}
        assert {r[label(key)]: r["Name"] for r in net.page(path).table()} == named
        assert set(named.values()) & set(HOSTILE)
        for code, name in named.items():
            assert net.page(f"{path}/{code}").facts["Name"] == name


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_queries_stay_texts(net, text):
    for query in ({"reference": text, "scheme": "tern-bay"}, {"scheme": "tern-bay", text: "1"}, {"scheme": text}):
        answer = net.admin.send("GET", f"/v1/events?{urlencode(query)}", headers=BROWSER)
        page = Page(answer.body)
        assert answer.status in (200, 404, 422) and not tidy(answer.body)
        assert not page.all("script", "img") and "<!--" not in page.source
        if answer.status == 200:
            assert page.facts["Reference"] == text
        elif text in query:
            assert text in page.facts["Detail"]


# Forms of a page, choices and times --------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "target, said",
    [
        ("/v1/sites/brick", "The same as JSON"),
        (f"/v1/settlements/tern-bay/{WORKED_DAY}", "The same as JSON or CSV"),
        ("/v1/reports/stock?scheme=tern-bay", "The same as CSV or JSON"),
    ],
)
def test_a_page_leads_to_its_other_forms(net, target, said):
    page = net.page(target)
    [p] = [e for e in page.all("p") if e.has_class("forms")]
    assert p.said.strip() == said and [a.said for a in p.all("a")] == re.findall("JSON|CSV", said)
    for a in p.all("a"):
        media = net.admin.send("GET", a.get("href"), headers=BROWSER).headers["Content-Type"].partition(";")[0]
        assert media == {"JSON": "application/json", "CSV": "text/csv"}[a.said]


def test_choices_of_reports_have_names(net):
    """The code is what the form sends, and what people may know a site by."""
    page = net.page("/v1/reports/site-statement?scheme=tern-bay&site=brick&from=2001-01-01")
    names = {s["site"]: s["name"] for s in net.admin.get("/v1/sites")["items"]}
    [select] = [s for s in page.all("select") if s.get("name") == "site"]
    shown = {o.get("value"): o.said for o in select.all("option") if o.get("value")}
    here = ("anchor", "brick", "copper", "dock")
    assert shown == {code: f"{code} \u00b7 {names[code]}" for code in here}
    assert [o.get("value") for o in select.all("option") if "selected" in o.attributes] == ["brick"]


def test_times_of_reports_are_those_of_the_scheme(net):
    """A cell has the instant for machines, and shows it by the scheme's clock. JSON and CSV have the instant."""
    target = f"/v1/reports/exceptions?scheme=tern-bay&from={WORKED_DAY}&to={NEXT_DAY}"
    assert "Times are those of" not in net.page(target).source, "nothing is resolved yet"
    first = net.admin.get(target)["items"][0]
    net.admin.send("POST", f"/v1/exceptions/{first['exception_id']}/resolve", {"note": "counted again"})
    row = net.admin.get(target)["items"][0]
    instant = datetime.fromisoformat(row["resolved_at"].replace("Z", "+00:00"))
    local = instant.astimezone(ZoneInfo("America/St_Johns")).strftime("%Y-%m-%d %H:%M:%S")
    page = net.page(target)
    assert [r["Resolved at"] for r in page.table() if r["Resolved at"]] == [row["resolved_at"]]
    [time] = [t for t in page.all("time") if t.get("datetime") == row["resolved_at"]]
    assert time.said == local and "Times are those of America/St_Johns." in page.source
    csv = net.admin.send("GET", f"{target}&format=csv").body.decode()
    assert f",{row['resolved_at']}," in csv and local not in csv


# Problems -------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "target, status, reason",
    [
        ("/v1/no/such/thing", 404, "not_found"),
        ("/v1/settlements/tern-bay/2001-01-01", 404, "not_found"),
        ("/v1/reports/settlement?scheme=tern-bay", 422, "parameter_missing"),
        ("/v1/reports/stock?scheme=tern-bay&colour=1&size=2", 422, "parameter_unknown"),
    ],
)
def test_problems_are_pages_for_browsers(net, target, status, reason):
    page = net.page(target, status=status)
    assert (page.facts["Reason"], page.facts["Status"]) == (reason, str(status))
    assert page.facts["Request"] == page.answer.headers["X-Request-Id"]
    assert not tidy(page.answer.body) and "default-src 'none'" in page.answer.headers["Content-Security-Policy"]
    assert page.answer.headers["Cache-Control"] == "no-store"


def test_a_browser_is_asked_for_a_key(net):
    page = net.page("/", net.service.client(), 401)
    assert page.title == "Sign in" and page.answer.headers.get_all("WWW-Authenticate") == ['Bearer realm="depositd"']
    [form] = page.all("form")
    assert form.get("action") == "/sign-in" and [i.get("name") for i in form.all("input")] == ["name", "key", "next"]
    page = net.page("/v1/accounts?scheme=tern-bay", net.till, 403)
    assert page.facts["Reason"] == "role_not_allowed"


@pytest.mark.parametrize(
    "accept, media",
    [
        (None, "application/problem+json"),
        ("*/*", "application/problem+json"),
        ("application/json", "application/problem+json"),
        ("text/html;q=0.5, application/problem+json", "application/problem+json"),
        ("text/html, application/json", "application/problem+json"),
        ("text/html", "text/html"),
        ("text/html, application/json;q=0.9", "text/html"),
        (BROWSER["Accept"], "text/html"),
    ],
)
def test_problems_are_negotiated(net, accept, media):
    """RFC 9110 section 12.5.1. Without a preference, the answer is the problem document of RFC 9457."""
    answer = net.admin.send("GET", "/v1/sites/nowhere", headers={"Accept": accept} if accept else {})
    assert answer.headers["Content-Type"].partition(";")[0] == media
    for format, of_format in (("json", "application/problem+json"), ("html", "text/html")):
        answer = net.admin.send(
            "GET", f"/v1/sites/nowhere?format={format}", headers={"Accept": accept} if accept else {}
        )
        assert answer.headers["Content-Type"].partition(";")[0] == of_format


def test_pages_are_asked_for(net):
    """The answer is JSON unless HTML is preferred. A page does not have the ETag of the JSON."""
    for accept in (None, "*/*", "application/json, text/html"):
        answer = net.admin.send("GET", "/v1/sites/anchor", headers={"Accept": accept} if accept else {})
        assert answer.headers["Content-Type"] == "application/json"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["ETag"]
    answer = net.admin.send("GET", "/v1/sites/anchor?format=html")
    assert answer.headers["Content-Type"].startswith("text/html") and "ETag" not in answer.headers


# Forms, and lists in pages --------------------------------------------------------------------------------------------
def submitted(form):
    """The target of a form that is submitted unchanged (HTML, form submission, method get)."""
    fields = {}
    for field in form.all("input", "select"):
        options = list(field.all("option"))
        chosen = next((o for o in options if "selected" in o.attributes), options[0] if options else None)
        value = (
            field.get("value")
            if chosen is None
            else chosen.get("value")
            if "value" in chosen.attributes
            else chosen.text
        )
        fields[field.get("name")] = value or ""
    assert form.get("method") == "get"
    return f"{form.get('action')}?{urlencode(fields)}"


def undated(source):
    """Without the line that tells when the page was made."""
    undated, lines = re.subn(
        r'<p class="made">Made [\d-]{10} at [\d:]{5} UTC for the key first-admin\.</p>', "", source
    )
    assert lines == 1
    return undated


def test_a_form_asks_for_what_it_shows(net, crawled):
    forms = 0
    for target, page in crawled.items():
        if not target.startswith("/v1/reports/"):
            continue
        form = page.root.first("form")
        assert undated(net.page(submitted(form)).source) == undated(net.page(target).source), target
        forms += 1
    assert forms >= 3
    by_name = {f.get("action"): f for f in net.page("/v1/reports").all("form")}
    assert by_name.keys() == {f"/v1/reports/{r['report']}" for r in net.admin.get("/v1/reports")["items"]}
    for path, form in by_name.items():
        for field in form.all("input"):
            if "required" in field.attributes:
                field.attributes["value"] = NEEDED["day" if field.get("type") == "date" else field.get("name")]
        if path != "/v1/reports/settlement":  # it leads to the settlement, if there is one
            assert net.page(submitted(form)).title == label(path.rpartition("/")[2])


def test_long_lists_go_on(net):
    first = net.page("/v1/events?scheme=tern-bay&limit=5&format=html")
    second = net.page(next(link for link in (a.get("href") for a in first.all("a")) if "cursor=" in link))
    assert [r["Entry"] for r in first.table() + second.table()] == [str(n) for n in range(26, 16, -1)]


# The style sheet ------------------------------------------------------------------------------------------------------
def test_the_style_sheet_is_public_and_cached(net):
    nobody = net.service.client()
    answer = nobody.send("GET", "/style.css")
    assert (answer.status, answer.headers["Content-Type"]) == (200, "text/css; charset=utf-8")
    assert answer.headers["Cache-Control"].startswith("public, max-age=") and len(answer.body) < 12000
    again = nobody.send("GET", "/style.css", headers={"If-None-Match": answer.headers["ETag"]})
    assert (again.status, again.body) == (304, b"") and again.headers["ETag"] == answer.headers["ETag"]
    assert nobody.send("GET", "/style.css", headers={"If-None-Match": '"another"'}).body == answer.body


def luminance(colour):
    """WCAG 2.1, relative luminance."""
    if len(colour) == 4:
        colour = "#" + "".join(c * 2 for c in colour[1:])
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    """WCAG 2.1, contrast ratio."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_is_that_of_wcag():
    """Black on white is 21:1 (WCAG 2.1, contrast ratio); #767676 on white is the usual example of 4.54:1 (from
    memory)."""
    assert contrast("#000", "#ffffff") == 21 and round(contrast("#767676", "#fff"), 2) == 4.54


def palettes(sheet):
    """The variables of each :root, with those of the first below them: light, dark, print."""
    blocks = [
        dict(re.findall(r"--([\w-]+): (#[0-9a-f]+);", block)) for block in re.findall(r":root \{([^}]*)\}", sheet)
    ]
    assert len(blocks) == 3
    return [{**blocks[0], **block} for block in blocks]


def test_every_pair_of_colours_has_the_contrast_of_wcag_aa(net):
    """1.4.3: text 4.5:1. 1.4.11: parts of pictures, borders of fields, focus 3:1. Rules between rows carry no
    meaning."""
    sheet = net.service.client().send("GET", "/style.css").body.decode()
    pairs = 0
    for palette in palettes(sheet):
        papers = [v for k, v in palette.items() if k.startswith("paper")]
        for name, colour in palette.items():
            needed = 4.5 if name.startswith("ink") else 3 if name.startswith("mark") else 0
            assert needed or name.startswith(("paper", "rule")), f"--{name} is neither ink nor mark, paper or rule"
            for paper in papers:
                assert contrast(colour, paper) >= needed, (name, colour, paper, contrast(colour, paper))
                pairs += needed > 0
    assert pairs == 3 * 2 * 13
    outside = re.sub(r":root \{[^}]*\}", "", sheet)
    assert not re.search(r"#[0-9a-f]{3,6}\b(?!;? *\})", outside.replace("#000", "")), "colours are variables"
    used = set(re.findall(r"(?<![\w-])color: var\(--([\w-]+)\)", outside))
    assert used == {"ink", "ink-2", "ink-link", "ink-alarm", "c"}
    assert set(re.findall(r"background: var\(--([\w-]+)\)", outside)) <= {"paper", "paper-2"}
