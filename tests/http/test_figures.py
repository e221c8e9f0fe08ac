# SPDX-License-Identifier: ISC
"""Every figure opens the rows that it sums, and these show the same total. The test lets the demo trade, and crawls
pages of all kinds from the start page on as an admin. It follows the figures that are links, and compares. A figure
that is no link stands in a table with the reason."""
import re
import subprocess
import sys
from collections import Counter, defaultdict
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from urllib.parse import parse_qsl, urlsplit

import pytest

from pages import Page

TRADE = Path(__file__).parents[2] / "deploy" / "trade"
BUSTLE = "0.3"
EACH, OF_KIND, FOLLOWED = 1, 6, 2  # pages of each way to ask for a kind, of each kind, and figures followed of a column
FIGURE = re.compile(r"-?\d+(\.\d+)?")
HTML = {"Accept": "text/html"}

# Numbers that name something, rates and ages: they sum nothing.
NAMES = {
    *("Entry", "First entry", "Last entry", "By entry", "Code", "Row", "Account", "Index", "Bytes", "Sequence"),
    *("Rate", "Target", "Tax rate", "Return target", "Share of cups", "Share of grams"),
    *("Return rate", "Rate within 7 days", "Rate within 30 days"),
    *("Previous", "Days since count", "Days", "Age days", "Days late", "Count days", "Latitude", "Longitude"),
    *("Serial", "Asset type"),
}
BY_DAY = "by the day on which it happened, while lists go by the day posted; `date` leads to these"
OF_SITES = "of the participant's sites, to each of which the date leads"
ROW = "the row is the thing itself, and leads to it"
SETTING = "people set it"
ABOVE = "sums or compares the figures beside it"
COUNTED = "counted anew by the check that the row names"
IN_ORDER = "first in, first out, from the sums of all days since: no event names the cup that it takes"
OF_BATCHES = "of batches, whose list the start page leads to"
OF_EVENTS = "of the dispatch and of the events that refer to it, which its page has"
COUNTED_ON = "between sightings that stand below each other"
SHARE = "a share of a total beside it, which opens the rows"


@dataclass(frozen=True)
class Figure:
    kind: str  # of the page that it stands on
    column: str
    value: Decimal
    page: str
    href: str  # None: it is no link
    totals: bool  # it stands in a line that sums the lines above it


class Crawl:
    def __init__(self, service, folder):
        (folder / "admin").write_text(service.create_key("admin", "admin", holder="Odile") + "\n")
        url = f"http://127.0.0.1:{service.port}"
        subprocess.run([sys.executable, TRADE, url, folder, BUSTLE], check=True, stdout=subprocess.DEVNULL)
        self.client = service.client(service.admin_key, checked=False)
        paths = sorted(service.admin.get("/openapi.json")["paths"], key=lambda path: path.count("{"))
        self.kinds = [(re.compile(re.sub(r"\{\w+\}", "[^/]+", p) + r"\Z"), p) for p in paths]
        self.pages = self.crawl()
        self.figures = [figure for target, page in self.pages.items() for figure in self.figures_of(target, page)]

    def kind(self, target):
        path = urlsplit(target).path
        return path if path.startswith("/v1/reports/") else next((p for r, p in self.kinds if r.match(path)), path)

    def open(self, target):
        answer = self.client.send("GET", target, headers=HTML)
        if answer.status == 406:  # a file
            return None
        assert answer.status == 200, (target, answer.status, answer.body[:1000])
        assert len(answer.body) < 1 << 20, f"{target} is too long for a page: {len(answer.body)} bytes"
        return Page(answer.body)

    def crawl(self):
        """The pages of each kind, and of each way to ask for it."""
        seen, kinds, todo, pages = Counter(), Counter(), ["/"], {}
        while todo:
            target = todo.pop(0)
            kind = self.kind(target)
            way = kind, frozenset(name for name, _ in parse_qsl(urlsplit(target).query))
            if target in pages or seen[way] >= EACH or kinds[kind] >= OF_KIND or kind.startswith("/forms"):
                continue
            page = self.open(target)
            if page is not None:
                seen[way] += 1
                kinds[kind] += 1
                pages[target] = page
                todo += page.links
        return pages

    def figures_of(self, target, page):
        kind = self.kind(target)
        for table in page.all("table"):
            heads = [th.text for th in table.first("thead").all("th")]
            for row in (row for body in table.all("tbody", "tfoot") for row in body.all("tr")):
                for head, cell in zip(heads, row.all("th", "td")):
                    if cell.has_class("n"):
                        yield from figure_of(kind, head, cell, target, row.has_class("total"))
        for dl in (dl for dl in page.all("dl") if dl.has_class("facts")):
            for term, said in zip(dl.all("dt"), dl.all("dd")):
                yield from figure_of(kind, term.text, said, target, term.text in COUNTS)
        for item in (li for ul in page.all("ul") if ul.has_class("glance") for li in ul.all("li")):
            yield from figure_of(kind, item.first("span").text, item.first("b"), target, False)

    def shown(self, target):
        """The totals of the list at the target, which its last page has."""
        page = self.open(target)
        ways = [a for a in page.all("a") if a.text == "Next page"]
        while ways:
            page = self.open(ways[0].get("href"))
            ways = [a for a in page.all("a") if a.text == "Next page"]
        kind = self.kind(target)
        found = [f.value for f in self.figures_of(target, page) if f.totals or f.column in COUNTS]
        if any(f.column == "In all" and f.value == 1 for f in self.figures_of(target, page)):
            found += [f.value for f in self.figures_of(target, page)]  # a single row is its own total
        if kind == "/v1/reports/general-ledger":
            found += [number(row["Balance"]) for row in page.table() if row["Kind"] == "opening"]
        if kind in SUMMED:
            found.append(sum(number(row[SUMMED[kind]]) for row in page.table()))
        if kind in OF_ONE:
            found += [f.value for f in self.figures_of(target, page)]
        return found


COUNTS = {"In all", "On this page", "With an event", "Late"}
SUMMED = {"/v1/reports/transfers": "In transit"}  # cups of several types, of which the page shows no sum
OF_ONE = {  # pages of one thing, whose own figures a list repeats
    "/v1/bank-statements/{bank_statement}",
    "/v1/settlements/{scheme}/{date}",
    "/v1/payments/{payment_id}",
    "/v1/reports/income-statement",  # of a month, whose variance is a single account
    "/v1/sites/{site}/day-totals/{date}",
    "/v1/shipments/{shipment}",
}


def number(text):
    text = re.sub(r"[\s\u00a0\u202f]", "", text.replace("\u2212", "-"))
    return Decimal(text) if FIGURE.fullmatch(text) else None


def figure_of(kind, column, element, target, totals):
    text = re.sub(r" (cups|[A-Z]{3})\Z", "", element.text.strip())
    value, link = number(text), element.first("a")
    if value is not None and column not in NAMES:
        yield Figure(kind, column, value, target, link and link.get("href"), totals)


@pytest.fixture(scope="module")
def crawl(shared, tmp_path_factory):
    return Crawl(shared, tmp_path_factory.mktemp("keys"))


# By kind of page: columns whose figures are no links, and why. `*` stands for all columns.
REPORTS = "/v1/reports/"
JUSTIFIED = {
    "/v1/bank-lines": {"Amount": ROW},
    "/v1/bank-lines/{line}": {"Amount": ROW},
    "/v1/bank-statements/{bank_statement}": {"Amount": ROW, "Opening": ROW, "Closing": ABOVE},
    "/v1/checks": {"Examined": COUNTED},
    "/v1/cup-types": {"*": SETTING},
    "/v1/cup-types/{cup_type}": {"*": SETTING},
    "/v1/cups/{cup_id}": {"Sighting count": "of the table below it", "Gaps": COUNTED_ON},
    "/v1/entries/{entry}": {"Amount": ROW, "Cups": ROW},
    "/v1/events": {"Amount": ROW, "Tariff": ROW, "Clearing": ROW},
    "/v1/events/{event_id}": {"Amount": ROW, "Cups": ROW, "Quantity": ROW},
    "/v1/events/{event_id}/proof": {"Entries": "the leaves of the proof's tree"},
    "/v1/exceptions/{exception_id}": {"Quantity": ROW},
    "/v1/office": {"*": "of payments by side, which the list of payments has, or sums over schemes"},
    "/v1/payments": {"Amount": ROW, "Approvals": ROW},
    "/v1/plans": {"*": "a computation on stock, history and the reader's own terms, of which nothing is recorded"},
    "/v1/purchases": {
        "*": "a computation on the scheme's past and the reader's own terms, of which nothing is recorded"
    },
    "/v1/payments/{payment_id}": {"Amount": ROW},
    "/v1/schemes": {"*": SETTING},
    "/v1/schemes/{scheme}": {"*": SETTING},
    "/v1/schemes/{scheme}/refund-values": {"Amount": SETTING},
    "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}": {"Amount": SETTING},
    "/v1/schemes/{scheme}/terms": {"*": SETTING},
    "/v1/schemes/{scheme}/terms/{effective_date}": {"*": SETTING},
    "/v1/schemes/{home}/agreements/{host}/{effective_date}": {"*": SETTING},
    "/v1/settlements/{scheme}/{date}": {"Amount": ROW, "Approvals needed": SETTING, "Net": ABOVE},
    "/v1/schemes/{scheme}/returns-to-come/{cup_type}": dict.fromkeys(("Back", "Issued", "Out"), IN_ORDER),
    "/v1/shipments/{shipment}": {"Requested": SETTING, "*": OF_EVENTS},
    "/v1/shipments/{shipment}/packing-list": {"*": "a page to print, and to write on"},
    "/v1/sites/{site}": {"Quantity": SETTING},
    REPORTS + "ageing": {"Current": SHARE, "Days 1 7": SHARE},
    REPORTS + "bank-reconciliation": {"Amount": ROW},
    REPORTS + "count-sheet": {"Volume, ml": SETTING},
    REPORTS + "day-totals": {f"{name} recorded": BY_DAY for name in ("Issued", "Returned", "Collected", "Refunded")},
    REPORTS
    + "deposit-cover": {
        "Refund value": SETTING,
        "Required": "cups by their refund value",
        "Difference": ABOVE,
        **dict.fromkeys(("Cups", "Held"), "at sites: of two accounts of each site, which the trial balance has"),
    },
    REPORTS + "exceptions": {"Quantity": ROW},
    REPORTS + "fees": {"Amount": ROW, "Each": SETTING, "Tax": ROW, "Quantity": ROW},
    REPORTS + "general-ledger": {"Debit": ROW, "Credit": ROW, "Balance": ABOVE},
    REPORTS + "journal": {"Debit": ROW, "Credit": ROW},
    REPORTS + "journal-summary": {"Accounts": ABOVE},
    REPORTS
    + "participant-journal-summary": {
        **dict.fromkeys(("Debit", "Credit"), SHARE),
        **dict.fromkeys(("Opening", "Closing"), "of all lines of the statement, to which date and participant lead"),
    },
    REPORTS + "payments": {"Amount": ROW},
    REPORTS
    + "recovery": {
        **dict.fromkeys(("Retired g", "Supplied g"), "cups by their mass"),
        "In service": "of all sites and the road, which the report of stock has",
        **dict.fromkeys(("Batches", "Batched"), OF_BATCHES),
        "Re-made": "of supplies, whose list names the batch of each",
    },
    REPORTS + "retired-cups": {"Retired": "the site leads to its events", "Batched": OF_BATCHES, "Waiting": ABOVE},
    REPORTS + "shrinkage-lines": {"Amount": ROW, "Cups": ROW},
    REPORTS
    + "return-rate-daily": {
        "Issued": "the posted ones beside it, less what reversals of later days took back",
        **dict.fromkeys(("Back within 7 days", "Back within 30 days", "Returned", "Forfeited", "Out"), IN_ORDER),
    },
    REPORTS + "site-flows": {"Net": ABOVE},
    REPORTS + "site-figures": {"Amount": ROW, "Cups": ROW},
    REPORTS
    + "statement-of-account": {
        "Transfers and losses": OF_SITES,
        "Amount": ABOVE,
        "Balance": ABOVE,
    },
    REPORTS + "transfers": dict.fromkeys(("Sent", "Received", "Lost"), OF_EVENTS),
    REPORTS + "winding-up": {"Cups": "of places outside sites, which the report of stock has"},
    REPORTS + "withdrawable": {"Balance": "of several accounts, which the trial balance has", "Counted": ABOVE},
}


def reason(figure):
    of_kind = JUSTIFIED.get(figure.kind, {})
    return of_kind.get(figure.column, of_kind.get("*"))


def test_the_crawl_sees_pages_of_all_kinds(crawl):
    kinds = {crawl.kind(target) for target in crawl.pages}
    reports = {f"/v1/reports/{row['report']}" for row in crawl.client.get("/v1/reports")["items"]}
    assert reports - kinds <= {"/v1/reports/settlement"}, "whose page is that of the settlement"
    assert len(kinds) > 60, sorted(kinds)


def test_a_figure_is_a_link_or_has_a_reason(crawl):
    """A zero opens nothing, and a line of totals sums the lines above it."""
    bare = defaultdict(list)
    for figure in crawl.figures:
        if figure.href is None and figure.value != 0 and not figure.totals and reason(figure) is None:
            bare[figure.kind, figure.column].append(f"{figure.value} of {figure.page}")
    assert not bare, "\n".join(f"{kind}: {column}: {found[0]}" for (kind, column), found in sorted(bare.items()))


def test_each_reason_is_of_a_figure(crawl):
    seen = {(f.kind, f.column) for f in crawl.figures if f.href is None} | {(f.kind, "*") for f in crawl.figures}
    stale = {(kind, column) for kind, columns in JUSTIFIED.items() for column in columns} - seen
    assert not stale, sorted(stale)


def test_a_figure_opens_rows_with_the_same_total(crawl):
    """Of each column the first figures that are not zero."""
    followed, wrong = Counter(), []
    for figure in crawl.figures:
        way = figure.kind, figure.column, figure.totals, crawl.kind(figure.href or "")
        if figure.href is None or figure.value == 0 or followed[way] >= FOLLOWED:
            continue
        followed[way] += 1
        shown = crawl.shown(figure.href)
        if figure.value not in shown and -figure.value not in shown:
            wrong.append(
                f"{figure.kind}: {figure.column}: {figure.value} of {figure.page}: {figure.href} has {shown[:9]}"
            )
    assert len(followed) > 60 and not wrong, "\n".join(wrong)
