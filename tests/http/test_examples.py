# SPDX-License-Identifier: ISC
"""The examples in the document are the answers that the service gives now. The test plays the scenario of examples.py
again and compares it with src/http/contract/examples.json. `tests/document examples` renews the stale examples in that
file."""
import json
import os

import pytest
from jsonschema import Draft202012Validator, FormatChecker

import examples
from harness import Client
from test_document import operations

# Operations without an example: the document itself, and those for browsers.
WITHOUT = {"getDocument", "getStyleSheet"}


@pytest.fixture(scope="module")
def document(shared):
    return Client(shared).get("/openapi.json")


def same_or_new(kept, played):
    """An example that is not stale stays as it is, with the times of its run."""
    return kept if kept is not None and examples.settled(kept) == examples.settled(played) else played


def test_the_examples_are_what_the_service_answers(shared):
    played, kept = examples.play(shared), json.loads(examples.KEPT.read_text())
    if os.environ.get("DEPOSITD_RENEW") == "examples":
        kept = {name: same_or_new(kept.get(name), new) for name, new in played.items()}
        examples.KEPT.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n")
    assert set(kept) == set(played), (
        "an operation has no example, or is no more: play it in examples.py, then" " tests/document examples"
    )
    for name, of_operation in examples.settled(played).items():
        assert (
            examples.settled(kept[name]) == of_operation
        ), f"{name}: its examples are stale: tests/document examples renews them"


def test_each_operation_has_an_example_of_body_and_answer(document):
    for where, operation in operations(document):
        name = operation.get("operationId", "")
        if name in WITHOUT:
            continue
        success = {status: r for status, r in operation["responses"].items() if status < "400" and r.get("content")}
        answers = [m for r in success.values() for m in r["content"].values() if "examples" in m]
        assert answers or not success, (
            f"{where} has no example: play it in examples.py, then run tests/document" " examples"
        )
        for content in operation.get("requestBody", {}).get("content", {}).items():
            assert (
                "examples" in content[1] or content[0] == "text/xml"
            ), f"{where}: no example of a body as {content[0]}"
        for parameter in operation["parameters"]:
            assert parameter["in"] != "path" or "example" in parameter, f"{where}: {parameter['name']}"


def test_each_example_is_of_its_schema(shared, document):
    """JSON must be valid by its schema. Other types must only be text, because other tests check their content."""
    count = 0

    def check(schema, value, where):
        nonlocal count
        validator = Draft202012Validator(schema, resolver=shared.contract.resolver, format_checker=FormatChecker())
        problems = [f"{p.json_path}: {p.message}"[:300] for p in validator.iter_errors(value)]
        assert not problems, f"{where}: {problems[:3]}"
        count += 1

    for where, operation in operations(document):
        for parameter in operation["parameters"]:
            if "example" in parameter:
                check(parameter["schema"], parameter["example"], f"{where}: {parameter['name']}")
        contents = [operation.get("requestBody", {})] + [
            shared.contract.resolve(r) for r in operation["responses"].values()
        ]
        for content in contents:
            for media in content.get("content", {}).values():
                for name, example in media.get("examples", {}).items():
                    check(media["schema"], example["value"], f"{where}: {name}")
    assert count > 100


def test_a_stale_example_is_noticed():
    """Tests the comparison: times and ids of the run may differ, but a figure or a member may not."""
    kept = {
        "amount": "2.50",
        "recorded_at": "2026-11-26T21:00:00Z",
        "business_date": "2026-11-26",
        "date": str(examples.DAY),
    }
    assert examples.settled(kept) == examples.settled(
        {**kept, "recorded_at": "2027-01-01T00:00:00.5Z", "business_date": "2027-01-01"}
    )
    for change in ({"amount": "2.51"}, {"date": "2025-05-13"}, {"more": 1}, {"recorded_at": None}):
        assert examples.settled(kept) != examples.settled({**kept, **change}), change
