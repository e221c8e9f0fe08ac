# SPDX-License-Identifier: ISC
"""/openapi.json as a source for good clients: each operation has a name, a group and a description, and general facts
hold for each. Every other test here compares the document with the answers (contract.py)."""
import json
import re
import subprocess
from pathlib import Path

import pytest

from contract import METHODS
from harness import Client

TOP = Path(__file__).parents[2]
VERBS = (
    "get|list|post|put|create|revoke|load|close|approve|release|confirm|fail|withdraw|resolve|run|renew|reject|end"
    "|cancel|reopen|set"
)
MACHINES = {
    "application/json",
    "application/x-ndjson",
    "application/xml",
    "text/xml",
    "text/csv",
    "text/plain",
    "text/css",
}


@pytest.fixture(scope="module")
def document(shared):
    return Client(shared).get("/openapi.json")


def operations(document):
    """[("GET /v1/me", operation)]"""
    return [
        (f"{method.upper()} {path}", operation)
        for path, item in document["paths"].items()
        for method, operation in item.items()
        if method in METHODS
    ]


def test_each_operation_has_an_id_that_makes_a_method_name(document):
    """If a row of routes.c lacks .id or shares it with another row, the failure names the row."""
    named = {}
    for where, operation in operations(document):
        name = operation.get("operationId")
        assert name, f"{where} has no operationId: give its row in routes.c an .id"
        assert re.fullmatch(rf"({VERBS})([A-Z][a-z]+)+", name), f"{where}: {name} is no verbNoun"
        assert name not in named, f"{where} and {named[name]} are both {name}"
        named[name] = where


def test_each_operation_is_in_a_group_that_is_described(document):
    described = {tag["name"] for tag in document["tags"] if tag["description"]}
    used = set()
    for where, operation in operations(document):
        assert operation.get("tags"), f"{where} has no tag: give its row in routes.c a .tag"
        assert set(operation["tags"]) <= described, f"{where}: {operation['tags']}"
        used |= set(operation["tags"])
    assert used == described


def test_each_operation_and_parameter_says_what_it_is_for(document):
    for where, operation in operations(document):
        assert operation["summary"] and operation["description"], where
        for parameter in operation["parameters"]:
            assert parameter["description"] and parameter["schema"], f"{where}: {parameter['name']}"
            assert (
                parameter["description"] != "Code of the thing that the path names"
            ), f"{where}: say in openapi_parameters.c what {parameter['name']} is"


def test_only_types_for_machines_are_listed(document):
    """Pages are for people: only the description says that reads also come as pages."""
    for where, operation in operations(document):
        contents = [operation.get("requestBody", {}).get("content", {})]
        contents += [r.get("content", {}) for r in operation["responses"].values()]
        for content in contents:
            assert set(content) <= MACHINES, where
    for name, response in document["components"]["responses"].items():
        assert set(response["content"]) == {"application/problem+json"}, name
    assert "?format=html" in document["info"]["description"]


def test_public_operations_need_no_key_and_all_others_one_of_two_kinds(document):
    public = {where for where, operation in operations(document) if operation.get("security") == []}
    service = {"GET /style.css", "GET /healthz", "GET /readyz", "GET /metrics", "GET /openapi.json"}
    assert public == {*service, "GET /problems/{reason}"}
    assert all("security" not in operation for where, operation in operations(document) if where not in public)
    assert document["security"] == [{"bearer": []}, {"basic": []}]
    schemes = document["components"]["securitySchemes"]
    assert {name: s["scheme"] for name, s in schemes.items()} == {"bearer": "bearer", "basic": "basic"}


def test_each_reason_is_one_of_some_operation(shared, document):
    """If no operation lists a reason, no request can get it, or routes.c or route_reasons.c lacks it."""
    listed = set()
    for _, operation in operations(document):
        listed |= set().union(*shared.contract.reasons_of(operation).values())
    assert listed == set(document["components"]["schemas"]["Reason"]["enum"])


def test_headers_stand_where_they_are_sent(document):
    """RFC 9110: 405 has Allow (15.5.6), 401 WWW-Authenticate (11.6.1); Retry-After (10.2.3) is here with 429 and
    503."""
    needed = {"401": "WWW-Authenticate", "405": "Allow", "429": "Retry-After", "503": "Retry-After"}
    for where, operation in operations(document):
        for status, response in operation["responses"].items():
            if "$ref" in response:
                response = document["components"]["responses"][response["$ref"].rpartition("/")[2]]
            assert "X-Request-Id" in response["headers"], where
            assert status not in needed or needed[status] in response["headers"], f"{where} {status}"
        paged = any(parameter["name"] == "cursor" for parameter in operation["parameters"])
        assert paged == ("Link" in operation["responses"].get("200", {}).get("headers", {})), where


def test_the_version_stands_once(shared, document):
    """meson.build has it. The binary, the document, the first page and the newest notes for users say the same."""
    version = re.search(r"version: '([^']+)'", (TOP / "meson.build").read_text())[1]
    assert document["info"]["version"] == shared.admin.get("/")["version"] == version
    assert shared.run("--version") == f"depositd {version}\n"
    assert "depositd --version" in shared.run("--help")
    noted = re.findall(r"^## (\d+\.\d+\.\d+)\b", (TOP / "deploy/CHANGES.md").read_text(), re.MULTILINE)
    released = json.loads((TOP / "tests/client/released-openapi.json").read_text())["info"]["version"]
    assert noted[0] == version and released in noted
    assert subprocess.run([shared.binary, "--version", "more"], capture_output=True).returncode == 64


def test_the_document_says_what_may_change(document):
    info = document["info"]
    assert info["license"] == {"name": "ISC", "identifier": "ISC"} and info["contact"]["name"]
    for word in ("under /v2", "RFC 9745", "RFC 8594"):
        assert word in info["description"]
    assert [server["url"] for server in document["servers"]] == ["/"]
