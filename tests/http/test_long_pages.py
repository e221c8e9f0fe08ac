# SPDX-License-Identifier: ISC
"""Reports of any length as pages: each page has some rows and a link to the next rows. All pages together are the
report."""
from datetime import timedelta
from uuid import uuid4

import pytest

import network
from network import at, cups
from pages import Page

ROWS, EVENTS, DAYS = 500, 700, 170


@pytest.fixture(scope="module")
def net(shared):
    """Three sites for some months, and a day on which each event takes more than the tariff and so is an exception."""
    shared.today = network.business_day()
    first = shared.today - timedelta(days=DAYS)
    document = network.reference(
        [network.scheme("tern-bay", first, {"cup-300": "2.50"})],
        {s: ("tern-bay", "hearth") for s in ("anchor", "brick", "copper")},
        **{f"member-{n}": {} for n in range(ROWS + 7)},
    )
    shared.admin.load(document)
    when = at(shared.today - timedelta(days=1), "12:00")
    shared.admin.post_many(
        [
            {
                "event_id": str(uuid4()),
                "kind": "issue",
                "site": ("anchor", "brick")[n % 2],
                "occurred_at": when,
                "issued": cups(cup_300=1 + n % 3),
                "amount": f"{10 + n % 7}.00",
            }
            for n in range(EVENTS)
        ]
    )
    return shared


def pages_of(net, target):
    """Each page's rows, and the target of its last link."""
    client, found = net.client(net.admin_key, checked=False), []
    while target:
        answer = client.send("GET", target, headers={"Accept": "text/html"})
        assert answer.status == 200, answer.body
        page = Page(answer.body)
        found.append(page)
        paragraph = next((p for p in page.all("p") if p.has_class("next")), None)
        target = paragraph.first("a").get("href") if paragraph else None
    return found


def rows_of(page):
    """As texts; thousands are set apart for the eye by elements only."""
    return [list(row.values()) for row in page.table()]


def texts(items):
    return [["" if v is None else str(v) for v in item.values()] for item in items]


REPORTS = {
    "journal": "from={first}&to={today}",
    "journal of a site": "from={first}&to={today}&site=anchor",
    "general-ledger": "account=customer_deposits(cup-300)&from={first}&to={today}&totals=shown",
    "exceptions": "from={first}&to={today}&order=oldest",
    "exceptions from the newest on": "from={first}&to={today}&order=newest",
    "exceptions that are open": "from={first}&to={today}&state=open&order=oldest",
    "site-statement": "from={first}&to={today}",
}


@pytest.mark.parametrize("name", REPORTS)
def test_the_pages_are_the_report(net, name):
    query = "scheme=tern-bay&" + REPORTS[name].format(first=net.today - timedelta(days=DAYS), today=net.today)
    target = f"/v1/reports/{name.split()[0]}?{query}"
    whole = net.client(net.admin_key).send("GET", target)
    pages = pages_of(net, target)
    rows = [rows_of(page) for page in pages]
    assert len(pages) == -(-len(whole.json["items"]) // ROWS) > 1
    assert all(ROWS <= len(r) < ROWS + 10 for r in rows[:-1]), [len(r) for r in rows]
    assert sum(rows, []) == texts(whole.json["items"])
    assert all("All rows as" in page.source for page in pages[:-1]) and "The same as" in pages[-1].source
    assert all(len(page.source) < 1 << 20 for page in pages)
    csv = net.client(net.admin_key).send("GET", f"{target}&format=csv")
    assert csv.body.count(b"\r\n") == 1 + len(whole.json["items"])


def test_a_short_report_is_one_page(net):
    (page,) = pages_of(net, "/v1/reports/stock?scheme=tern-bay")
    assert "Next page" not in page.source


def test_only_pages_go_on(net):
    target = f"/v1/reports/journal?scheme=tern-bay&from={net.today}&to={net.today}&after="
    for query in ("5", "5&format=csv", "x&format=html", "-1&format=html", "9" * 19 + "&format=html"):
        refused = net.client(net.admin_key).send("GET", target + query)
        assert refused.status == 422 and b"parameter_invalid" in refused.body, query
    assert net.client(net.admin_key).send("GET", target + "9" * 18 + "&format=html").status == 200


def test_a_page_of_an_object_says_how_much_it_shows(net):
    client = net.client(net.admin_key, checked=False)
    page = Page(client.send("GET", "/v1/reference?format=html").body)
    members = ROWS + 7 + 1
    assert f"The first {ROWS} of {members}." in page.source and len(page.table("Participants")) == ROWS
    assert len(page.table("Sites")) == 3 and page.source.count("The first") == 1
    assert len(client.send("GET", "/v1/reference").json["participants"]) == members
