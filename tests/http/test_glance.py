# SPDX-License-Identifier: ISC
"""The start page: compares its figures with the reports' where sums could go wrong, and tests its pages."""
from datetime import timedelta
from decimal import Decimal

import pytest

import network
from network import at, cups, event


@pytest.fixture(scope="module")
def net(shared):
    """wharf, on deposit: a closed day, open days across two changes of value, damaged cups, cups on the road and lost
    cups. There are enough other schemes to fill three pages of four."""
    today = network.business_day()
    first = today - timedelta(days=6)
    wharf = network.scheme(
        "wharf",
        first,
        {"cup-300": "2.50", "cup-450": "3.50"},
        stock_terms="on_deposit",
        more_values=[
            ("cup-300", first + timedelta(days=2), "3.00"),
            ("cup-450", first + timedelta(days=2), "3.00"),
            ("cup-300", today, "2.75"),
            ("cup-450", today + timedelta(days=1), "9.00"),
        ],
    )
    others = [network.scheme(f"skerry-{n}", first, {"cup-300": "2.00"}) for n in range(9)]
    shared.admin.load(
        network.reference(
            [wharf, *others],
            {
                "anchor": ("wharf", "hearth"),
                "brick": ("wharf", "miller"),
                **{f"gull-{n}": (f"skerry-{n}", "hearth" if n % 2 else "quay") for n in range(9)},
            },
        )
    )

    def day(n, hour):
        return at(first + timedelta(days=n), hour)

    sent = event("dispatch", "anchor", day(3, "10:00"), cups=cups(("cup-300", 2), cup_300=6, cup_450=1), to="brick")
    events = [
        event("supply", "anchor", day(0, "06:00"), cups=cups(cup_300=100, cup_450=50)),
        event("issue", "anchor", day(0, "09:00"), issued=cups(cup_300=20, cup_450=5)),
        event("return", "brick", day(1, "09:00"), returned=cups(("cup-300", 3), cup_300=4, cup_450=1)),
        event("issue", "anchor", day(2, "09:00"), issued=cups(cup_300=7)),
        event("damage", "anchor", day(3, "09:00"), cups=cups(cup_300=2)),
        sent,
        event("receipt", "brick", day(3, "18:00"), cups=cups(cup_300=4), dispatch=sent["event_id"]),
        event("issue", "gull-1", day(4, "09:00"), issued=cups(cup_300=3)),
        event("return", "brick", day(5, "09:00"), returned=cups(cup_450=2)),
    ]
    for one in events:
        shared.admin.post(one)
    shared.admin.close("wharf", first)
    return shared


def test_the_cover_is_that_of_the_report(net):
    """Each line is computed in another way: the start page adds up sums by kind, the report adds up accounts."""
    compared = 0
    for scheme in net.admin.get("/")["schemes"]:
        lines = [
            r
            for r in net.admin.get("/v1/reports/deposit-cover", scheme=scheme["scheme"])["items"]
            if r["section"] != "funding"
        ]
        sums = {k: f"{sum(Decimal(r[k]) for r in lines):.2f}" for k in ("required", "held", "difference")}
        assert scheme["cover"] == sums, scheme["scheme"]
        compared += any(Decimal(r["to_come"]) for r in lines)
    assert compared == 1, "no remeasurement is to come: nothing was compared across a boundary"


def test_the_open_exceptions_are_those_of_the_report(net):
    wharf = next(s for s in net.admin.get("/")["schemes"] if s["scheme"] == "wharf")
    listed = net.admin.get("/v1/reports/exceptions", scheme="wharf", state="open")["items"]
    assert wharf["exceptions_open"] == len(listed) > 0
    resolved = net.admin.send("POST", f"/v1/exceptions/{listed[0]['exception_id']}/resolve", {"note": "looked at"})
    assert resolved.status == 200
    wharf = next(s for s in net.admin.get("/")["schemes"] if s["scheme"] == "wharf")
    assert wharf["exceptions_open"] == len(listed) - 1
    assert net.admin.get("/v1/reports/exceptions", scheme="wharf", state="open")["items"] == listed[1:]
    assert len(net.admin.get("/v1/reports/exceptions", scheme="wharf", state="resolved")["items"]) == 1


def test_its_schemes_come_in_pages(net):
    whole = net.admin.get("/")
    assert [s["scheme"] for s in whole["schemes"]] == sorted(s["scheme"] for s in whole["schemes"])
    assert len(whole["schemes"]) == 10
    assert "next" not in whole
    pages, query = [], {"limit": 4}
    while True:
        answer = net.admin.send("GET", "/?" + "&".join(f"{k}={v}" for k, v in query.items()))
        pages.append(answer.json["schemes"])
        if "next" not in answer.json:
            assert "Link" not in answer.headers
            break
        assert answer.headers["Link"] == f'</?limit=4&cursor={answer.json["next"]}>; rel="next"'
        query["cursor"] = answer.json["next"]
    assert [len(p) for p in pages] == [4, 4, 2] and sum(pages, []) == whole["schemes"]
    page = net.admin.send("GET", "/?limit=4", headers={"Accept": "text/html"})
    assert b"/?limit=4&amp;cursor=skerry-3" in page.body and page.body.count(b"<section>") == 4
    net.admin.refused("GET", "/?limit=0", None, 422, "parameter_invalid")
    net.admin.refused("GET", "/?cursor=%22", None, 422, "parameter_invalid")


def test_a_bound_key_pages_through_its_own(net):
    quay = net.client(net.create_key("quay", "participant", participant="quay"))
    first = quay.get("/", limit=3)
    second = quay.get("/", limit=3, cursor=first["next"])
    assert [s["scheme"] for s in first["schemes"] + second["schemes"]] == [f"skerry-{n}" for n in (0, 2, 4, 6, 8)]
    assert "next" not in second
