# SPDX-License-Identifier: ISC
"""Statements that people make outside the ledger: the totals of a till's day, and the outcome of an exception."""
from datetime import date, timedelta

import pytest

import network
from harness import at_once
from model import DAY
from network import at, cups, event

FIRST = date.today() - timedelta(days=5)
SAID = {"issued": 4, "returned": 1, "collected": "10.00", "refunded": "2.50"}
PATH = "/v1/sites/{}/day-totals/{}".format


@pytest.fixture(scope="module")
def net(shared):
    shared.admin.load(
        network.reference(
            [
                network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}),
                network.scheme(
                    "eider-sound",
                    FIRST,
                    {"cup-300": "300"},
                    currency="ISK",
                    time_zone="Atlantic/Reykjavik",
                    terms=[{"minimum_payment": "0", "service_fee": "0", "handling_fee": "0"}],
                ),
            ],
            {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller"), "holm": ("eider-sound", "hearth")},
        )
    )
    shared.till = shared.client(shared.create_key("anchor-till", "pos", sites=["anchor"]))
    shared.hearth = shared.client(shared.create_key("hearth-book", "participant", participant="hearth"))
    shared.accountant = shared.client(shared.create_key("the-accountant", "accountant"))
    return shared


def line(net, day, site="anchor"):
    [row] = net.admin.get("/v1/reports/day-totals", scheme="tern-bay", site=site, **{"from": day, "to": day})["items"]
    return row


# Day totals -----------------------------------------------------------------------------------------------------------
def test_an_event_that_never_came_is_a_difference(net):
    """The till reports 4 out and 1 back. The till still holds an issue of 2, which arrives when the day is closed."""
    post = net.till.post
    post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=2), amount="5.00"))
    post(event("return", "anchor", at(FIRST), returned=cups(cup_300=1), amount="2.50"))
    missing = event("issue", "anchor", at(FIRST, "20:00"), issued=cups(cup_300=2), amount="5.00")
    assert net.till.put(PATH("anchor", FIRST), SAID).status == 201
    row = line(net, FIRST)
    assert {k: v for k, v in row.items() if k not in ("date", "site")} == {
        "issued_stated": 4,
        "issued_recorded": 2,
        "issued_difference": 2,
        "returned_stated": 1,
        "returned_recorded": 1,
        "returned_difference": 0,
        "collected_stated": "10.00",
        "collected_recorded": "5.00",
        "collected_difference": "5.00",
        "refunded_stated": "2.50",
        "refunded_recorded": "2.50",
        "refunded_difference": "0.00",
    }
    net.admin.close("tern-bay", FIRST)
    assert post(missing)["late"]
    row = line(net, FIRST)  # by the day on which it happened, not the day that it posted to
    assert (row["issued_recorded"], row["issued_difference"], row["collected_difference"]) == (4, 0, "0.00")
    assert (
        net.admin.get("/v1/reports/day-totals", scheme="tern-bay", **{"from": FIRST + DAY, "to": FIRST + DAY})["items"]
        == []
    )


def test_a_reversal_counts_on_its_own_day(net):
    """An issue is reversed on the next day. The first day counts the issue, and the second subtracts it."""
    first, second = FIRST + DAY, FIRST + 2 * DAY
    wrong = event("issue", "brick", at(first), issued=cups(cup_300=3), amount="7.50")
    net.admin.post(wrong)
    net.admin.post(event("reversal", "brick", at(second), reverses=wrong["event_id"]))
    assert (line(net, first, "brick")["issued_recorded"], line(net, first, "brick")["collected_recorded"]) == (
        3,
        "7.50",
    )
    assert (line(net, second, "brick")["issued_recorded"], line(net, second, "brick")["collected_recorded"]) == (
        -3,
        "-7.50",
    )


def test_totals_without_events_are_shown(net):
    day = FIRST + 3 * DAY
    net.till.put(PATH("anchor", day), SAID)
    assert line(net, day)["issued_difference"] == 4


def test_what_was_said_is_kept(net):
    """The same totals again change nothing. Other totals from another key are added, and the first totals can still be
    read."""
    day = FIRST + 2 * DAY
    first = net.till.put(PATH("anchor", day), SAID)
    assert first.status == 201 and first.headers["Location"] == PATH("anchor", day)
    again = net.till.put(PATH("anchor", day), SAID)
    assert (again.status, again.json, again.headers["ETag"]) == (200, first.json, first.headers["ETag"])
    assert first.json["before"] == [] and first.json["stated_by"] == "anchor-till"
    changed = net.accountant.put(PATH("anchor", day), {**SAID, "issued": 5}, {"If-Match": first.headers["ETag"]})
    assert changed.status == 200 and changed.json["issued"] == 5 and changed.json["stated_by"] == "the-accountant"
    assert changed.json["before"] == [{**SAID, "stated_at": first.json["stated_at"], "stated_by": "anchor-till"}]
    net.accountant.refused(
        "PUT", PATH("anchor", day), SAID, 412, "precondition_failed", {"If-Match": first.headers["ETag"]}
    )
    net.accountant.refused("PUT", PATH("anchor", FIRST + 4 * DAY), SAID, 412, "precondition_failed", {"If-Match": "*"})
    read = net.hearth.send("GET", PATH("anchor", day))
    assert (read.json, read.headers["ETag"]) == (changed.json, changed.headers["ETag"])


def test_a_dry_run_says_nothing(net):
    path = PATH("brick", FIRST + 3 * DAY)
    tried = net.admin.send("PUT", path + "?dry_run=true", SAID)
    assert tried.status == 201 and tried.json["issued"] == 4
    net.admin.refused("GET", path, None, 404, "not_found")


def test_two_who_say_totals_at_once(net):
    """They are recorded one after the other, and both are kept."""
    path, clients = PATH("brick", FIRST + DAY), [net.client(net.admin_key) for _ in range(4)]
    answers = at_once(*(lambda c=c, n=n: c.put(path, {**SAID, "issued": n}) for n, c in enumerate(clients, 10)))
    assert sorted(a.status for a in answers) == [200, 200, 200, 201]
    kept = net.admin.get(path)
    assert {kept["issued"], *(b["issued"] for b in kept["before"])} == {10, 11, 12, 13}


@pytest.mark.parametrize(
    "change, reason",
    [
        ({"issued": -1}, "out_of_range"),
        ({"returned": 1.5}, "wrong_type"),
        ({"issued": "4"}, "wrong_type"),
        ({"issued": 1_000_000_001}, "out_of_range"),
        ({"collected": "-0.01"}, "out_of_range"),
        ({"collected": "10"}, "amount_decimals"),
        ({"refunded": "2.500"}, "amount_decimals"),
        ({"refunded": 2.5}, "wrong_type"),
        ({"collected": "99999999999999999.99"}, None),
        ({"colour": "blue"}, "member_unknown"),
        ({"issued": None}, "wrong_type"),
    ],
)
def test_refused_totals(net, change, reason):
    day = FIRST + 3 * DAY
    answer = net.admin.send("PUT", PATH("brick", day), {**SAID, **change})
    assert answer.status == 422 and (reason is None or reason in answer.reasons), answer.json
    net.admin.refused("GET", PATH("brick", day), None, 404, "not_found")


def test_amounts_have_the_decimals_of_the_scheme(net):
    net.admin.refused("PUT", PATH("holm", FIRST), SAID, 422, "amount_decimals")
    assert (
        net.admin.put(PATH("holm", FIRST), {**SAID, "collected": "1200", "refunded": "300"}).json["collected"] == "1200"
    )


def test_totals_of_what_is_not_there(net):
    for path in (
        PATH("nowhere", FIRST),
        PATH("anchor", FIRST - DAY),
        PATH("anchor", date.today() + 9 * DAY),
        PATH("anchor", "2026-02-30"),
    ):
        net.admin.refused("PUT", path, SAID, 404, "not_found")
    net.till.refused("PUT", PATH("brick", FIRST), SAID, 404, "not_found")
    net.till.refused("GET", PATH("brick", FIRST), None, 404, "not_found")
    net.hearth.refused("GET", PATH("brick", FIRST), None, 404, "not_found")


# Exceptions -----------------------------------------------------------------------------------------------------------
def found(net, **query):
    day = FIRST + 3 * DAY
    return net.admin.get("/v1/reports/exceptions", scheme="tern-bay", **{"from": day, "to": day, **query})["items"]


@pytest.fixture
def exception(net):
    """The id of a fresh exception: a till amount that is off the tariff."""
    posted = net.admin.post(event("issue", "brick", at(FIRST + 3 * DAY), issued=cups(cup_300=1), amount="2.40"))
    [row] = [r for r in found(net) if r["entry"] == posted["entry"] and r["kind"] == "off_tariff"]
    return row["exception_id"]


def resolve(client, exception, note="the till was wrong", query=""):
    return client.send("POST", f"/v1/exceptions/{exception}/resolve{query}", {"note": note})


def test_an_exception_is_resolved_once(net, exception):
    tried = resolve(net.accountant, exception, query="?dry_run=true")
    assert tried.status == 200 and exception in {r["exception_id"] for r in found(net, state="open")}
    first = resolve(net.accountant, exception)
    assert first.status == 200 and first.json["exception"] == "off_tariff" and first.json["amount"] == "-0.10"
    assert (first.json["resolved"]["by"], first.json["resolved"]["note"]) == ("the-accountant", "the till was wrong")
    assert resolve(net.accountant, exception).json == first.json  # the same again
    for client, note in ((net.accountant, "something else"), (net.admin, "the till was wrong")):
        again = resolve(client, exception, note)
        assert (again.status, again.reasons[0]) == (409, "already_resolved")
    [row] = [r for r in found(net, state="resolved") if r["exception_id"] == exception]
    assert (row["state"], row["resolved_by"], row["note"], row["resolved_at"]) == (
        "resolved",
        "the-accountant",
        "the till was wrong",
        first.json["resolved"]["at"],
    )
    assert exception not in {r["exception_id"] for r in found(net, state="open")}


def test_two_who_resolve_at_once(net, exception):
    clients = [net.client(net.admin_key) for _ in range(4)]
    statuses = sorted(
        a.status for a in at_once(*(lambda c=c, n=n: resolve(c, exception, f"note {n}") for n, c in enumerate(clients)))
    )
    assert statuses == [200, 409, 409, 409]


def test_what_a_receipt_made_good_is_resolved(net):
    """A part is missing until the rest arrives. After that, no person needs to resolve the exception, and none can."""
    day = FIRST + 3 * DAY
    sent = event("dispatch", "anchor", at(day), cups=cups(cup_300=5), to="brick")
    part = event("receipt", "brick", at(day, "11:00"), cups=cups(cup_300=3), dispatch=sent["event_id"])
    rest = event("receipt", "brick", at(day, "12:00"), cups=cups(cup_300=2), dispatch=sent["event_id"])
    _, _, last = net.admin.post_many([sent, part, rest])
    [row] = [r for r in found(net) if r["event_id"] == part["event_id"] and r["kind"] == "receipt_short"]
    assert (row["state"], row["by_entry"], row["resolved_by"]) == ("resolved", last["entry"], None)
    assert resolve(net.admin, row["exception_id"]).status == 409


def test_exceptions_that_are_not_there(net, exception):
    scheme, entry, position = exception.rsplit(".", 2)
    for wrong in (
        f"{scheme}.{entry}.{int(position) + 7}",
        f"{scheme}.99999.0",
        f"nowhere.{entry}.{position}",
        f"{scheme}.0{entry}.{position}",
        f"{scheme}.{entry}",
        f"{scheme}.{entry}.{position}.0",
        f"{scheme}.{entry}.-1",
        f"{scheme}.{entry}.x",
        "1",
        "...",
        f"{scheme}.{'9' * 30}.0",
        f"{'a' * 50}.1.0",
        f"{scheme}..0",
    ):
        assert resolve(net.admin, wrong).status == 404, wrong
    for body, reason in (
        ({}, "member_missing"),
        ({"note": ""}, "bad_format"),
        ({"note": "x" * 501}, "too_long"),
        ({"note": 1}, "wrong_type"),
        ({"note": "ok", "by": "me"}, "member_unknown"),
    ):
        answer = net.admin.send("POST", f"/v1/exceptions/{exception}/resolve", body)
        assert answer.status == 422 and reason in answer.reasons, (body, answer.json)
    for client in (net.till, net.hearth):
        assert resolve(client, exception).status == 403
