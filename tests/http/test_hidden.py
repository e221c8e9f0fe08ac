# SPDX-License-Identifier: ISC
"""A request that names a thing that a bound key may not know of is answered, byte for byte, as if the thing did not
exist. Each row asks for a hidden thing and for an absent thing with an equally long name. The contract's table of keys
says which things a key may know of.

One thing cannot be hidden: an event id is taken once in a scheme. So other content under an id that another key has
used is refused with event_id_conflict, as it is under the key's own id."""
import re
from datetime import date, timedelta
from uuid import uuid4

import pytest

import network
from model import DAY
from network import at, cups, event

FIRST = date.today() - timedelta(days=3)
OPEN = FIRST + DAY
TILL, OWNER = "till", "owner"  # of anchor and copper (hearth), in tern-bay
# hidden thing -> absent thing; brick is miller's, in tern-bay; gull is miller's, in skerry
ABSENT = {"brick": "brack", "gull": "gall", "skerry": "skarry", "miller": "muller"}
NEVER = str(uuid4())


@pytest.fixture(scope="module")
def net(shared):
    admin = shared.admin
    admin.load(
        network.reference(
            [network.scheme(code, FIRST, {"cup-300": "2.50"}) for code in ("tern-bay", "skerry")],
            {
                "anchor": ("tern-bay", "hearth"),
                "copper": ("tern-bay", "hearth"),
                "brick": ("tern-bay", "miller"),
                "gull": ("skerry", "miller"),
            },
        )
        | {
            "tax_registrations": [{"participant": "miller", "effective_date": str(FIRST), "tax_registered": False}],
            "site_kinds": [{"site": s, "effective_date": str(FIRST), "kind": "hub"} for s in ("brick", "gull")],
        }
    )
    shared.by_key = {
        TILL: shared.client(shared.create_key("till", "pos", sites=["anchor", "copper"])),
        OWNER: shared.client(shared.create_key("hearth-book", "participant", participant="hearth")),
    }
    lost = event("dispatch", "brick", at(OPEN), cups=cups(cup_300=2), to="anchor")
    made = {
        "issue": event("issue", "brick", at(OPEN), issued=cups(cup_300=1)),
        "closed": event("issue", "brick", at(FIRST), issued=cups(cup_300=1)),
        "dispatch": event("dispatch", "brick", at(OPEN), cups=cups(cup_300=5), to="anchor"),
        "reversed": event("issue", "brick", at(OPEN, "11:00"), issued=cups(cup_300=1)),
        "gull": event("issue", "gull", at(OPEN), issued=cups(cup_300=1)),
        "gull_dispatch": event("dispatch", "gull", at(OPEN), cups=cups(cup_300=5), to="gull"),
        "forfeit": event("forfeit", None, at(OPEN), scheme="tern-bay", cups=cups(cup_300=1)),
        "lost": lost,
        "loss": event(
            "transit_loss",
            "brick",
            at(OPEN, "12:00"),
            cups=cups(cup_300=1),
            bearer="operator",
            dispatch=lost["event_id"],
        ),
        "journal": event(
            "journal",
            None,
            at(OPEN),
            scheme="tern-bay",
            reason="charges",
            legs=[{"account": "bank", "amount": "-1.00"}, {"account": "tax", "amount": "1.00"}],
        ),
    }
    del made["gull_dispatch"]
    made["undone"] = event("reversal", "brick", at(OPEN, "13:00"), reverses=made["reversed"]["event_id"])
    assert {r["status"] for r in admin.post_many(list(made.values()))} <= {"recorded", "proposed"}
    admin.put(
        f"/v1/sites/brick/day-totals/{FIRST}", {"issued": 1, "returned": 0, "collected": "2.50", "refunded": "0.00"}
    )
    [payment] = admin.close("tern-bay", FIRST)["payments"]
    shared.made = made
    shared.hidden = {
        "payment": payment["payment_id"],
        "entry": str(max(e["entry"] for e in admin.feed("tern-bay") if e.get("event", {}).get("site") == "brick")),
        **{name: e["event_id"] for name, e in made.items()},
    }
    shared.absent = {"payment": "0" * len(payment["payment_id"]), "entry": "9" * len(shared.hidden["entry"])}
    return shared


def reads():
    """Targets with {names} of hidden things, or of absent things in their place."""
    yield "/v1/events/{issue}"
    yield "/v1/events/{issue}?scheme=tern-bay"
    yield "/v1/events/{issue}?scheme={skerry}"
    yield "/v1/events/{gull_event}"
    yield "/v1/events/{forfeit}"
    yield "/v1/events/{journal}"
    yield "/v1/events/{closed}/proof"
    yield "/v1/events/{issue}/proof"
    yield "/v1/entries/{entry}?scheme=tern-bay"
    yield "/v1/entries/{entry}/proof?scheme=tern-bay"
    yield "/v1/entries/1?scheme={skerry}"
    yield "/v1/entries/1/proof?scheme={skerry}"
    for site in ("{brick}", "{gull}"):
        yield f"/v1/sites/{site}"
        yield f"/v1/sites/{site}/kind"
        yield f"/v1/sites/{site}/kind/{FIRST}"
        yield f"/v1/sites/{site}/day-totals/{FIRST}"
        yield f"/v1/events?scheme=tern-bay&site={site}"
        yield f"/v1/reports/site-statement?scheme=tern-bay&site={site}"
    for path in ("", "/terms", f"/terms/{FIRST}", "/refund-values", f"/refund-values/cup-300/{FIRST}"):
        yield "/v1/schemes/{skerry}" + path
    yield "/v1/participants/{miller}"
    yield "/v1/participants/{miller}/tax-registration"
    yield f"/v1/participants/{{miller}}/tax-registration/{FIRST}"
    yield "/v1/events?scheme={skerry}"
    for report in (
        "site-statement",
        "stock",
        "participant-statement",
        "statement-of-account",
        "fees",
        "payments",
        "settlement",
    ):
        yield f"/v1/reports/{report}?scheme={{skerry}}"
    yield "/v1/reports/participant-statement?scheme=tern-bay&participant={miller}"
    yield "/v1/reports/statement-of-account?scheme=tern-bay&participant={miller}"
    yield "/v1/reports/fees?scheme=tern-bay&participant={miller}"
    yield "/v1/reports/fees?scheme=tern-bay&site={brick}"
    yield "/v1/reports/payments?scheme=tern-bay&participant={miller}"
    yield "/v1/settlements?scheme={skerry}"
    yield "/v1/fee-notes?scheme={skerry}"
    yield "/v1/fee-notes/{skerry}/1"
    yield "/v1/fee-notes?scheme=tern-bay&participant={miller}"
    yield f"/v1/settlements/{{skerry}}/{FIRST}"
    yield "/v1/payments?scheme={skerry}"
    yield "/v1/payments?scheme=tern-bay&participant={miller}"
    yield "/v1/payments/{payment}"


def writes():
    """kind, site, members: events that a till posts."""
    one = cups(cup_300=1)
    for site in ("{brick}", "{gull}"):
        yield "issue", site, {"issued": one}
        yield "retire", site, {"cups": one}
        yield "reversal", site, {"reverses": "{issue}"}
        yield "dispatch", site, {"cups": one, "to": "anchor"}
    yield "dispatch", "anchor", {"cups": one, "to": "{gull}"}
    for name in (
        "issue",
        "closed",
        "reversed",
        "undone",
        "dispatch",
        "lost",
        "loss",
        "forfeit",
        "journal",
        "gull_event",
    ):
        yield "reversal", "anchor", {"reverses": f"{{{name}}}"}
        if name not in ("dispatch", "lost"):  # that the till may receive
            yield "receipt", "anchor", {"cups": one, "dispatch": f"{{{name}}}"}
    yield "transit_loss", "anchor", {"cups": one, "dispatch": "{dispatch}", "bearer": "operator"}
    yield "forfeit", None, {"cups": one, "scheme": "{skerry}"}


def filled(net, value, hidden):
    """The text, or its nested values, with the hidden things or with absent things."""
    if isinstance(value, dict):
        return {k: filled(net, v, hidden) for k, v in value.items()}
    if not isinstance(value, str):
        return value

    def name(found):
        word = found[1].replace("gull_event", "gull") if found[1] == "gull_event" else found[1]
        if found[1] in ABSENT:
            return found[1] if hidden else ABSENT[found[1]]
        return net.hidden[word] if hidden else net.absent.get(word, NEVER)

    return re.sub(r"\{(\w+)\}", name, value)


def asked(client, method, target, body=None, **headers):
    answer = client.send(method, target, body, {"X-Request-Id": "0123456789abcdef0123456789abcdef", **headers})
    return answer.status, sorted((k, v) for k, v in answer.headers.items() if k != "Date"), answer.body


@pytest.mark.parametrize("accept", ["application/json", "text/html"])
@pytest.mark.parametrize("key", [TILL, OWNER])
@pytest.mark.parametrize("target", list(dict.fromkeys(reads())))
def test_a_hidden_thing_is_read_as_if_it_were_absent(net, key, target, accept):
    hidden, absent = (
        asked(net.by_key[key], "GET", filled(net, target, there), Accept=accept) for there in (True, False)
    )
    assert hidden[0] in (403, 404, 422)
    assert hidden == absent


@pytest.mark.parametrize("key", [TILL, OWNER])
@pytest.mark.parametrize("kind, site, members", list(writes()))
def test_a_hidden_thing_is_named_in_vain(net, key, kind, site, members):
    posted = event(kind, filled(net, site, True), at(OPEN, "14:00"), **filled(net, members, True))
    without = {**posted, **filled(net, {"site": site} if site else {}, False), **filled(net, members, False)}
    client = net.by_key[key]
    for query in ("", "?dry_run=true"):
        hidden, absent = (asked(client, "POST", "/v1/events" + query, e) for e in (posted, without))
        assert hidden[0] in (403, 404, 422)
        assert hidden == absent
    many = [asked(client, "POST", "/v1/events", [e]) for e in (posted, without)]
    assert many[0] == many[1]


@pytest.mark.parametrize("site", ["{brick}", "{gull}"])
def test_a_till_says_nothing_of_other_sites_days(net, site):
    totals = {"issued": 1, "returned": 0, "collected": "2.50", "refunded": "0.00"}
    hidden, absent = (
        asked(net.by_key[TILL], "PUT", filled(net, f"/v1/sites/{site}/day-totals/{FIRST}", there), totals)
        for there in (True, False)
    )
    assert hidden[0] == 404 and hidden == absent


def test_a_till_learns_what_its_own_work_needs(net):
    """It sends to any site of its scheme, receives what another site sent, and learns what is wrong with its own
    events."""
    till = net.by_key[TILL]
    sent = till.post(event("dispatch", "anchor", at(OPEN, "09:00"), cups=cups(cup_300=1), to="brick"))
    assert sent["status"] == "recorded"
    got = event("receipt", "anchor", at(OPEN, "15:00"), cups=cups(cup_300=5), dispatch=net.made["dispatch"]["event_id"])
    assert till.post(got)["exceptions"] == []
    own = event("issue", "copper", at(OPEN), issued=cups(cup_300=1))
    till.post(own)
    till.refused(
        "POST",
        "/v1/events",
        event("receipt", "anchor", at(OPEN), cups=cups(cup_300=1), dispatch=own["event_id"]),
        422,
        "not_a_dispatch",
    )
    till.refused(
        "POST", "/v1/events", event("reversal", "anchor", at(OPEN), reverses=own["event_id"]), 422, "site_differs"
    )
    net.admin.refused(
        "POST",
        "/v1/events",
        event("dispatch", "anchor", at(OPEN), cups=cups(cup_300=1), to="gull"),
        422,
        "site_in_other_scheme",
    )
    # The one thing that shows: the id is taken.
    for taken in (own, net.made["issue"]):
        till.refused(
            "POST",
            "/v1/events",
            event("issue", "anchor", at(OPEN), issued=cups(cup_300=2)) | {"event_id": taken["event_id"]},
            409,
            "event_id_conflict",
        )
    conflicts = [
        asked(
            till,
            "POST",
            "/v1/events",
            event("issue", "anchor", at(OPEN), issued=cups(cup_300=2)) | {"event_id": taken["event_id"]},
        )
        for taken in (own, net.made["issue"])
    ]
    assert conflicts[0] == conflicts[1]


def test_every_read_that_names_something_is_compared(net):
    """There is a row for each route with such a part in its path that a till or a participant may use."""
    rows = [re.sub(r"\?.*", "", re.sub(r"\{\w+\}", "x", target)) for target in reads()]
    for path, operations in net.admin.get("/openapi.json")["paths"].items():
        if "get" not in operations or not re.search(r"\{(scheme|site|participant|event_id|entry|payment_id)\}", path):
            continue
        concrete = re.sub(r"\{(\w+)\}", "x", path)
        statuses = {net.by_key[key].send("GET", filled(net, concrete, True)).status for key in (TILL, OWNER)}
        if statuses == {403}:
            continue  # the role may not use it
        shape = re.compile(re.sub(r"\{\w+\}", "[^/]+", path) + "$")
        assert any(shape.match(row) for row in rows), path
