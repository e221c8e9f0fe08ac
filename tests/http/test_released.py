# SPDX-License-Identifier: ISC
"""The document must not break clients of the last release, whose document is in tests/client/released-openapi.json.
`tests/document release` stores a new one."""
import copy
import json
import os
from pathlib import Path

import pytest

from breakage import Comparison
from harness import Client

RELEASED = Path(__file__).parents[1] / "client" / "released-openapi.json"


def promise(node):
    """The document without its texts and examples, which promise nothing."""
    if isinstance(node, dict):
        return {
            k: promise(v)
            for k, v in node.items()
            if k not in ("examples", "example") and not (k in ("summary", "description") and isinstance(v, str))
        }
    return [promise(v) for v in node] if isinstance(node, list) else node


@pytest.fixture(scope="module")
def document(shared):
    return promise(Client(shared).get("/openapi.json"))


def test_nothing_of_the_released_document_broke(document):
    if os.environ.get("DEPOSITD_RENEW") == "release":
        RELEASED.write_text(json.dumps(document, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
    released = json.loads(RELEASED.read_text())
    broken = Comparison(released, document).broken
    assert not broken, (
        f"clients of {released['info']['version']} break:\n"
        + "\n".join(broken)
        + "\nIf that is meant, it goes under /v2, or is released: tests/document release"
    )


def test_a_document_is_as_it_was(document):
    comparison = Comparison(document, document)
    assert comparison.broken == comparison.noted == []


def at(document, place):
    """The node at a path of keys, which are separated by blanks."""
    for key in place.split():
        document = document[int(key) if isinstance(document, list) else key]
    return document


def remove(place, key):
    return lambda document: at(document, place).pop(key)


def put(place, key, value):
    return lambda document: at(document, place).__setitem__(key, value)


def drop(place, value):
    return lambda document: at(document, place).remove(value)


def add(place, value):
    return lambda document: at(document, place).append(value)


def rename(document, old, new):
    schemas = json.loads(json.dumps(document["components"]).replace(f'schemas/{old}"', f'schemas/{new}"'))["schemas"]
    schemas[new] = schemas.pop(old)
    document["components"]["schemas"] = schemas


def parameter(document, path, method, name):
    return next(p for p in document["paths"][path][method]["parameters"] if p["name"] == name)


ISSUE, OUTCOME = "components schemas Event_issue", "components schemas EventOutcome"
EVENTS, ME = "paths /v1/events", "paths /v1/me get"

# the change of the document, and words of the line that names it
BREAKS = {
    "a path": (remove("paths", "/v1/me"), "/v1/me is gone"),
    "an operation": (remove(EVENTS, "post"), "POST /v1/events is gone"),
    "a method's name": (put(ME, "operationId", "fetchMe"), "GET /v1/me: operationId getMe became fetchMe"),
    "a public operation": (remove("paths /healthz get", "security"), "GET /healthz needs a key now"),
    "a schema's name": (lambda d: rename(d, "Hash", "Digest"), "schema Hash is gone"),
    "a status": (remove(f"{EVENTS} post responses", "202"), "POST /v1/events: status 202 is gone"),
    "a header": (remove(f"{EVENTS} get responses 200 headers", "Link"), "GET /v1/events: 200: header Link is gone"),
    "a type of bodies": (
        remove(f"{EVENTS} post requestBody content", "application/x-ndjson"),
        "POST /v1/events: body: application/x-ndjson is gone",
    ),
    "a type of answers": (
        remove("paths /v1/settlements/{scheme}/{date} get responses 200 content", "text/csv"),
        "200: text/csv is gone",
    ),
    "an answer's member": (remove(f"{OUTCOME} properties", "late"), "application/json/late is gone"),
    "a member is not always there": (drop(f"{OUTCOME} required", "late"), "application/json/late is optional now"),
    "a member is of another type": (
        put(f"{OUTCOME} properties late", "type", "string"),
        "/late: type boolean became string",
    ),
    "a member may be null": (
        put(f"{OUTCOME} properties entry", "type", ["integer", "null"]),
        "/entry: type integer became",
    ),
    "a member of any word": (remove(f"{OUTCOME} properties status", "enum"), "/status: may be any value now"),
    "a member in another form": (
        put(f"{OUTCOME} properties business_date", "format", "date-time"),
        "/business_date: format date became date-time",
    ),
    "a longer answer": (
        put("components schemas PaymentFile properties message_id", "maxLength", 70),
        "maxLength 35 became 70",
    ),
    "a member within a list": (
        remove("components schemas MoneyLeg properties", "amount"),
        "/legs[](MoneyLeg)/amount is gone",
    ),
    "a body's member": (remove(f"{ISSUE} properties", "tender"), "(Event_issue)/tender is gone"),
    "a body's required member": (
        lambda d: (put(f"{ISSUE} properties", "till", {"type": "string"})(d), add(f"{ISSUE} required", "till")(d)),
        "(Event_issue)/till is new and required now",
    ),
    "what was optional": (add(f"{ISSUE} required", "tender"), "(Event_issue)/tender is required now"),
    "a body's word": (drop(f"{ISSUE} properties tender enum", "voucher"), '/tender: no longer takes "voucher"'),
    "a body's kind": (
        drop("components schemas Event oneOf", {"$ref": "#/components/schemas/Event_count"}),
        "variant Event_count is gone",
    ),
    "a lower bound": (
        put("components schemas SoundCups properties quantity", "minimum", 2),
        "/quantity: minimum 1 became 2",
    ),
    "an upper bound": (put("components schemas Events", "maxItems", 10), "maxItems 1000 became 10"),
    "a pattern": (put("components schemas SoundCups properties cup_type", "pattern", "^[a-z]+$"), "/cup_type: pattern"),
    "a parameter": (
        lambda d: d["paths"]["/v1/events"]["get"]["parameters"].remove(parameter(d, "/v1/events", "get", "kind")),
        "GET /v1/events: parameter kind is gone",
    ),
    "a required parameter": (
        add(f"{EVENTS} get parameters", {"in": "query", "name": "till", "required": True, "schema": {}}),
        "GET /v1/events: parameter till is new and required",
    ),
    "a parameter that is required now": (
        lambda d: parameter(d, "/v1/events", "get", "site").update(required=True),
        "GET /v1/events: parameter site is required now",
    ),
    "a narrower parameter": (
        lambda d: parameter(d, "/v1/events", "get", "limit")["schema"].update(maximum=100),
        "parameter limit: maximum 1000 became 100",
    ),
    "a required body": (
        put("paths /v1/payments/{payment_id}/approve post requestBody", "required", True),
        "POST /v1/payments/{payment_id}/approve: a body is required now",
    ),
    "a problem's member": (
        remove("components schemas Problem properties", "retryable"),
        "application/problem+json/retryable is gone",
    ),
}


@pytest.mark.parametrize("what", BREAKS)
def test_what_breaks_clients_is_named(document, what):
    change, line = BREAKS[what]
    changed = copy.deepcopy(document)
    change(changed)
    broken = Comparison(document, changed).broken
    assert any(line in found for found in broken), broken


# the change of the document, and words of the note, if there is one
ADDITIONS = {
    "a path": (put("paths", "/v1/more", {}), None),
    "an optional parameter": (add(f"{EVENTS} get parameters", {"in": "query", "name": "till", "schema": {}}), None),
    "an optional member of a body": (
        put(f"{ISSUE} properties", "till", {"type": "string"}),
        "(Event_issue)/till is new",
    ),
    "a word of a body": (add(f"{ISSUE} properties tender enum", "iou"), None),
    "a wider bound": (put("components schemas Events", "maxItems", 2000), None),
    "a member of an answer": (put(f"{OUTCOME} properties", "till", {"type": "string"}), "/till is new"),
    "a word of an answer": (add("components schemas PaymentStatus enum", "paused"), '/status: may be "paused" now'),
    "a member that is always there now": (add("components schemas Day required", "closed_at"), None),
    "a status": (put(f"{ME} responses", "299", {"description": ""}), "GET /v1/me: status 299 is new"),
    "a summary": (put(ME, "summary", "Another"), None),
}


@pytest.mark.parametrize("what", ADDITIONS)
def test_additions_break_nothing(document, what):
    change, note = ADDITIONS[what]
    changed = copy.deepcopy(document)
    change(changed)
    comparison = Comparison(document, changed)
    assert not comparison.broken
    assert note is None or any(note in found for found in comparison.noted), comparison.noted
