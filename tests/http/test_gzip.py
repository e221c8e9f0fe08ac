# SPDX-License-Identifier: ISC
"""Content coding (RFC 9110 section 12.5.3): large answers come as gzip to clients that accept it. Python's gzip module
(RFC 1952) and curl decode them; the content is that of the plain answer, byte for byte."""
import gzip
import http.client
import json
import subprocess
import zlib

import pytest

import network
from network import WORKED_DAY, at, cups, event

LARGE = "/v1/reference"
SMALL = "/v1/cup-types/cup-300"
JOURNAL = f"/v1/reports/journal?scheme=tern-bay&from={WORKED_DAY}&to={WORKED_DAY}"
EVENTS = 1_000  # their journal has some 900 KB: it is sent while it is made


@pytest.fixture(scope="module")
def net(shared):
    document = network.worked_reference("on_loan")
    more = {f"site-{n:03}": ("tern-bay", "hearth") for n in range(100)}
    document["sites"] += network.reference([], more)["sites"]
    shared.admin.load(document)
    shared.admin.post_many(
        [event("issue", "anchor", at(WORKED_DAY), issued=cups(cup_300=1), amount="2.50") for _ in range(EVENTS)]
    )
    shared.plain = shared.client(shared.admin_key, checked=False)  # the contract reads plain answers alone
    return shared


def ask(net, target, accepted="gzip", method="GET", body=None, **headers):
    headers = {"Accept-Encoding": accepted, **{k.replace("_", "-"): v for k, v in headers.items()}}
    return net.plain.send(method, target, body, headers)


def is_coded(answer):
    assert answer.headers.get("Content-Encoding") in (None, "gzip")
    return "Content-Encoding" in answer.headers


def content(answer):
    return gzip.decompress(answer.body) if is_coded(answer) else answer.body


@pytest.mark.parametrize("target", [LARGE, JOURNAL, JOURNAL + "&format=csv", JOURNAL + "&format=html", "/openapi.json"])
def test_a_large_answer_is_coded(net, target):
    plain, coded = ask(net, target, "identity"), ask(net, target)
    assert (plain.status, coded.status) == (200, 200)
    assert is_coded(coded) and not is_coded(plain)
    assert content(coded) == plain.body and len(coded.body) < len(plain.body) / 3
    varies = "Accept-Encoding, Accept-Language" if "html" in target else "Accept-Encoding"  # pages have languages
    assert plain.headers["Vary"] == coded.headers["Vary"] == varies
    assert plain.headers["Content-Type"] == coded.headers["Content-Type"]
    if "Content-Length" in coded.headers:
        assert int(coded.headers["Content-Length"]) == len(coded.body)


def test_a_long_answer_is_coded_while_it_is_made(net):
    plain, coded = ask(net, JOURNAL, "identity"), ask(net, JOURNAL)
    assert len(plain.body) > 256 << 10 and coded.headers["Transfer-Encoding"] == "chunked"
    assert json.loads(content(coded)) == json.loads(plain.body)
    decoder = zlib.decompressobj(wbits=31)
    assert decoder.decompress(coded.body) == plain.body
    assert decoder.eof and not decoder.unused_data  # one member, with its checksum and length at the end


@pytest.mark.parametrize(
    "accepted, coded",
    [
        ("gzip", True),
        ("*", True),
        ("br, gzip;q=0.8", True),
        ("identity, gzip;q=0.5", False),
        ("gzip;q=0", False),
        ("br", False),
        ("", False),
    ],
)
def test_as_the_client_prefers(net, accepted, coded):
    assert is_coded(ask(net, LARGE, accepted)) is coded


def test_small_answers_refusals_and_posts_are_not(net):
    assert not is_coded(ask(net, SMALL)) and not is_coded(ask(net, "/healthz"))
    refused = ask(net, "/v1/sites/nowhere")
    assert refused.status == 404 and not is_coded(refused)
    many = [event("issue", "anchor", at(WORKED_DAY), issued=cups(cup_300=1)) for _ in range(100)]
    posted = ask(net, "/v1/events", method="POST", body=many)
    assert posted.json["recorded"] == 100 and len(posted.body) > 4096 and "Vary" not in posted.headers


def test_a_client_that_refuses_plain_answers(net):
    """It gets every answer coded, also problems and answers to posts; or 406, if it accepts no coding that the service
    has. A stream is not coded."""
    only = "gzip, identity;q=0"
    for target, status in (
        (SMALL, 200),
        (LARGE, 200),
        ("/healthz", 200),
        ("/style.css", 200),
        ("/v1/sites/nowhere", 404),
    ):
        answer = ask(net, target, only)
        assert (answer.status, is_coded(answer)) == (status, True), target
        assert content(answer), target
    one = event("issue", "anchor", at(WORKED_DAY), issued=cups(cup_300=1))
    posted = ask(net, "/v1/events", only, "POST", one)
    assert posted.status == 201 and json.loads(content(posted))["status"] == "recorded"
    for target in (SMALL, "/healthz"):
        for nothing in ("identity;q=0", "br, *;q=0"):
            refused = ask(net, target, nothing)
            assert (refused.status, refused.json["reason"]) == (406, "not_acceptable")
    lines = json.dumps(event("issue", "anchor", at(WORKED_DAY), issued=cups(cup_300=1))).encode() + b"\n"
    stream = ask(net, "/v1/events", only, "POST", lines, Content_Type="application/x-ndjson")
    assert stream.status == 406 and json.loads(content(stream))["reason"] == "not_acceptable"
    assert net.admin.send("POST", "/v1/events", lines, {"Content-Type": "application/x-ndjson"}).status == 200


def test_tags(net):
    """The two answers have different strong tags (RFC 9110 section 8.8.3.3). Each of them is good for both."""
    plain, coded = (ask(net, LARGE, accepted).headers["ETag"] for accepted in ("identity", "gzip"))
    assert plain.startswith('"') and coded == plain[:-1] + '-gzip"'
    for tag in (plain, coded, f"W/{coded}", f'"other", {coded}'):
        for accepted, own in (("identity", plain), ("gzip", coded)):
            again = ask(net, LARGE, accepted, If_None_Match=tag)
            assert (again.status, again.body, again.headers["ETag"]) == (304, b"", own), (tag, accepted)
            assert not is_coded(again) and again.headers["Vary"] == "Accept-Encoding"
    assert ask(net, LARGE, If_None_Match=coded.replace("-gzip", "-brotli")).status == 200


def test_what_was_read_coded_can_be_changed(net):
    path = "/v1/schemes/tern-bay/office-accounts/2026-05-01"
    rows = [
        {"account": f"site_clearing(site-{n:03})", "code": str(n), "name": f"Dealings of site number {n}"}
        for n in range(100)
    ]
    assert ask(net, path, method="PUT", body={"accounts": rows}).status == 201
    tag = ask(net, path).headers["ETag"]
    assert tag.endswith('-gzip"')
    assert ask(net, path, method="PUT", body={"accounts": rows[:50]}, If_Match='"other-gzip"').status == 412
    changed = ask(net, path, method="PUT", body={"accounts": rows[:50]}, If_Match=tag)
    assert changed.status == 200 and len(json.loads(content(changed))["accounts"]) == 50
    assert ask(net, path, method="PUT", body={"accounts": []}, If_Match=tag).status == 412


@pytest.mark.parametrize("target", [LARGE, JOURNAL, SMALL])
def test_the_head_says_the_same(net, target):
    got, head = ask(net, target), ask(net, target, method="HEAD")
    assert head.status == 200 and head.body == b""
    for name in ("Content-Encoding", "Vary", "ETag", "Content-Type"):
        assert head.headers.get(name) == got.headers.get(name), name
    if "Content-Length" in got.headers:
        assert head.headers["Content-Length"] == got.headers["Content-Length"]


def test_a_client_of_http_1_0_gets_its_length(net):
    connection = http.client.HTTPConnection("127.0.0.1", net.port, timeout=600)
    connection._http_vsn, connection._http_vsn_str = 10, "HTTP/1.0"
    connection.request("GET", JOURNAL, headers={"Authorization": f"Bearer {net.admin_key}", "Accept-Encoding": "gzip"})
    answer = connection.getresponse()
    body = answer.read()
    assert answer.getheader("Content-Encoding") == "gzip" and int(answer.getheader("Content-Length")) == len(body)
    assert gzip.decompress(body) == ask(net, JOURNAL, "identity").body
    connection.close()


def test_curl_decodes_it(net):
    url = f"http://127.0.0.1:{net.port}{JOURNAL}&format=csv"
    done = subprocess.run(
        ["curl", "-sS", "--compressed", "-H", f"Authorization: Bearer {net.admin_key}", url],
        capture_output=True,
        check=True,
    )
    assert done.stdout == ask(net, JOURNAL + "&format=csv", "identity").body
