# SPDX-License-Identifier: ISC
"""Lists in the order of time: from the oldest or from the newest on, and from any slice both ways. JSON begins with the
oldest and pages with the newest, unless asked otherwise."""
import random
import re
from datetime import timedelta

import pytest

from crowd import Crowd
from pages import Page

SCHEME = "bay-0001"
CROWD = Crowd(
    schemes=2, sites=40, large_sites=20, participants=10, days=40, small_days=3, entries=1500, lines=120, journals=300
)
# Of each path that takes `order`: queries, and the member that a list is ordered by (None: the order is not shown).
LISTS = {
    "/v1/events": (["", "&site=site-00007", "&kind=return", "&from={half}&to={last}"], "entry"),
    "/v1/seals": ([""], "date"),
    "/v1/settlements": ([""], "date"),
    "/v1/fee-notes": (["", "&participant=member-00007"], "number"),
    "/v1/remaking-batches": ([""], None),
    "/v1/shipments": (["", "&state=open", "&waits_for=sender", "&site=site-00007", "&overdue=true"], None),
    "/v1/schemes/{scheme}/days": (["", "&missing=statement"], "date"),
    "/v1/payments": (
        [
            *("", "&status=failed", "&waiting=true", "&held=false", "&participant=member-00007"),
            *("&participant=member-00007&side=payer", "&from={half}", "&to={half}", "&from={half}&to={half}"),
        ],
        "date",
    ),
    "/v1/bank-statements": (["", "&from={early}", "&to={early}"], "to"),
    "/v1/bank-lines": (["", "&open=true", "&open=false", "&bank_statement=bay-0001.5"], None),
    "/v1/journals": (["&status=open", "&status=approved"], None),
    "/v1/openings": ([""], None),
    "/v1/proposals": (["&status=open", "&status=approved"], "proposal"),
    "/v1/changes": (["", "&of=site"], "number"),
    "/v1/settlements/{scheme}/{last}/files": ([""], None),
    "/v1/me/sessions": ([""], "session"),
}
EMPTY = {"/v1/openings", "/v1/settlements/{scheme}/{last}/files"}  # the crowd has none of these
CASES = [(path, query) for path, (queries, _) in LISTS.items() for query in queries]


class Net:
    def __init__(self, service):
        CROWD.fill(service.database)
        service.database.run(
            "SET session_replication_role = replica;"
            "UPDATE reference_change SET name = name || number;"
            "UPDATE payment SET status = 'failed'"
            " WHERE scheme = 1 AND extract(day FROM business_date)::integer % 2 = 0;"
            "INSERT INTO browser_session (hash, api_key, key_hash, begun_at, seen_at)"
            " SELECT sha256(format('of the admin %s', n)::bytea), k.id, k.secret_hash, now(), now()"
            "   FROM api_key k, generate_series(1, 23) AS n WHERE k.name = 'first-admin'"
        )
        # The rows of the crowd are no answers that the document would have.
        self.admin = self.reader = service.client(service.admin_key, checked=False)
        last = service.database.rows("SELECT max(business_date) FROM settlement WHERE scheme = 1")[0][0]
        self.words = {"scheme": SCHEME, "last": last, "half": last - timedelta(20), "early": last - timedelta(40)}

    def target(self, path, query):
        scheme = "" if "{scheme}" in path or path.endswith("sessions") else f"&scheme={SCHEME}"
        return (path + "?" + (scheme + query)[1:]).format(**self.words).rstrip("?")


@pytest.fixture(scope="module")
def net(shared):
    return Net(shared)


def add(target, query):
    return target + ("&" if "?" in target else "?") + query


def follow(net, target, member):
    """The slices from a target on, by one of the two members. Link leads where they do (RFC 8288)."""
    answer = net.admin.send("GET", target)
    slices = []
    while True:
        assert answer.status == 200, (target, answer.text)
        slices.append(answer.json)
        links = {rel: to for to, rel in re.findall(r'<([^>]*)>; rel="(\w+)"', answer.headers["Link"] or "")}
        assert links.keys() == {{"next": "next", "previous": "prev"}[m] for m in answer.json if m != "items"}
        if member not in answer.json or (member == "next" and not answer.json["items"]):
            return slices
        answer = net.admin.send("GET", links["next" if member == "next" else "prev"])


def items(slices):
    return [item for each in slices for item in each["items"]]


def whole(net, target):
    """The list as it was released: from the oldest on, without `order`, and one way only."""
    slices = follow(net, add(target, "limit=1000"), "next")
    assert not any("previous" in each for each in slices)
    return [item for item in items(slices) if item["kind"] != "day_cut"] if "/v1/events" in target else items(slices)


def test_every_list_that_takes_an_order_is_among_them(net):
    document = net.admin.get("/openapi.json")
    named = {path.replace("{date}", "{last}") if "files" in path else path for path in LISTS}
    taking = {
        path.replace("{date}", "{last}")
        for path, methods in document["paths"].items()
        if any(p["name"] == "order" for p in methods.get("get", {}).get("parameters", []))
    }
    assert taking - {"/v1/reports/{report}"} == named  # of reports only some take it


@pytest.mark.parametrize("path, query", CASES)
def test_the_newest_come_first(net, path, query):
    target = net.target(path, query)
    oldest = whole(net, target)
    size = max(1, len(oldest) // 4)
    newest = follow(net, add(target, f"order=newest&limit={min(size, 1000)}"), "next")
    assert items(newest) == oldest[::-1]
    assert path in EMPTY or (len(newest) >= 4 and "previous" not in newest[0])
    assert items(follow(net, add(target, f"order=oldest&limit={min(size, 1000)}"), "next")) == oldest
    member = LISTS[path][1]
    keys = [item[member] for item in oldest] if member else []
    assert keys == sorted(keys)


@pytest.mark.parametrize("order", ["newest", "oldest"])
@pytest.mark.parametrize("path, query", [case for case in CASES if case[0] not in EMPTY])
def test_a_list_goes_back_to_its_beginning(net, path, query, order):
    """From any slice: the slices before it, from the last one back, are what came before."""
    target = add(net.target(path, query), f"order={order}")
    listed = whole(net, net.target(path, query))
    listed = listed if order == "oldest" else listed[::-1]
    size = max(1, min(len(listed) // 5, 300))
    forth = follow(net, add(target, f"limit={size}"), "next")
    last = next(each for each in reversed(forth) if each["items"])
    back = follow(net, add(target, f"limit={size}&cursor={last['previous']}"), "previous")
    assert [item for each in reversed(back) for item in each["items"]] == listed[: len(listed) - len(last["items"])]
    assert "next" in back[-1] and back[0]["items"][-1] == items(forth)[len(listed) - len(last["items"]) - 1]
    again = follow(net, add(target, f"limit={size}&cursor={back[-1]['next']}"), "next")
    assert back[-1]["items"] + items(again) == listed


def content(page):
    main = page.root.first("main")
    return [part if isinstance(part, str) else part.text for part in main.parts if not is_way(part)]


def is_way(part):
    return not isinstance(part, str) and part.has_class("next")


@pytest.mark.parametrize("path, query", CASES)
def test_pages_begin_with_the_newest(net, path, query):
    target = add(net.target(path, query), "limit=1")
    page = Page(net.reader.send("GET", target, headers={"Accept": "text/html"}).body)
    newest = net.admin.get(add(target, "order=newest"))
    ways = {a.text: a for a in page.all("a") if a.get("rel")}
    assert ways.keys() == ({"Older"} if "next" in newest else set())
    if path in EMPTY:
        return
    assert ways["Older"].get("rel") == "next"
    second = Page(net.reader.send("GET", ways["Older"].get("href"), headers={"Accept": "text/html"}).body)
    ways = {a.text: a for a in second.all("a") if a.get("rel")}
    assert {"Newer"} < ways.keys() <= {"Newer", "Older"} and ways["Newer"].get("rel") == "prev"
    back = Page(net.reader.send("GET", ways["Newer"].get("href"), headers={"Accept": "text/html"}).body)
    assert content(back) == content(page) != content(second)
    (other,) = [a.get("href") for a in page.all("a") if a.text == "JSON"]
    assert net.reader.send("GET", other).json == newest


def test_an_oldest_page_names_its_ways(net):
    page = Page(net.reader.send("GET", f"/v1/seals?scheme={SCHEME}&order=oldest&limit=2&format=html").body)
    (way,) = [a for a in page.all("a") if a.get("rel")]
    assert (way.text, way.get("rel")) == ("Newer", "next")
    page = Page(net.reader.send("GET", way.get("href")).body)
    assert [(a.text, a.get("rel")) for a in page.all("a") if a.get("rel")] == [("Older", "prev"), ("Newer", "next")]


def test_a_slice_of_any_size_from_anywhere(net):
    """Steps at random, there and back, of random sizes: each slice is where the list says."""
    draw = random.Random(11)
    listed = whole(net, net.target("/v1/events", "&kind=issue"))[::-1]
    place = {item["entry"]: n for n, item in enumerate(listed)}
    target = net.target("/v1/events", "&kind=issue&order=newest")
    at = net.admin.get(add(target, "limit=9"))
    for _ in range(40):
        member = draw.choice([m for m in at if m != "items"])
        first, last = place[at["items"][0]["entry"]], place[at["items"][-1]["entry"]]
        size = draw.randint(1, 60)
        at = net.admin.get(add(target, f"limit={size}&cursor={at[member]}"))
        wanted = listed[last + 1 : last + 1 + size] if member == "next" else listed[max(0, first - size) : first]
        assert at["items"] == wanted
        assert ("next" in at) == (place[wanted[-1]["entry"]] < len(listed) - 1)
        assert "previous" in at or place[wanted[0]["entry"]] == 0


def test_the_feed_is_as_it_was(net):
    """With the scheme alone `next` is always there, from the oldest on only."""
    last = follow(net, f"/v1/events?scheme={SCHEME}&limit=1000", "next")[-1]
    assert last["items"] == [] and "next" in last and "previous" not in last
    last = follow(net, f"/v1/events?scheme={SCHEME}&limit=1000&order=oldest", "next")[-1]
    assert last["items"] and "next" not in last, "in an order that was asked for it is a list"
    newest = net.admin.get("/v1/events", scheme=SCHEME, limit=3, order="newest")
    assert newest["items"] == last["items"][:-4:-1]
    oldest = follow(net, f"/v1/events?scheme={SCHEME}&limit=1000&order=newest", "next")[-1]
    assert "next" not in oldest and oldest["items"][-1]["entry"] == 1


@pytest.mark.parametrize(
    "query",
    [
        *("order=latest", "order=", "order=newest&cursor=back/", "order=oldest&cursor=back/x", "cursor=back/5"),
        *("order=oldest&cursor=back/back/5", "order=oldest&cursor=BACK/5", "order=newest&cursor=5/back"),
    ],
)
def test_an_order_or_a_cursor_that_is_none(net, query):
    net.admin.refused("GET", f"/v1/seals?scheme={SCHEME}&{query}", None, 422, "parameter_invalid")


@pytest.mark.parametrize("cursor", ["back/", "back/2026-13-01/x", "back/5", "back/2026-01-01/"])
def test_a_cursor_of_payments_that_is_none(net, cursor):
    net.admin.refused(
        "GET", f"/v1/payments?scheme={SCHEME}&order=newest&cursor={cursor}", None, 422, "parameter_invalid"
    )


@pytest.mark.parametrize("cursor", ["9223372036854775807", "back/9223372036854775807", "0", "back/0"])
@pytest.mark.parametrize("order", ["newest", "oldest"])
def test_cursors_at_the_edge_are_places(net, cursor, order):
    for path in ("/v1/seals", "/v1/events", "/v1/bank-lines", "/v1/changes"):
        answer = net.admin.send("GET", f"{path}?scheme={SCHEME}&order={order}&cursor={cursor}&limit=1")
        assert answer.status == 200, (path, answer.text)


def test_lists_by_code_have_one_way(net):
    net.admin.refused("GET", "/v1/sites?order=newest", None, 422, "parameter_unknown")
    net.admin.refused("GET", f"/v1/accounts?scheme={SCHEME}&cursor=back/5", None, 422, "parameter_invalid")
    page = net.admin.get("/v1/sites", limit=2)
    assert "previous" not in net.admin.get("/v1/sites", limit=2, cursor=page["next"])
