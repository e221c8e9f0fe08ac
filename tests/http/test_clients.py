# SPDX-License-Identifier: ISC
"""Clients generated from the document. Linters find no fault in it. A till on a generated TypeScript client
type-checks without a cast and does its work. The tools are npm packages (tests/client), which tests/client/install
installs. If it cannot, it says why, and these tests are skipped."""
import json
import os
import re
import shutil
import subprocess
from datetime import date, timedelta
from pathlib import Path

import pytest

import network
from harness import Client
from network import at, cups, event

HERE = Path(__file__).parents[1] / "client"
INSTALLED = Path(__file__).parents[2] / "build" / "client"
FIRST = date.today() - timedelta(days=3)
SECONDS = 1200

pytestmark = pytest.mark.skipif(
    not (INSTALLED / "installed-lock.json").exists()
    or (INSTALLED / "installed-lock.json").read_text() != (HERE / "package-lock.json").read_text(),
    reason="the npm packages of tests/client are not in build/client: tests/client/install says why",
)


@pytest.fixture(scope="module")
def tool(tmp_path_factory):
    """Runs a tool of the packages in a folder where Node.js finds them. The tools use no network."""
    folder = INSTALLED / tmp_path_factory.mktemp("client").name
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for path in HERE.glob("*.*"):
        shutil.copy(path, folder)

    def run(name, *arguments, expect=0):
        program = ["node"] if name == "node" else [str(INSTALLED / "node_modules" / ".bin" / name)]
        quiet = {"REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true", "CI": "true", "NO_COLOR": "1"}
        done = subprocess.run(
            [*program, *arguments],
            cwd=folder,
            env={**os.environ, **quiet},
            capture_output=True,
            text=True,
            timeout=SECONDS,
            stdin=subprocess.DEVNULL,
        )
        assert done.returncode == expect, (
            f"{name} {arguments}:" f" {done.returncode}\n{done.stdout[-6000:]}\n{done.stderr[-3000:]}"
        )
        return done.stdout

    run.folder = folder
    yield run
    shutil.rmtree(folder)


@pytest.fixture(scope="module")
def document(shared, tool):
    """The service's own, as a file beside the tools."""
    path = tool.folder / "openapi.json"
    path.write_bytes(Client(shared).send("GET", "/openapi.json").body)
    return path


LINTERS = {
    "redocly": ("lint", "--config", "redocly.yaml", "--max-problems", "20"),
    "spectral": ("lint", "--ruleset", "spectral.yaml", "--fail-severity", "hint"),
}


@pytest.mark.parametrize("linter", LINTERS)
def test_a_linter_finds_nothing(tool, document, linter):
    """Redocly's ruleset recommended-strict, and Spectral's spectral:oas, down to its hints."""
    tool(linter, *LINTERS[linter], document.name)


@pytest.mark.parametrize("linter", LINTERS)
def test_a_linter_finds_what_is_wrong(tool, document, linter):
    """Shows that the tests above can fail: an operation lacks its id, another its answer's description."""
    broken = json.loads(document.read_text())
    del broken["paths"]["/v1/me"]["get"]["operationId"]
    (tool.folder / "broken.json").write_text(json.dumps(broken))
    assert "operationId" in tool(linter, *LINTERS[linter], "broken.json", expect=1)


@pytest.fixture(scope="module")
def till(tool, document):
    """till.ts, compiled against the types that openapi-typescript makes from the document."""
    tool("openapi-typescript", document.name, "--output", "schema.d.ts")
    tool("tsc", "--project", "tsconfig.json")
    return tool.folder / "out" / "till.js"


def test_generated_types_are_known(tool, till):
    """No type is unknown, except the values of open objects, and no object type allows no members. (The generator
    makes the types of headers open, and also those of webhooks, which the document does not have.)"""
    types = re.sub(r"/\*.*?\*/", "", (tool.folder / "schema.d.ts").read_text(), flags=re.DOTALL)
    loose = [
        line.strip()
        for line in re.sub(r'"[^"\n]*"', '""', types).splitlines()
        if re.search(r"\b(unknown|any|never>)", line)
        and not re.search(r"\[(name|key): string\]: unknown;|^export type (webhooks|\$defs) = ", line)
    ]
    assert not loose
    components = types[types.index("export interface components") : types.index("responses: {")]
    assert re.search(r"\bEventOutcome:", components) and "[name: string]: unknown" not in components


def test_the_till_casts_nothing():
    """The till has at most 60 lines, and no word that makes TypeScript believe a type without checking it."""
    text = (HERE / "till.ts").read_text()
    code = re.sub(r"//.*|/\*.*?\*/", "", text)
    assert not re.search(r"\bas\b|\bany\b|@ts-|<unknown>|!\.|!\)", code) and len(text.splitlines()) <= 60


def test_a_wrong_till_does_not_compile(tool, till):
    """The types say the same as the document: they refuse a misspelt kind, a text for a count, and a reason that the
    operation does not give."""
    text, places = (HERE / "till.ts").read_text(), []
    for right, wrong in (
        ('kind: "issue", issued: [{ cup_type: cupType', 'kind: "isue", issued: [{ cup_type: cupType'),
        ("quantity: 1, condition", 'quantity: "1", condition'),
        ('case "cup_type_unknown"', 'case "payment_held"'),
        ("refund_values.find", "refund_value.find"),
    ):
        assert text.count(right) == 1
        places.append(text[: text.index(right)].count("\n") + 1)
        text = text.replace(right, wrong)
    (tool.folder / "till.ts").write_text(text)
    said = tool("tsc", "--project", "tsconfig.json", "--noEmit", expect=2)
    shutil.copy(HERE / "till.ts", tool.folder)
    assert set(places) <= {int(line) for line in re.findall(r"(?m)^till\.ts\((\d+),\d+\): error TS", said)}, said


def test_the_till_does_its_work(shared, tool, till):
    """me, issue, replay, return, a refusal with its reason, the list page by page, and proofs of closed days."""
    shared.admin.load(
        network.reference([network.scheme("tern-bay", FIRST, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")})
    )
    closed = [event("issue", "anchor", at(FIRST, f"{hour}:00"), issued=cups(cup_300=1)) for hour in (10, 11)]
    shared.admin.post_many(closed)
    root = shared.admin.close("tern-bay", FIRST)["seal"]["root"]
    key = shared.create_key("anchor-till", "pos", sites=["anchor"])
    out = tool("node", str(till), f"http://127.0.0.1:{shared.port}", key, "cup-300")
    steps = [json.loads(line) for line in out.splitlines()]
    me, issued, again, returned, refused, *listed = steps
    assert (me["name"], me["site"], me["amount"]) == ("anchor-till", "anchor", "2.50")
    assert (issued["status"], again["status"], returned["status"]) == ("recorded", "duplicate", "recorded")
    assert again["entry"] == issued["entry"] and returned["entry"] > issued["entry"]
    assert (refused["reason"], refused["at"]) == ("cup_type_unknown", ["/issued/0/cup_type"])
    assert [row["kind"] for row in listed] == ["issue", "issue", "issue", "return"]
    assert listed[0]["page"] < listed[-1]["page"]
    assert [row.get("root") for row in listed] == [root, root, None, None]
    assert [row.get("unproven") for row in listed] == [None, None, "day_not_sealed", "day_not_sealed"]
    posted = [
        row["entry"] for row in shared.admin.items("/v1/events", scheme="tern-bay", site="anchor") if "event" in row
    ]
    assert posted == [row["entry"] for row in listed]
