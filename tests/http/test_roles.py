# SPDX-License-Identifier: ISC
"""The permissions of each role: requests every route of /openapi.json with each of the five roles, without a key and
with a wrong key.

PERMITTED is the contract's table of keys, written out by hand. A new route of the service must also get a row here."""
import re
from datetime import date, timedelta
from decimal import Decimal

import pytest

import bank
import network
from harness import wait_until
from model import DAY
from network import at, cups, event

FIRST = date.today() - timedelta(days=3)
SCHEME = {"currency": "CAD", "time_zone": "America/St_Johns", "cut_off": "03:00", "stock_terms": "on_loan"}
OPERATOR = {"name": "Tern Bay Cup Pool", "bank_account": {"account": "00001000", "bank_code": "TB-000"}}
CUP = "07300015200154000000000356"  # GS1's data dictionary, page of `grai` (BDT00000065)
ROLES = ("pos", "participant", "auditor", "accountant", "admin")
OPEN = (*ROLES, "no key")
ALL, READERS, BOOKS, ADMIN = ROLES, ("auditor", "accountant", "admin"), ("accountant", "admin"), ("admin",)

PERMITTED = {
    "GET /": ALL,
    "GET /style.css": OPEN,
    "GET /healthz": OPEN,
    "GET /readyz": OPEN,
    "GET /metrics": OPEN,
    "GET /openapi.json": OPEN,
    "GET /problems/{}": OPEN,
    "GET /v1/tasks/{}": ALL,
    "GET /v1/me": ALL,
    "POST /v1/me/renew": ALL,
    "POST /v1/me/language": ALL,
    "GET /v1/me/sessions": ALL,
    "DELETE /v1/me/sessions/{}": ALL,
    "POST /v1/events": ("pos", *BOOKS),
    "GET /v1/events": ALL,
    "GET /v1/events/{}": ALL,
    "GET /v1/events/{}/proof": ALL,
    "GET /v1/entries/{}/proof": ALL,
    # reference data: own, own, all, all, all to read; written by admin only
    **{
        f"GET /v1/{path}": ALL
        for path in (
            "schemes",
            "schemes/{}",
            "schemes/{}/terms",
            "schemes/{}/terms/{}",
            "schemes/{}/refund-values",
            "schemes/{}/refund-values/{}/{}",
            "participants",
            "participants/{}",
            "participants/{}/tax-registration",
            "participants/{}/tax-registration/{}",
            "sites",
            "sites/{}",
            "sites/{}/kind",
            "sites/{}/kind/{}",
            "cup-types",
            "cup-types/{}",
            "reference",
            "posting-rules",
            "reports",
        )
    },
    **{
        f"PUT /v1/{path}": ADMIN
        for path in (
            "schemes/{}",
            "schemes/{}/terms/{}",
            "schemes/{}/refund-values/{}/{}",
            "schemes/{}/office-accounts/{}",
            "schemes/{}/agreements/{}/{}",
            "participants/{}",
            "participants/{}/tax-registration/{}",
            "sites/{}",
            "sites/{}/kind/{}",
            "cup-types/{}",
        )
    },
    "GET /v1/proposals": READERS,
    "GET /v1/proposals/{}": READERS,
    "POST /v1/proposals/{}/approve": BOOKS,
    "POST /v1/proposals/{}/withdraw": BOOKS,
    "GET /v1/changes": READERS,
    "POST /v1/reference": ADMIN,
    **{f"POST /v1/{path}": ADMIN for path in ("participants", "sites", "cup-types", "schemes/{}/refund-values")},
    "POST /v1/schemes/{}/opening": BOOKS,
    "GET /v1/keys": ADMIN,
    "POST /v1/keys": ADMIN,
    "POST /v1/keys/{}/language": ADMIN,
    "DELETE /v1/keys/{}": ADMIN,
    "PUT /v1/sites/{}/day-totals/{}": ("pos", *BOOKS),
    "GET /v1/sites/{}/day-totals/{}": ALL,
    "GET /v1/entries/{}": ALL,
    "GET /v1/cups": ALL,
    "GET /v1/cups/{}": ALL,
    "GET /v1/settlements": ("participant", *READERS),
    "GET /v1/settlements/{}/{}": ("participant", *READERS),
    "GET /v1/fee-notes": ("participant", *READERS),
    "GET /v1/fee-notes/{}/{}": ("participant", *READERS),
    "GET /v1/remaking-batches": READERS,
    "GET /v1/remaking-batches/{}/{}": READERS,
    "POST /v1/remaking-batches": BOOKS,
    "POST /v1/remaking-batches/{}/{}/withdraw": BOOKS,
    "GET /v1/shipments": ALL,
    "GET /v1/shipments/{}": ALL,
    "GET /v1/shipments/{}/packing-list": ALL,
    "POST /v1/shipments": BOOKS,
    "POST /v1/shipments/{}/withdraw": BOOKS,
    "GET /v1/accounts": READERS,
    "GET /v1/checks": READERS,
    "GET /v1/seals": READERS,
    "GET /v1/feed": READERS,
    "GET /v1/schemes/{}/office-accounts": READERS,  # the office's own ledger
    "GET /v1/schemes/{}/office-accounts/{}": READERS,
    "GET /v1/schemes/{}/agreements": READERS,  # between operators
    "GET /v1/schemes/{}/agreements/{}/{}": READERS,
    "GET /v1/schemes/{}/returns-to-come/{}": READERS,
    "GET /v1/schemes/{}/months": READERS,
    "GET /v1/schemes/{}/months/{}": READERS,
    "GET /v1/schemes/{}/days": READERS,  # it counts the events of all: a report
    **{
        f"POST /v1/{path}": BOOKS
        for path in (
            "schemes/{}/days/{}/close",
            "schemes/{}/months/{}/close",
            "schemes/{}/months/{}/reopen",
            "settlements/{}/{}/approve",
            "settlements/{}/{}/files",
            "payments/{}/approve",
            "payments/{}/release",
            "payments/{}/confirm",
            "payments/{}/fail",
            "bank-statements",
            "exceptions/{}/resolve",
            "exceptions/resolve",
        )
    },
    "GET /v1/payments": ("participant", *READERS),
    "GET /v1/payments/{}": ("participant", *READERS),
    "GET /v1/journals": READERS,
    "GET /v1/journals/{}": READERS,
    "POST /v1/journals/{}/approve": BOOKS,
    "POST /v1/journals/{}/withdraw": BOOKS,
    "GET /v1/openings": READERS,
    "GET /v1/openings/{}": READERS,
    "POST /v1/openings/{}/approve": BOOKS,
    "POST /v1/openings/{}/withdraw": BOOKS,
    "GET /v1/files/{}": BOOKS,
    "GET /v1/plans": BOOKS,
    "POST /v1/plans": BOOKS,
    "GET /v1/purchases": BOOKS,
    "GET /v1/office": READERS,
    "GET /v1/settlements/{}/{}/files": READERS,
    "GET /v1/bank-statements": READERS,
    "GET /v1/bank-statements/{}": READERS,
    "GET /v1/bank-statements/{}/raw": READERS,
    "GET /v1/bank-lines": READERS,
    "GET /v1/bank-lines/{}": READERS,
    "GET /v1/exceptions/{}": READERS,
    "POST /v1/bank-lines/{}/resolve": BOOKS,
    "GET /v1/reports/{}": READERS,  # deposit-cover stands for "other reports"; those of pos and participant are below
}
EVENTS = {  # kind -> who may post it; a pos key only at its own sites, retire only at a hub
    **{
        kind: ("pos", *BOOKS)
        for kind in (
            "issue",
            "return",
            "exchange",
            "supply",
            "dispatch",
            "receipt",
            "damage",
            "count",
            "retire at a hub",
            "reversal of an own event",
        )
    },
    **{
        kind: BOOKS
        for kind in (
            "retire at a cafe",
            "reversal on a closed day",
            "forfeit",
            "reinstate",
            "transit_loss",
            "journal",
            "opening",
        )
    },
}


@pytest.fixture(scope="module")
def net(shared):
    """A network with a closed day, and a key of each role. The keys are bound to anchor and hub (hearth); brick is
    miller's."""
    service = shared
    service.admin.load(
        network.reference(
            [
                network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}, operator=OPERATOR),
                *(network.scheme(code, FIRST, {"cup-300": "2.50"}) for code in ("skerry", "new-quay")),
            ],
            {
                "anchor": ("tern-bay", "hearth"),
                "hub": ("tern-bay", "hearth", {"kind": "hub"}),
                "brick": ("tern-bay", "miller"),
                "cairn": ("skerry", "miller"),
            },
        )
        | {
            "tax_registrations": [{"participant": "hearth", "effective_date": str(FIRST), "tax_registered": True}],
            "site_kinds": [{"site": "anchor", "effective_date": str(FIRST), "kind": "cafe"}],
        }
    )
    service.keys = {
        "pos": service.create_key("till", "pos", sites=["anchor", "hub"]),
        "participant": service.create_key("hearth-book", "participant", participant="hearth"),
        "no key": None,
        "wrong key": "x" * 43,
        **{role: service.create_key(f"the-{role}", role) for role in READERS},
    }
    service.by_role = {role: service.client(key) for role, key in service.keys.items()}
    named = [{**cups(cup_300=2)[0], "ids": [CUP]}]
    service.closed_event = event("issue", "anchor", at(FIRST), issued=named)
    service.others_event = event("issue", "brick", at(FIRST), issued=cups(cup_300=1))
    service.sent = event("dispatch", "anchor", at(FIRST), cups=cups(cup_300=5), to="brick")
    service.admin.post_many(
        [
            service.closed_event,
            service.others_event,
            service.sent,
            event("forfeit", None, at(FIRST), scheme="tern-bay", cups=cups(cup_300=1)),
        ]
    )
    service.admin.put(f"/v1/schemes/tern-bay/office-accounts/{FIRST}", {"accounts": []})
    service.admin.put(
        f"/v1/sites/anchor/day-totals/{FIRST}", {"issued": 2, "returned": 0, "collected": "5.00", "refunded": "0.00"}
    )
    told = bank.statement("S-1", "00001000", "CAD", str(FIRST), [bank.Booking(Decimal("20.00"))])
    answer = service.admin.send(
        "POST", "/v1/bank-statements?scheme=tern-bay", told, {"Content-Type": "application/xml"}
    )
    assert answer.status == 200, answer.body
    answer = service.admin.send("PUT", "/v1/schemes/tern-bay", {**SCHEME, "operator": OPERATOR, "dual_control": False})
    assert (answer.status, answer.json["proposal"]) == (202, 1), answer.body
    answer = service.admin.send("POST", "/v1/shipments", asked_shipment())
    assert answer.status == 201, answer.body
    service.shipment = answer.json["items"][0]["shipment"]
    settlement = service.admin.close("tern-bay", FIRST)
    wait_until(lambda: service.admin.send("GET", f"/v1/cups/{CUP}").status == 200)
    service.payment = next(p["payment_id"] for p in settlement["payments"] if "hearth" in (p["from"], p["to"]))
    return service


MAY_BE_ABSENT = ("files", "agreements/", "openings/", "journals/", "fee-notes/", "remaking-batches/")


def asked_shipment():
    wanted = {"site": "anchor", "to": "brick", "wanted_on": str(FIRST), "cups": cups(cup_300=5)}
    return {"scheme": "tern-bay", "shipments": [wanted]}


def concrete(net, operation):
    """An existing path with the query that it needs, and a suitable body."""
    path = operation.partition(" ")[2]
    day, later = FIRST + DAY, date.today() + 2 * DAY
    filled = {
        "/v1/events/{}": net.closed_event["event_id"],
        "/v1/events/{}/proof": net.closed_event["event_id"],
        "/v1/schemes/{}/terms/{}": ("tern-bay", FIRST if operation.startswith("GET") else later),
        "/v1/schemes/{}/refund-values/{}/{}": ("tern-bay", "cup-300", FIRST if operation.startswith("GET") else later),
        "/v1/schemes/{}/office-accounts/{}": ("tern-bay", FIRST),
        "/v1/schemes/{}/agreements/{}/{}": ("tern-bay", "skerry", later),
        "/v1/schemes/{}/days/{}/close": ("tern-bay", day),
        "/v1/schemes/{}/returns-to-come/{}": ("tern-bay", "cup-300"),
        **{f"/v1/schemes/{{}}/months/{{}}{part}": ("tern-bay", f"{FIRST:%Y-%m}") for part in ("", "/close", "/reopen")},
        "/problems/{}": "not_found",
        "/v1/tasks/{}": "payments_to_approve",
        "/v1/participants/{}": "hearth",
        "/v1/participants/{}/tax-registration": "hearth",
        "/v1/participants/{}/tax-registration/{}": ("hearth", FIRST if operation.startswith("GET") else later),
        "/v1/sites/{}": "anchor",
        "/v1/sites/{}/kind": "anchor",
        "/v1/sites/{}/kind/{}": ("anchor", FIRST if operation.startswith("GET") else later),
        "/v1/cup-types/{}": "cup-300",
        "/v1/cups/{}": CUP,
        "/v1/keys/{}": "the-auditor",
        "/v1/keys/{}/language": "the-auditor",
        "/v1/sites/{}/day-totals/{}": ("anchor", FIRST),
        "/v1/settlements/{}/{}": ("tern-bay", FIRST),
        "/v1/settlements/{}/{}/approve": ("tern-bay", FIRST),
        "/v1/settlements/{}/{}/files": ("tern-bay", FIRST),
        "/v1/fee-notes/{}/{}": ("tern-bay", 1),
        **dict.fromkeys(("/v1/remaking-batches/{}/{}", "/v1/remaking-batches/{}/{}/withdraw"), ("tern-bay", "tb-1")),
        **{f"/v1/shipments/{{}}{part}": net.shipment for part in ("", "/withdraw", "/packing-list")},
        "/v1/reports/{}": "deposit-cover",
        "/v1/payments/{}": net.payment,
        **dict.fromkeys(("/v1/bank-statements/{}", "/v1/bank-statements/{}/raw", "/v1/bank-lines/{}"), "tern-bay.1"),
        **{f"/v1/payments/{{}}/{change}": net.payment for change in ("release", "approve", "confirm", "fail")},
        "/v1/exceptions/{}": "tern-bay.1.0",
        "/v1/exceptions/{}/resolve": "tern-bay.1.0",
    }.get(path, "tern-bay" if path.startswith("/v1/schemes/{}") else "1")
    body = {
        "POST /v1/events": event("issue", "anchor", at(day), issued=cups(cup_300=1)),
        "PUT /v1/schemes/{}": SCHEME,
        "PUT /v1/schemes/{}/terms/{}": network.TERMS,
        "PUT /v1/schemes/{}/refund-values/{}/{}": {"amount": "3.00"},
        "PUT /v1/schemes/{}/office-accounts/{}": {"accounts": []},
        "PUT /v1/schemes/{}/agreements/{}/{}": {"currency": "CAD", "rate": "1", "values": [], "signs_for": "skerry"},
        "PUT /v1/participants/{}": {"name": "Hearth"},
        "PUT /v1/participants/{}/tax-registration/{}": {"tax_registered": False},
        "PUT /v1/sites/{}/kind/{}": {"kind": "hub"},
        "PUT /v1/cup-types/{}": {"name": "Cup", "volume_ml": 300, "mass_g": 48},
        "PUT /v1/sites/{}": {
            "scheme": "tern-bay",
            "participant": "hearth",
            "name": "Anchor",
            "kind": "cafe",
            "opened_on": "2000-01-01",
        },
        "POST /v1/reference": {"sites": []},
        "POST /v1/plans": {"scheme": "tern-bay"},
        "POST /v1/participants": b"participant,name\n",
        "POST /v1/sites": b"site,scheme,participant,name,kind,opened_on\n",
        "POST /v1/schemes/{}/opening": b"what\n",
        "POST /v1/cup-types": b"cup_type,name,volume_ml,mass_g\n",
        "POST /v1/schemes/{}/refund-values": b"cup_type,effective_date,amount\n",
        "POST /v1/me/language": {"language": "fr"},
        "POST /v1/keys/{}/language": {},
        "POST /v1/keys": {"name": "new", "holder": "Nell", "role": "auditor"},
        "POST /v1/exceptions/{}/resolve": {"note": "looked at"},
        "POST /v1/exceptions/resolve": {"ids": ["tern-bay.1.0"], "note": "looked at"},
        "PUT /v1/sites/{}/day-totals/{}": {"issued": 0, "returned": 0, "collected": "0.00", "refunded": "0.00"},
        "POST /v1/settlements/{}/{}/files": {"type": "payouts"},
        "POST /v1/remaking-batches": {
            "batch": "tb-1",
            "site": "anchor",
            "sent_on": str(FIRST),
            "remaker": "Moulding",
            "weight_g": 48,
            "cups": [{"cup_type": "cup-300", "quantity": 1}],
        },
        "POST /v1/remaking-batches/{}/{}/withdraw": {"reason": "in error"},
        "POST /v1/bank-lines/{}/resolve": {"note": "n", "payment_id": "x"},
        "POST /v1/bank-statements": b"<Document/>",
        "POST /v1/payments/{}/fail": {"reason": "closed"},
        "POST /v1/journals/{}/withdraw": {"reason": "in error"},
        "POST /v1/openings/{}/withdraw": {"reason": "in error"},
        "POST /v1/proposals/{}/withdraw": {"reason": "in error"},
        "POST /v1/shipments": asked_shipment(),
        "POST /v1/shipments/{}/withdraw": {"reason": "in error"},
        "POST /v1/schemes/{}/months/{}/reopen": {"reason": "in error"},
    }.get(operation)
    path = path.format(*(filled if isinstance(filled, tuple) else (filled,)))
    if operation in (
        "GET /v1/events",
        "GET /v1/settlements",
        "GET /v1/fee-notes",
        "GET /v1/remaking-batches",
        "GET /v1/shipments",
        "GET /v1/accounts",
        "GET /v1/seals",
        "GET /v1/reports/{}",
        "GET /v1/payments",
        "GET /v1/plans",
        "GET /v1/purchases",
        "GET /v1/journals",
        "GET /v1/openings",
        "GET /v1/entries/{}",
        "GET /v1/entries/{}/proof",
        "GET /v1/bank-statements",
        "GET /v1/bank-lines",
        "POST /v1/bank-statements",
    ):
        path += "?scheme=tern-bay" + ("&site=anchor" if operation == "GET /v1/events" else "")
    if operation == "GET /v1/feed":
        path += "?schemes=all"
    if not operation.startswith("GET"):
        path += ("&" if "?" in path else "?") + "dry_run=true"
    return path, body


def test_the_table_has_every_route(net):
    served = {f"{method} {re.sub(r'{[^}]*}', '{}', path)}" for method, path in net.contract.operations()}
    assert served <= PERMITTED.keys(), "routes whose permission nobody wrote down"
    assert len(served) > 30


@pytest.mark.parametrize("role", [*ROLES, "no key", "wrong key"])
def test_routes(net, role):
    for method, template in net.contract.operations():
        operation = f"{method} {re.sub(r'{[^}]*}', '{}', template)}"
        path, body = concrete(net, operation)
        headers = None
        if isinstance(body, bytes):
            headers = {"Content-Type": "application/xml" if body.startswith(b"<") else "text/csv"}
        answer = net.by_role[role].send(method, path, body, headers)
        permitted = PERMITTED[operation]
        if role in permitted or permitted is OPEN:
            # A GET finds the thing. A dry run may be refused for its content, but never for its key.
            assert answer.status < 300 or (
                answer.status in (404, 409, 422) and (method != "GET" or any(of in path for of in MAY_BE_ABSENT))
            ), (
                role,
                operation,
                answer.status,
                answer.body,
            )
        elif role in ROLES:
            assert (answer.status, answer.json["reason"]) == (403, "role_not_allowed"), (role, operation, answer.body)
        else:
            assert (answer.status, answer.json["reason"]) == (401, "unauthenticated"), (role, operation, answer.body)


def event_of(net, kind, day):
    """An event at the pos key's own sites that is right, except perhaps for the role of the poster."""

    def own(what, **members):
        return event(what, "anchor", at(day), **members)

    fresh = own("issue", issued=cups(cup_300=1))
    if kind == "reversal of an own event":
        net.admin.post(fresh)
    return {
        "issue": fresh,
        "return": own("return", returned=cups(cup_300=1)),
        "supply": own("supply", cups=cups(cup_300=1)),
        "exchange": own("exchange", issued=cups(cup_300=1), returned=cups(cup_300=1)),
        "damage": own("damage", cups=cups(cup_300=1)),
        "dispatch": own("dispatch", cups=cups(cup_300=1), to="brick"),
        "receipt": own("receipt", cups=cups(cup_300=1), dispatch=net.sent["event_id"]),
        "count": own("count", cups=[{"cup_type": "cup-300", "counted": 4}]),
        "retire at a hub": event("retire", "hub", at(day), cups=cups(cup_300=1)),
        "retire at a cafe": own("retire", cups=cups(cup_300=1)),
        "reversal of an own event": own("reversal", reverses=fresh["event_id"]),
        "reversal on a closed day": own("reversal", reverses=net.closed_event["event_id"]),
        "forfeit": event("forfeit", None, at(day), scheme="tern-bay", cups=cups(cup_300=1)),
        "reinstate": event("reinstate", None, at(day), scheme="tern-bay", cups=cups(cup_300=1)),
        "transit_loss": own("transit_loss", cups=cups(cup_300=1), dispatch=net.sent["event_id"], bearer="sender"),
        "journal": event(
            "journal",
            None,
            at(day),
            scheme="tern-bay",
            reason="a fee too many",
            legs=[{"account": "service_fees", "amount": "1.00"}, {"account": "handling_fees", "amount": "-1.00"}],
        ),
        "opening": event(
            "opening",
            None,
            at(FIRST),
            scheme="new-quay",
            bank="1.00",
            places=[{"place": "with_customers", "cup_type": "cup-300", "quantity": 1}],
        ),
    }[kind]


REASONS = {"retire at a cafe": "retire_needs_hub", "reversal on a closed day": "reversal_needs_accountant"}


@pytest.mark.parametrize("kind", EVENTS)
def test_event_kinds(net, kind):
    for role in (*ROLES, "no key"):
        sent = event_of(net, kind, FIRST + DAY)
        answer = net.by_role[role].send("POST", "/v1/events?dry_run=true", sent)
        if role in EVENTS[kind]:
            done = "proposed" if kind in ("journal", "opening") else "recorded"
            assert answer.status == 200 and answer.json["status"] == done, (role, kind, answer.body)
        else:
            reason = "unauthenticated" if role == "no key" else REASONS.get(kind) if role == "pos" else None
            assert (answer.status, answer.json["reason"]) == (
                401 if role == "no key" else 403,
                reason or "role_not_allowed",
            ), (role, kind, answer.body)


def test_pos_posts_at_its_own_sites_only(net):
    till = net.by_role["pos"]
    for site in ("brick", "cairn", "nowhere"):
        elsewhere = event("issue", site, at(FIRST + DAY), issued=cups(cup_300=1))
        till.refused("POST", "/v1/events", elsewhere, 403, "site_not_allowed")
    results = till.post_many(
        [event("issue", s, at(FIRST + DAY), issued=cups(cup_300=1)) for s in ("anchor", "brick", "hub")]
    )
    assert [r["status"] for r in results] == ["recorded", "rejected", "recorded"]
    assert results[1]["problem"]["reason"] == "site_not_allowed"
    # its own event, of an open day, but at another's site: still another's
    till.refused(
        "POST",
        "/v1/events",
        event("reversal", "brick", at(FIRST + DAY), reverses=net.others_event["event_id"]),
        403,
        "site_not_allowed",
    )


def assert_own(entries, sites):
    """Checks that all entries are events of the sites, or entries that the close posted for them."""
    assert {i["event"]["site"] for i in entries if "event" in i} <= sites and entries
    assert not re.search("brick|miller", str([i["legs"] for i in entries if "event" not in i]))


@pytest.mark.parametrize("role", ["pos", "participant"])
def test_own_data_only(net, role):
    client = net.by_role[role]
    assert {s["site"] for s in client.items("/v1/sites")} == {"anchor", "hub"}
    assert {p["participant"] for p in client.items("/v1/participants")} == {"hearth"}
    assert {s["scheme"] for s in client.items("/v1/schemes")} == {"tern-bay"}
    for path in (
        "/v1/sites/brick",
        "/v1/participants/miller",
        "/v1/schemes/skerry",
        "/v1/schemes/skerry/terms",
        f"/v1/events/{net.others_event['event_id']}",
        "/v1/entries/2?scheme=tern-bay",
        "/v1/entries/1?scheme=skerry",
        f"/v1/sites/brick/day-totals/{FIRST}",
    ):
        client.refused("GET", path, None, 404, "not_found")
    assert_own(client.items("/v1/events", scheme="tern-bay", site="anchor"), {"anchor"})
    assert client.send("GET", "/v1/events?scheme=tern-bay&site=brick").status in (403, 404)
    # the feed is not theirs: refused, or only their own entries
    feed = client.send("GET", "/v1/events?scheme=tern-bay")
    assert feed.status == 403 or assert_own(feed.json["items"], {"anchor", "hub"}) is None
    assert client.send("GET", "/v1/events?scheme=skerry").status in (403, 404)
    stock = client.items("/v1/reports/stock", scheme="tern-bay")
    assert {"anchor"} <= {row["site"] for row in stock if row["site"]} <= {"anchor", "hub"}
    assert all(not row.get("place") for row in stock), "cups outside its sites are not its own"
    own_reference = client.send("GET", "/v1/reference")
    assert "miller" not in own_reference.body.decode() and "brick" not in own_reference.body.decode()


def test_a_participant_reads_its_own_lines(net):
    client = net.by_role["participant"]
    settlement = client.get(f"/v1/settlements/tern-bay/{FIRST}")
    assert [p["participant"] for p in settlement["positions"]] == ["hearth"]
    assert all("hearth" in (p["from"], p["to"]) for p in settlement["payments"])
    client.refused("GET", f"/v1/settlements/skerry/{FIRST}", None, 404, "not_found")
