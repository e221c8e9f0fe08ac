# SPDX-License-Identifier: ISC
"""Reference data as lines (NDJSON), each of which is a document: GET gives it, and POST takes it again, in any order
and of any length, all or nothing, in constant memory."""
import json
import random
import re
import socket
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

import network
from harness import Database, new_service, wait_until
from network import at, business_day, cups, event
from test_streaming import kept, peak_memory

FIRST = business_day() - timedelta(days=3)
LINES = {"Content-Type": "application/x-ndjson"}
IBANS = ["NL91ABNA0417164300", "GB82WEST12345698765432"]  # of the standard's own examples
LATER = "2099-01-01"


def whole_document():
    codes = [{"account": "site_clearing(anchor)", "code": "1400", "name": "Anchor"}]
    document = network.reference(
        [
            network.scheme(
                code,
                FIRST,
                {"cup-300": "2.50", "cup-450": "3.50"},
                office_accounts=[{"effective_date": str(FIRST), "accounts": codes}] if code == "tern-bay" else [],
            )
            for code in ("tern-bay", "skerry")
        ],
        {
            "anchor": ("tern-bay", "hearth", {"par_stock": [{"cup_type": "cup-300", "quantity": 40}]}),
            "brick": ("tern-bay", "miller"),
            "cairn": ("skerry", "hearth"),
        },
        hearth={"bank_account": {"iban": IBANS[0]}},
    )
    document["tax_registrations"] = [{"participant": "hearth", "effective_date": LATER, "tax_registered": False}]
    document["site_kinds"] = [{"site": "cairn", "effective_date": LATER, "kind": "hub"}]
    return document


def lines_of(document):
    """A line for each thing."""
    return [json.dumps({list_name: [thing]}) for list_name, things in document.items() for thing in things]


def post(client, lines, query=""):
    body = lines if isinstance(lines, bytes) else "".join(line + "\n" for line in lines).encode()
    return client.send("POST", "/v1/reference" + query, body, LINES)


def given(client):
    answer = client.send("GET", "/v1/reference", headers={"Accept": "application/x-ndjson"})
    assert answer.status == 200 and answer.headers["Content-Type"] == "application/x-ndjson"
    return answer.body


def state(service):
    return service.admin.get("/v1/reference"), len(service.admin.items("/v1/changes"))


def faults_of(answer):
    for fault in answer.json.get("errors", []):
        line = fault["pointer"].split("/")[1]
        assert fault["detail"].startswith(f"line {line}: "), fault
    return [(fault["pointer"], fault["reason"]) for fault in answer.json.get("errors", [])]


@pytest.fixture
def loaded(service):
    service.admin.load(whole_document())
    return service


def test_what_is_given_is_taken(loaded):
    body, before = given(loaded.admin), state(loaded)
    merged = {}
    for line in body.decode().splitlines():
        [(name, [thing])] = json.loads(line).items()
        merged.setdefault(name, []).append(thing)
    assert {**merged, "agreements": []} == before[0]
    assert loaded.admin.send("GET", "/v1/reference?format=ndjson").body == body
    taken = post(loaded.admin, body)
    assert taken.status == 200 and taken.json == loaded.admin.load(whole_document())
    assert state(loaded) == before
    lines = body.decode().splitlines()
    random.Random(7).shuffle(lines)
    database = Database()
    try:
        other = new_service(database)
        text = "\r\n \n\n" + "\r\n".join(lines)  # blank lines, CRLF, and a last line that does not end
        assert post(other.admin, text.encode()).json == taken.json
        assert given(other.admin) == body and other.admin.get("/v1/reference") == before[0]
        other.admin.assert_holds()
        other.stop()
    finally:
        database.drop()


def test_a_line_may_be_any_document(service):
    document = whole_document()
    halves = [{k: v for k, v in document.items() if (k < "q") == early} for early in (False, True)]
    assert post(service.admin, [json.dumps(half) for half in halves]).status == 200
    assert service.admin.load(document)["sites"] == 3 and len(service.admin.items("/v1/sites")) == 3
    assert post(service.admin, []).json["sites"] == 0
    assert post(service.admin, ["{}"]).json["schemes"] == 0


def test_a_key_gets_the_lines_that_it_may_know_of(loaded):
    till = loaded.client(loaded.create_key("till", "pos", sites=["brick"]))
    lines = [json.loads(line) for line in given(till).splitlines()]
    assert [line["sites"][0]["site"] for line in lines if "sites" in line] == ["brick"]
    assert [line["schemes"][0]["scheme"] for line in lines if "schemes" in line] == ["tern-bay"]
    assert "office_accounts" not in next(line for line in lines if "schemes" in line)["schemes"][0]
    assert post(till, lines_of(whole_document())).status == 403
    assert post(loaded.client(), lines_of(whole_document())).status == 401


def test_all_faults_at_once(loaded):
    """A thing that refers to one with a fault is not blamed for that, wherever the two stand."""
    before = state(loaded)
    site = whole_document()["sites"][0]
    scheme = {**whole_document()["schemes"][0], "scheme": "fulmar"}
    office = [{"effective_date": str(FIRST), "accounts": [{"account": "lucre", "code": "1", "name": "Lucre"}]}]
    faulty = [
        {"sites": [{**site, "site": "dock", "participant": "newcomer", "kind": "kiosk"}, {**site, "gln": "1" * 13}]},
        {"sites": [{**site, "site": "egg", "scheme": "nowhere", "participant": "newcomer"}]},
        {"participants": [{"participant": "newcomer"}]},
        {"schemes": [{**scheme, "terms": [{**scheme["terms"][0], "netting": "sideways"}], "office_accounts": office}]},
        {
            "cup_types": [{"cup_type": "cup-300", "name": "Cup", "volume_ml": 1, "mass_g": "1"}],
            "colour": 1,
            "sites": {},
        },
        {"site_kinds": [{"site": "dock", "effective_date": LATER, "kind": "hub"}]},
        {"tax_registrations": [{"participant": "nobody", "effective_date": LATER, "tax_registered": True}]},
        [],
    ]
    lines = "".join(json.dumps(line) + "\n" for line in faulty).encode()
    answer = post(loaded.admin, lines + b'{"sites": [\n{"sites": [{"site": "\xe9"}]}')
    assert answer.status == 422
    assert faults_of(answer) == [
        ("/1/sites/0/kind", "value_unknown"),
        ("/1/sites/1/gln", "bad_format"),
        ("/2/sites/0/scheme", "scheme_unknown"),
        ("/3/participants/0/name", "member_missing"),
        ("/4/schemes/0/terms/0/netting", "value_unknown"),
        ("/4/schemes/0/office_accounts/0/accounts/0/account", "account_unknown"),
        ("/5/colour", "member_unknown"),
        ("/5/sites", "wrong_type"),
        ("/5/cup_types/0/mass_g", "wrong_type"),
        ("/7/tax_registrations/0/participant", "participant_unknown"),
        ("/8", "wrong_type"),
        ("/9", "not_json"),
        ("/10", "not_json"),
    ]
    assert state(loaded) == before


def test_a_thing_stands_once_in_all_lines(loaded):
    lines = lines_of(whole_document())
    answer = post(loaded.admin, lines + [lines[-1], lines[0]])
    assert answer.status == 409
    assert set(faults_of(answer)) == {
        (f"/{len(lines) + 1}/site_kinds/0", "name_taken"),
        (f"/{len(lines) + 2}/cup_types/0", "name_taken"),
    }


def test_more_than_one_piece(loaded):
    """Things are put some thousand at a time. Repeats, and references to things with a fault, reach further."""
    people = [{"participant": f"p-{n}", "name": "P"} for n in range(12_000)]
    lines = [json.dumps({"participants": people[i : i + 7]}) for i in range(0, len(people), 7)]
    site = whole_document()["sites"][0]
    answer = post(loaded.admin, lines, "?dry_run=true")
    assert answer.json["participants"] == 12_000 and answer.json["more_changes"] == 2 * 12_000 - 1000
    faulty = [
        json.dumps({"participants": [people[1], {"participant": "p-x"}]}),
        json.dumps({"sites": [{**site, "site": "dock", "participant": "p-x"}]}),
        json.dumps({"sites": [{**site, "site": "egg", "participant": "p-y"}]}),
    ]
    assert set(faults_of(post(loaded.admin, lines + faulty))) == {
        (f"/{len(lines) + 1}/participants/0", "name_taken"),
        (f"/{len(lines) + 1}/participants/1/name", "member_missing"),
        (f"/{len(lines) + 3}/sites/0/participant", "participant_unknown"),
    }
    assert len(loaded.admin.items("/v1/participants")) == 2
    many = post(loaded.admin, ['{"participants": [{"participant": "q"}]}'] * 30_000).json
    assert len(many["errors"]) == 50 and 10_000 < many["more_errors"] + 50 < 30_000


def test_a_dry_run_lists_changes(loaded):
    before = state(loaded)
    cup = {**whole_document()["cup_types"][0], "mass_g": 50}
    answer = post(loaded.admin, [json.dumps({"cup_types": [cup]})], "?dry_run=true").json
    assert answer["changes"] == [{"of": "cup_type", "name": "cup-300", "member": "mass_g", "from": 48, "to": 50}]
    assert answer["cup_types"] == 1 and state(loaded) == before
    assert post(loaded.admin, [json.dumps({"cup_types": [cup]})], "?why=weighed+again").status == 200
    assert loaded.admin.items("/v1/changes")[-1]["why"] == "weighed again"


def test_a_change_that_takes_two_people_is_refused(loaded):
    """It goes by itself: as JSON it is proposed. Common practice, no source."""
    loaded.admin.post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=1)))
    before = state(loaded)
    for scheme in ("tern-bay", "skerry"):
        assert loaded.admin.get(f"/v1/schemes/{scheme}")["dual_control"]
    changed = {"participants": [{"participant": "hearth", "name": "Hearth", "bank_account": {"iban": IBANS[1]}}]}
    for query in ("", "?dry_run=true"):
        answer = post(loaded.admin, [json.dumps(changed)], query)
        assert (answer.status, answer.json["reason"]) == (409, "two_people_needed")
    assert state(loaded) == before
    assert loaded.admin.send("POST", "/v1/reference", changed).status == 202


@pytest.mark.parametrize("text", ["", "x" * 2000, "x" * 2000 + "\n"])
def test_lines_are_bounded(database, text):
    service = new_service(database, max_reference_bytes=1024)
    try:
        lines = b'{"cup_types": []}\n' * 200
        assert post(service.admin, lines + text.encode()).status == (422 if text else 200)
        if text:
            assert faults_of(post(service.admin, lines + text.encode())) == [("/201", "too_long")]
    finally:
        service.stop()


def test_the_file_is_bounded(database):
    service = new_service(database, spool_megabytes=1, max_streams=1)
    try:
        lines = b'{"cup_types": []}\n' * 60_000
        assert post(service.admin, lines[: 1 << 20]).status == 400  # the last line breaks off
        assert post(service.admin, lines).status == 413
        with closing(begun(service, b"{}\n")):
            wait_until(lambda: kept_streams(service) == 1)
            assert (post(service.admin, ["{}"]).status, service.admin.load({})["sites"]) == (503, 0)
        wait_until(lambda: kept_streams(service) == 0 and kept(service) == 0)
        assert post(service.admin, ["{}"]).status == 200
        assert post(service.client("dk_" + "x" * 40), lines[:1000]).status == 401
    finally:
        service.stop()


def kept_streams(service):
    text = service.client(service.admin_key).send("GET", "/metrics").body.decode()
    return int(re.search(r"^depositd_streams_open (\d+)", text, re.MULTILINE)[1])


def begun(service, body, length=None):
    """A connection with the beginning of lines."""
    connection = socket.create_connection(("127.0.0.1", service.port))
    head = (
        f"POST /v1/reference HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {service.admin_key}\r\n"
        f"Content-Type: application/x-ndjson\r\nContent-Length: {length or len(body) + 1}\r\n\r\n"
    )
    connection.sendall(head.encode() + body)
    return connection


def test_lines_that_break_off_change_nothing(loaded):
    """The connection ends in the middle, at the end of a line."""
    before = state(loaded)
    line = json.dumps({"cup_types": [{"cup_type": "cup-600", "name": "Cup", "volume_ml": 600, "mass_g": 90}]})
    begun(loaded, line.encode() + b"\n", 1000).close()
    wait_until(lambda: kept_streams(loaded) == 0 and kept(loaded) == 0)
    assert state(loaded) == before


def test_other_bodies(loaded):
    lines = "".join(line + "\n" for line in lines_of(whole_document())).encode()
    for path in ("/v1/cup-types", "/v1/schemes/tern-bay/refund-values"):
        assert loaded.admin.send("POST", path, lines, LINES).status == 415
    assert loaded.admin.send("POST", "/v1/reference", lines, {**LINES, "Content-Encoding": "gzip"}).status == 415
    assert loaded.admin.send("GET", "/v1/sites", headers={"Accept": "application/x-ndjson"}).status == 406


def test_any_bytes_are_answered(loaded):
    """Lines that were cut, or have bytes changed, are taken or refused, but never break anything."""
    chosen = random.Random(8259)
    body = "\n".join(lines_of(whole_document())).encode()
    for _ in range(100):
        text = bytearray(body)
        for _ in range(chosen.randint(1, 4)):
            text[chosen.randrange(len(text))] = chosen.choice(b'\0\n\r",:{}[]\xff\xc3a1.-')
        answer = post(loaded.admin, bytes(text[: chosen.randint(0, 2 * len(text))]), "?dry_run=true")
        assert answer.status in (200, 400, 409, 422), answer.body
        if answer.status >= 400:
            faults_of(answer)


def test_memory_does_not_grow_with_the_lines(service):
    """Lines of 60 KB, most of it spaces: ten times as many take no more memory."""
    if re.search(rb"__[at]san_init", Path(service.binary).read_bytes()):
        pytest.skip("sanitizers keep freed memory back")

    def load(count):
        line = '{"participants": [{"participant": "p-%d", "name": "P"' + " " * 60_000 + "}]}\n"
        body = "".join(line % n for n in range(count)).encode()
        assert post(service.admin, body).json["participants"] == count
        return len(body), peak_memory(service)

    load(100)
    small, of_small = load(100)
    large, of_large = load(1000)
    assert large > 9 * small > 50_000_000
    assert of_large - of_small < 4 << 20, f"{of_small} bytes for {small}, {of_large} for {large}"
