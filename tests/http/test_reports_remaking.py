# SPDX-License-Identifier: ISC
"""Damaged cups wait at sites, are sent to a hub, retired there, and leave in batches for a re-maker; new cups come back
as supplies that name their batch. The scenario is invented, and the figures are worked out by hand beside the events.
That recovered mass is weighed against supplied mass, and that a batch has a weight of its own, is common practice, no
source."""
from datetime import timedelta

import pytest

import network
from harness import new_service
from network import at, business_day, cups, event
from pages import Page

FIRST = business_day() - timedelta(days=9)
HTML = {"Accept": "text/html"}
BATCHES = "/v1/remaking-batches"


def day(n):
    return FIRST + timedelta(days=n)


def batch(code="tb-1", site="wash", **more):
    return {
        "batch": code,
        "site": site,
        "sent_on": str(day(6)),
        "remaker": "Tern Bay Moulding",
        "weight_g": 330,
        "cups": [{"cup_type": "cup-300", "quantity": 6}],
        **more,
    }


@pytest.fixture(scope="module")
def net(module_database):
    """Eight cup-300 break at anchor, four are found broken at brick. Ten are sent to the hub and retired there, nine of
    them weighed: 9 cups, 440 g. One retirement is reversed."""
    service = new_service(module_database)
    bay = network.scheme("tern-bay", FIRST, {"cup-300": "2.50", "cup-450": "3.50"}, return_target="0.95")
    skerry = network.scheme("skerry", FIRST, {"cup-300": "2.50"})
    sites = {
        "anchor": ("tern-bay", "hearth"),
        "brick": ("tern-bay", "miller"),
        "wash": ("tern-bay", "quay", {"kind": "hub"}),
        "gull": ("skerry", "quay"),
    }
    service.admin.load(network.reference([bay, skerry], sites))
    sent = event("dispatch", "anchor", at(day(4)), cups=cups(("cup-300", 8)), to="wash")
    wrong = event("retire", "wash", at(day(5), "13:00"), cups=cups(cup_300=1))
    for e in (
        event("supply", "anchor", at(day(0), "06:00"), cups=cups(cup_300=100)),
        event("supply", "brick", at(day(0), "06:00"), cups=cups(cup_300=100, cup_450=20)),
        event("issue", "anchor", at(day(1)), issued=cups(cup_300=40)),
        event("return", "anchor", at(day(2)), returned=cups(("cup-300", 8), cup_300=24)),
        event("damage", "brick", at(day(3)), cups=cups(cup_300=4)),
        sent,
        event("receipt", "wash", at(day(4), "15:00"), cups=cups(("cup-300", 8)), dispatch=sent["event_id"]),
        event("retire", "wash", at(day(5)), cups=cups(cup_300=6), mass_g=300),
        wrong,
        event("reversal", "wash", at(day(5), "14:00"), reverses=wrong["event_id"]),
    ):
        service.admin.post(e)
    service.staff = service.client(service.create_key("ann", "accountant", holder="Ann"))
    yield service
    service.stop()


def rows(net, name, **query):
    return net.admin.get(f"/v1/reports/{name}", scheme="tern-bay", **query)["items"]


def posted(net, body, status, path=BATCHES):
    answer = net.staff.send("POST", path, body)
    assert answer.status == status, answer.body
    return answer


def waiting(net, site="wash"):
    return {r["cup_type"]: (r["retired"], r["batched"], r["waiting"]) for r in rows(net, "retired-cups", site=site)}


def test_damaged_cups_wait(net):
    """All of anchor's were sent on; brick's wait since they were found; two of the eight are still at the hub."""
    today = business_day()
    found = {(r["site"], r["cup_type"]): (r["cups"], r["since"], r["days"]) for r in rows(net, "damaged-cups")}
    assert found == {
        ("brick", "cup-300"): (4, str(day(3)), (today - day(3)).days),
        ("wash", "cup-300"): (2, str(day(4)), (today - day(4)).days),
    }
    before = {(r["site"], r["cups"], r["since"]) for r in rows(net, "damaged-cups", as_of=day(3))}
    assert before == {("anchor", 8, str(day(2))), ("brick", 4, str(day(3)))}
    till = net.client(net.create_key("brick-till", "pos", sites=["brick"]))
    assert {r["site"] for r in till.get("/v1/reports/damaged-cups", scheme="tern-bay")["items"]} == {"brick"}


def test_damaged_cups_wait_since_they_came_back(net):
    """The days begin anew once a day has ended without any, before and after closes, which keep the balances."""
    net.admin.post(event("damage", "anchor", at(day(7)), cups=cups(cup_300=1)))
    while_open = {r["site"]: (r["cups"], r["since"]) for r in rows(net, "damaged-cups")}
    for n in range(5):
        net.admin.close("tern-bay", day(n))
    found = {r["site"]: (r["cups"], r["since"]) for r in rows(net, "damaged-cups")}
    assert found == {"brick": (4, str(day(3))), "wash": (2, str(day(4))), "anchor": (1, str(day(7)))}
    assert while_open == found


def test_a_batch_holds_what_was_retired(net):
    assert waiting(net) == {"cup-300": (6, 0, 6)}
    dry = net.staff.send("POST", BATCHES + "?dry_run=true", batch())
    assert dry.status == 200 and net.admin.items(BATCHES, scheme="tern-bay") == []
    over = {"cups": [{"cup_type": "cup-300", "quantity": 7}, {"cup_type": "cup-450", "quantity": 1}]}
    refused = posted(net, batch(**over), 422).json
    assert [(e["pointer"], e["reason"]) for e in refused["errors"]] == [
        ("/cups/0/quantity", "more_than_retired"),
        ("/cups/1/quantity", "more_than_retired"),
    ]
    assert net.admin.items(BATCHES, scheme="tern-bay") == [] and waiting(net) == {"cup-300": (6, 0, 6)}
    posted(net, batch(site="brick"), 422)  # four are broken there, and none is retired
    answer = posted(net, batch(), 201)
    assert answer.headers["Location"] == f"{BATCHES}/tern-bay/tb-1"
    made = net.admin.get(f"{BATCHES}/tern-bay/tb-1")
    assert made == answer.json and made["recorded_by"] == "ann" and "withdrawn" not in made and "remade" not in made
    assert {k: made[k] for k in batch()} == batch() and made["scheme"] == "tern-bay"
    assert waiting(net) == {"cup-300": (6, 6, 0)}
    assert posted(net, batch(), 200).json == made, "the same again changes nothing"
    conflict = posted(net, batch(weight_g=331), 409).json
    assert conflict["reason"] == "batch_conflict"
    assert posted(net, batch("tb-2", cups=[{"cup_type": "cup-300", "quantity": 1}]), 422).json["reason"]
    net.admin.assert_holds("tern-bay")


@pytest.mark.parametrize(
    "more, pointer, reason",
    [
        ({"site": "nowhere"}, "/site", "site_unknown"),
        ({"cups": [{"cup_type": "cup-7", "quantity": 1}]}, "/cups/0/cup_type", "cup_type_unknown"),
        ({"cups": [{"cup_type": "cup-300", "quantity": 1}] * 2}, "/cups/1/cup_type", "cup_type_repeated"),
        ({"sent_on": "2999-01-01"}, "/sent_on", "occurred_in_future"),
        ({"weight_g": 0}, "/weight_g", "out_of_range"),
        ({"remaker": ""}, "/remaker", "bad_format"),
        ({"colour": "red"}, "/colour", "member_unknown"),
    ],
)
def test_a_batch_is_refused(net, more, pointer, reason):
    refused = posted(net, batch("tb-9", **more), 422).json
    assert (pointer, reason) in [(e["pointer"], e["reason"]) for e in refused["errors"]], refused


def test_new_cups_come_back(net):
    """50 of 60 stay: one supply is reversed. Amounts are never refused; a batch that there is not is."""
    made_of = {"cups": cups(cup_300=50), "batch": "tb-1"}
    net.admin.post(event("supply", "anchor", at(day(8)), **made_of))
    wrong = event("supply", "anchor", at(day(8), "11:00"), **{**made_of, "cups": cups(cup_300=10)})
    net.admin.post(wrong)
    shown = net.admin.get(f"/v1/events/{wrong['event_id']}", scheme="tern-bay")
    assert shown["event"]["batch"] == "tb-1"
    assert net.admin.get(f"{BATCHES}/tern-bay/tb-1")["remade"] == [{"cup_type": "cup-300", "quantity": 60}]
    net.admin.post(event("reversal", "anchor", at(day(8), "12:00"), reverses=wrong["event_id"]))
    assert net.admin.get(f"{BATCHES}/tern-bay/tb-1")["remade"] == [{"cup_type": "cup-300", "quantity": 50}]
    for site, code in (("anchor", "tb-7"), ("gull", "tb-1")):  # a batch is of one scheme
        unknown = event("supply", site, at(day(8)), cups=cups(cup_300=1), batch=code)
        net.admin.refused("POST", "/v1/events", unknown, 422, "batch_unknown")
    again = {**wrong, "batch": "tb-7"}
    net.admin.refused("POST", "/v1/events", again, 409, "event_id_conflict")


def test_a_wrong_batch_is_withdrawn(net):
    net.admin.post(event("retire", "wash", at(day(8)), cups=cups(cup_300=2), mass_g=90))
    posted(net, batch("tb-3", weight_g=88, cups=[{"cup_type": "cup-300", "quantity": 2}]), 201)
    path = f"{BATCHES}/tern-bay/tb-3/withdraw"
    assert posted(net, {"reason": "It never left"}, 200, path).json["withdrawn"]["by"] == "ann"
    posted(net, {"reason": "It never left"}, 200, path)
    assert posted(net, {"reason": "Another"}, 409, path).json["reason"] == "batch_withdrawn"
    assert posted(net, {"reason": "x"}, 404, f"{BATCHES}/tern-bay/tb-8/withdraw").json["reason"] == "not_found"
    supplied = posted(net, {"reason": "Wrong"}, 409, f"{BATCHES}/tern-bay/tb-1/withdraw").json
    assert supplied["reason"] == "batch_supplied"
    assert waiting(net) == {"cup-300": (8, 6, 2)}, "its cups wait again"
    gone = event("supply", "anchor", at(day(8)), cups=cups(cup_300=1), batch="tb-3")
    net.admin.refused("POST", "/v1/events", gone, 422, "batch_unknown")
    same = batch("tb-3", weight_g=88, cups=[{"cup_type": "cup-300", "quantity": 2}])
    assert posted(net, same, 409).json["reason"] == "batch_conflict", "a code is used once"
    listed = net.admin.items(BATCHES, scheme="tern-bay")
    assert [(b["batch"], "withdrawn" in b) for b in listed] == [("tb-1", False), ("tb-3", True)]
    changes = [c for c in net.admin.items("/v1/changes", of="remaking_batch", limit=100)]
    assert [(c["name"], c["by"]["key"], c.get("why"), "before" in c) for c in changes] == [
        ("tb-1", "ann", None, False),
        ("tb-3", "ann", None, False),
        ("tb-3", "ann", "It never left", True),
    ]
    assert verdicts(net) == {"holds"}


def verdicts(net):
    return {c["verdict"] for c in net.admin.get("/v1/checks")["items"] if c["check"] == "changes_verify"}


def test_a_change_of_a_batch_is_found(net):
    for change in ("weight_g = weight_g + 1", "sent_on = sent_on + 1", "remaker = remaker || 's'"):
        net.database.run("CREATE TABLE kept AS SELECT * FROM remaking_batch WHERE code = 'tb-1'")
        net.database.run(f"UPDATE remaking_batch SET {change} WHERE code = 'tb-1'")
        assert "broken" in verdicts(net), change
        net.database.run(
            "UPDATE remaking_batch b SET weight_g = k.weight_g, sent_on = k.sent_on, remaker = k.remaker FROM kept k"
            " WHERE b.code = k.code"
        )
        net.database.run("DROP TABLE kept")
    net.database.run("UPDATE remaking_batch_line SET quantity = quantity + 1 WHERE number = 1")
    assert "broken" in verdicts(net)
    net.database.run("UPDATE remaking_batch_line SET quantity = quantity - 1 WHERE number = 1")
    assert verdicts(net) == {"holds"}


def test_recovery(net):
    """Supplied: 200 and 50 new ones at 48 g. Retired: 8, of which all were weighed, 390 g. Issued 40, returned 32."""
    [row] = [r for r in rows(net, "recovery", **{"from": FIRST, "to": day(8)}) if r["cup_type"] == "cup-300"]
    assert {k: row[k] for k in ("supplied", "supplied_g", "retired", "weighed", "retired_g")} == {
        "supplied": 250,
        "supplied_g": 250 * 48,
        "retired": 8,
        "weighed": 8,
        "retired_g": 390,
    }
    # 8 of 250; 390 of 12,000
    assert (row["share_of_cups"], row["share_of_grams"]) == ("0.0320", "0.0325")
    # Supplied 250 = in service + damaged (4 brick, 1 anchor) + with customers + retired + lost
    assert (row["in_service"], row["with_customers"], row["lost"]) == (250 - 5 - 8 - 8, 8, 0)
    assert (row["batches"], row["batched"], row["remade"]) == (1, 6, 50)
    assert (row["return_rate"], row["target"]) == ("0.8000", "0.95")
    earlier = [r for r in rows(net, "recovery", **{"from": FIRST, "to": day(5)}) if r["cup_type"] == "cup-300"]
    assert [(r["batches"], r["remade"], r["retired"]) for r in earlier] == [(0, 0, 6)]


def test_a_retirement_stands_while_a_batch_needs_its_cups(net):
    """As a dispatch does whose cups have arrived: the cups have left. Other cups of the type may stand in for them."""
    retired = [event("retire", "wash", at(day(8), f"{8 + n:02}:00"), cups=cups(cup_450=n + 2)) for n in range(2)]
    undo = event("reversal", "wash", at(day(8), "18:00"), reverses=retired[0]["event_id"])
    net.admin.post(retired[0])
    posted(net, batch("tb-4", weight_g=120, cups=[{"cup_type": "cup-450", "quantity": 2}]), 201)
    refused = net.admin.refused("POST", "/v1/events", undo, 422, "retired_in_batch")
    assert [e["pointer"] for e in refused.json["errors"]] == ["/reverses"]
    net.admin.post(retired[1])
    assert net.admin.post(undo)["status"] == "recorded", "the three cups that were retired later are enough"
    assert net.admin.post(undo)["status"] == "duplicate"
    other = event("reversal", "wash", at(day(8), "18:00"), reverses=retired[1]["event_id"])
    net.admin.refused("POST", "/v1/events", other, 422, "retired_in_batch")
    posted(net, {"reason": "It never left"}, 200, f"{BATCHES}/tern-bay/tb-4/withdraw")
    net.admin.post(other)
    assert "cup-450" not in waiting(net)
    net.admin.assert_holds("tern-bay")


def test_pages(net):
    """They carry the cautions, and lead to each other."""
    listed = Page(net.admin.send("GET", f"{BATCHES}?scheme=tern-bay", headers=HTML).body)
    assert any((a.get("href") or "").startswith(f"{BATCHES}/tern-bay/tb-1") for a in listed.all("a"))
    for path, words in (
        (f"{BATCHES}/tern-bay/tb-1", "Claims about the environment need evidence"),
        ("/v1/reports/recovery?scheme=tern-bay", "Claims about the environment need evidence"),
        ("/v1/reports/damaged-cups?scheme=tern-bay", "damaged ones never"),
    ):
        answer = net.admin.send("GET", path, headers=HTML)
        assert answer.status == 200 and words in answer.body.decode(), path
