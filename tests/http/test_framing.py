# SPDX-License-Identifier: ISC
"""Where a request ends (RFC 9112). An ambiguous request is refused with a problem, the connection is closed, and a
request hidden behind it is never executed. The tests use raw sockets, because no client library sends such requests."""
import json
import random
import re
import socket
from datetime import date, timedelta

import pytest

import network
from contract import parse
from harness import PATIENCE_SECONDS, wait_until
from network import at, cups, event

DAY = date.today() - timedelta(days=3)


@pytest.fixture(scope="module")
def net(shared):
    shared.admin.load(
        network.reference([network.scheme("tern-bay", DAY, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")})
    )
    shared.admin.connection.close()
    return shared


def issue():
    return json.dumps(event("issue", "anchor", at(DAY), issued=cups(cup_300=1))).encode()


def post(net, body, *fields, line="POST /v1/events HTTP/1.1"):
    head = [
        line,
        "Host: localhost",
        f"Authorization: Bearer {net.admin_key}",
        "Content-Type: application/json",
        *fields,
    ]
    return "\r\n".join(head).encode("latin-1") + b"\r\n\r\n" + body


def good(net, *fields):
    body = issue()
    return post(net, body, f"Content-Length: {len(body)}", *fields)


def chunks(*pieces):
    return b"".join(b"%x\r\n%s\r\n" % (len(piece), piece) for piece in (*pieces, b""))


def said(net, *pieces, then_shut=False):
    """Everything that the service sends until it closes the connection, which it must do within a minute."""
    with socket.create_connection(("127.0.0.1", net.port), timeout=PATIENCE_SECONDS) as connection:
        answer = b""
        try:
            for piece in pieces:
                connection.sendall(piece)
            if then_shut:
                connection.shutdown(socket.SHUT_WR)
        except OSError:
            pass  # it has answered already, and does not listen
        try:
            while received := connection.recv(65536):
                answer += received
        except ConnectionResetError:
            pass
        return answer


def answers(text, methods=()):
    """The answers in a row: (status, headers, body), each of the length that it states. `methods` are those of the
    requests, if one of them is HEAD (RFC 9110 section 9.3.2)."""
    found = []
    while text:
        head, _, text = text.partition(b"\r\n\r\n")
        lines = head.decode("latin-1").split("\r\n")
        status = int(re.fullmatch(r"HTTP/1\.1 (\d{3}) .*", lines[0]).group(1))
        headers = dict(line.lower().split(": ", 1) for line in lines[1:])
        length = (
            0 if methods[len(found) : len(found) + 1] == ("HEAD",) or status < 200 else int(headers["content-length"])
        )
        assert len(text) >= length, "the answer is cut short"
        found.append((status, headers, text[:length]))
        text = text[length:]
    return found


def assert_problem(answer, status, reason):
    assert answer[0] == status and answer[1]["content-type"] == "application/problem+json", answer
    problem = parse(answer[2])
    assert (problem["status"], problem["reason"]) == (status, reason), problem
    assert answer[1]["connection"] == "close" and answer[1]["x-request-id"]


def recorded(net):
    return net.database.rows("SELECT count(*) FROM entry")[0][0]


def fields(*wrong):
    """A post with these header fields, and a body of five bytes or in chunks that ends before the hidden request."""
    return lambda net: post(net, b"0\r\n\r\n", *wrong)


def line(text):
    return lambda net: post(net, b"", line=text)


def chunked(body):
    return lambda net: post(net, body, "Transfer-Encoding: chunked")


# name: bytes to send, the refusal, and the clause of RFC 9112 unless another is named
WRONG = {
    # 6.3: which length is right?
    "two lengths": (fields("Content-Length: 5", "Content-Length: 500"), 400, "bad_framing"),
    "two equal lengths": (fields("Content-Length: 5", "Content-Length: 5"), 400, "bad_framing"),
    "a list of lengths": (fields("Content-Length: 5, 5"), 400, "bad_framing"),
    "length and chunks": (fields("Content-Length: 500", "Transfer-Encoding: chunked"), 400, "bad_framing"),
    "chunks and length": (fields("Transfer-Encoding: chunked", "Content-Length: 5"), 400, "bad_framing"),
    # RFC 9110 8.6
    "a signed length": (fields("Content-Length: +5"), 400, "bad_framing"),
    "a negative length": (fields("Content-Length: -5"), 400, "bad_framing"),
    "a hexadecimal length": (fields("Content-Length: 0x5"), 400, "bad_framing"),
    "a length beyond 64 bits": (fields("Content-Length: 18446744073709551621"), 400, "bad_framing"),
    "no number for a length": (fields("Content-Length: five"), 400, "bad_framing"),
    # 6.1, 6.3
    "an unknown coding": (fields("Transfer-Encoding: gzip, chunked"), 501, "not_implemented"),
    "an unknown coding at the end": (fields("Transfer-Encoding: chunked, gzip"), 400, "bad_framing"),
    "identity": (fields("Transfer-Encoding: identity"), 400, "bad_framing"),
    "chunked twice": (fields("Transfer-Encoding: chunked", "Transfer-Encoding: chunked"), 400, "bad_framing"),
    "nearly chunked": (fields("Transfer-Encoding: xchunked"), 400, "bad_framing"),
    "chunks for HTTP/1.0": (
        lambda net: post(net, b"0\r\n\r\n", "Transfer-Encoding: chunked", line="POST /v1/events HTTP/1.0"),
        400,
        "bad_framing",
    ),
    # 5.1, 5.2, 2.2
    "a blank before the colon": (fields("Content-Length : 5"), 400, "bad_framing"),
    "a blank before the coding's colon": (fields("Transfer-Encoding : chunked"), 400, "bad_framing"),
    "a folded line": (fields("X-Note: one", " Transfer-Encoding: chunked"), 400, "bad_framing"),
    "a bare LF": (fields("X-Note: one\nContent-Length: 5"), 400, "bad_framing"),
    "a bare CR": (fields("X-Note: one\rContent-Length: 5"), 400, "bad_framing"),
    "a NUL": (fields("X-Note: one\0two"), 400, "bad_framing"),
    "a NUL in a name": (fields("X-No\0te: one"), 400, "bad_framing"),
    "no colon": (fields("X-Note"), 400, "bad_framing"),
    # 3.2
    "two hosts": (fields("Host: elsewhere"), 400, "bad_framing"),
    "no host": (lambda net: b"GET /v1/me HTTP/1.1\r\n\r\n", 400, "bad_framing"),
    "no host at all": (lambda net: b"GET /v1/me HTTP/1.1\r\nHost: a/b\r\n\r\n", 400, "bad_framing"),
    # 3
    "a blank in the path": (line("GET /v1/ me HTTP/1.1"), 400, "bad_framing"),
    "a double blank": (line("GET  /v1/me HTTP/1.1"), 400, "bad_framing"),
    "no version": (line("GET /v1/me"), 400, "bad_framing"),
    "no such method": (line("G@T /v1/me HTTP/1.1"), 400, "bad_framing"),
    "a bad version": (line("GET /v1/me HTTP/1.one"), 400, "bad_framing"),
    "a bad form": (line("GET v1/me HTTP/1.1"), 400, "bad_framing"),
    "authority form": (line("CONNECT localhost:80 HTTP/1.1"), 501, "not_implemented"),
    "HTTP/2": (line("GET /v1/me HTTP/2.0"), 505, "version_not_supported"),
    "HTTP/2's preface": (lambda net: b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", 505, "version_not_supported"),
    "TLS": (lambda net: b"\x16\x03\x01\x00\x05\x01\x00\n", 400, "bad_framing"),
    "a long target": (line(f"GET /{'x' * 9000} HTTP/1.1"), 414, "target_too_long"),
    "many parameters": (line(f"GET /v1/sites?{'a=b&' * 100} HTTP/1.1"), 414, "target_too_long"),
    "a long field": (fields(f"X-Note: {'x' * 9000}"), 431, "head_too_large"),
    "many fields": (fields(*["X-Note: 1"] * 100), 431, "head_too_large"),
    # 7.1
    "a bare LF after a size": (chunked(b"5\nabcde\r\n0\r\n\r\n"), 400, "bad_framing"),
    "a bare LF after a chunk": (chunked(b"5\r\nabcde\n0\r\n\r\n"), 400, "bad_framing"),
    "a bare LF at the end": (chunked(b"5\r\nabcde\r\n0\n\n"), 400, "bad_framing"),
    "a chunk too long": (chunked(b"5\r\nabcdef\r\n0\r\n\r\n"), 400, "bad_framing"),
    "no size": (chunked(b"zz\r\nabcde\r\n0\r\n\r\n"), 400, "bad_framing"),
    "a signed size": (chunked(b"+5\r\nabcde\r\n0\r\n\r\n"), 400, "bad_framing"),
    "a size of 0x5": (chunked(b"0x5\r\nabcde\r\n0\r\n\r\n"), 400, "bad_framing"),
    "a size beyond 64 bits": (chunked(b"10000000000000005\r\nabcde\r\n0\r\n\r\n"), 400, "bad_framing"),
    "a blank after a size": (chunked(b"5 \r\nabcde\r\n0\r\n\r\n"), 400, "bad_framing"),
    "a long extension": (chunked(b"5;" + b"a" * 5000 + b"\r\nabcde\r\n0\r\n\r\n"), 400, "bad_framing"),
    "a trailer without a colon": (chunked(b"0\r\nX\r\n\r\n"), 400, "bad_framing"),
    "long trailers": (chunked(b"0\r\n" + b"X: y\r\n" * 1000 + b"\r\n"), 431, "head_too_large"),
}


@pytest.mark.parametrize("way", ["alone", "behind another", "in two pieces"])
@pytest.mark.parametrize("name", WRONG)
def test_refused(net, name, way):
    """There is a single problem. The service does not see the request that comes after, in the body or behind it."""
    make, status, reason = WRONG[name]
    before, hidden, wrong = recorded(net), good(net), make(net)
    if way == "behind another":
        first, second = answers(said(net, good(net) + wrong + hidden))
        assert first[0] == 201
    else:
        cut = len(wrong) // 2 if way == "in two pieces" else 0
        (second,) = answers(said(net, wrong[:cut], wrong[cut:] + hidden))
    assert_problem(second, status, reason)
    assert recorded(net) == before + (way == "behind another")


def test_what_is_refused_is_not_repeated(net):
    """The answer repeats neither the head nor the body, because they may contain a key."""
    text = said(net, post(net, b"", "X-Note : secret"))
    assert b"secret" not in text and net.admin_key.encode() not in text and b"<html" not in text


def test_head_is_refused_without_a_body(net):
    """RFC 9110 section 9.3.2."""
    (answer,) = answers(said(net, b"HEAD /healthz HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n"), ("HEAD",))
    assert answer[0] == 400 and answer[2] == b""


def test_absolute_targets(net):
    """RFC 9112 section 3.2.2: served like targets in origin form, with the target's host for Host."""

    def status(text):
        return [answer[0] for answer in answers(said(net, text))]

    end = b"Host: elsewhere\r\nConnection: close\r\n\r\n"
    assert status(b"GET http://localhost/healthz HTTP/1.1\r\n" + end) == [200]
    assert status(b"GET HTTP://localhost:8080/healthz?format=json HTTP/1.1\r\n" + end) in ([200], [422])
    assert status(b"GET http://localhost/v1/me HTTP/1.1\r\n" + end) == [401]
    assert status(b"GET http://localhost/nothing HTTP/1.1\r\n" + end) == [404]
    before, body = recorded(net), issue()
    text = post(net, body, f"Content-Length: {len(body)}", line="POST http://localhost/v1/events HTTP/1.1")
    assert status(text + b"GET http://localhost/healthz HTTP/1.1\r\n" + end) == [201, 200]
    assert recorded(net) == before + 1


def test_options_for_the_server(net):
    """RFC 9110 section 9.3.7: only OPTIONS has the target `*`, which names no resource; RFC 9110 section 15.5.6: with
    Allow."""
    (answer,) = answers(said(net, b"OPTIONS * HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n"))
    assert answer[0] == 405 and {"get", "post"} <= set(answer[1]["allow"].split(", "))
    assert parse(answer[2])["reason"] == "method_not_allowed"


def test_what_is_unusual_but_right(net):
    """An empty line before a request (2.2), blanks around a value (5), extensions and trailers of chunks (7.1), a head
    that comes byte by byte, many requests at once."""
    before, body = recorded(net), issue()
    assert [a[0] for a in answers(said(net, b"\r\n" + good(net, "Connection: close")))] == [201]
    text = post(net, body, f"Content-Length: {len(body)} \t", "Connection:  close ")
    assert [a[0] for a in answers(said(net, *(text[n : n + 1] for n in range(len(text)))))] == [201]
    body = issue()
    text = post(
        net,
        b'5;name="a value";b\r\n%s\r\n%x\r\n%s\r\n0;last\r\nX-Sum: 1\r\nContent-Length: 7\r\n\r\n'
        % (body[:5], len(body) - 5, body[5:]),
        "Transfer-Encoding: Chunked",
        "Connection: close",
    )
    assert [a[0] for a in answers(said(net, text))] == [201]
    body = issue()
    text = post(
        net, chunks(*(body[n : n + 1] for n in range(len(body)))), "Transfer-Encoding: chunked", "Connection: close"
    )
    assert [a[0] for a in answers(said(net, *(text[n : n + 1] for n in range(len(text)))))] == [201]
    text = b"".join(good(net) for _ in range(100)) + good(net, "Connection: close")
    assert [a[0] for a in answers(said(net, text))] == [201] * 101
    assert recorded(net) == before + 105


def stream(net, *fields):
    head = [
        "POST /v1/events HTTP/1.1",
        "Host: localhost",
        f"Authorization: Bearer {net.admin_key}",
        "Content-Type: application/x-ndjson",
        *fields,
    ]
    return ("\r\n".join(head) + "\r\n\r\n").encode()


def test_a_stream_that_breaks(net):
    """Lines that were answered count. There is no summary, so the client posts the rest again."""
    before = recorded(net)
    with socket.create_connection(("127.0.0.1", net.port), timeout=PATIENCE_SECONDS) as connection:
        line = issue() + b"\n"
        connection.sendall(stream(net, "Transfer-Encoding: chunked") + b"%x\r\n%s\r\n" % (len(line), line))
        wait_until(lambda: recorded(net) > before, "the line is recorded")
        line = issue() + b"\n"
        connection.sendall(b"%x\r\n%s\n0\r\n\r\n" % (len(line), line) + good(net))
        text = b""
        while received := connection.recv(65536):
            text += received
    head, _, body = text.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200 ") and b"connection: close" in head.lower() and text.count(b"HTTP/1.1") == 1
    lines = [parse(line) for line in body.splitlines() if line.startswith(b"{")]
    assert [line["status"] for line in lines] == ["recorded"] and recorded(net) == before + 1


def test_a_stream_that_breaks_at_once(net):
    before = recorded(net)
    (answer,) = answers(said(net, stream(net, "Transfer-Encoding: chunked") + b"zz\r\n" + good(net)))
    assert_problem(answer, 400, "bad_framing")
    assert recorded(net) == before


def changed(text, rng):
    """The bytes with a few changed, left out, or put in. Most of the new bytes matter to framing."""
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(text))
        byte = rng.choice(
            [b"\r", b"\n", b"\r\n", b" ", b"\t", b"\0", b":", b",", b";", b"0", b"9", b"f", b"\x7f", b"\xff", b"H", b""]
        )
        text = text[:at] + byte + text[at + rng.randint(0, 2) :]
    return text


@pytest.mark.parametrize("seed", range(10))
def test_requests_changed_by_chance(net, seed):
    """For any input, answers are well-formed, and each recorded event was answered 201. After a refusal of the framing
    there is no further answer."""
    rng, tries = random.Random(seed), 20
    for _ in range(tries):
        before, body = recorded(net), issue()
        texts = [
            good(net),
            post(net, body, f"Content-Length: {len(body)}", line="POST http://localhost/v1/events HTTP/1.1"),
            post(net, chunks(issue()[:7], body[7:]), "Transfer-Encoding: chunked"),
            good(net),
        ]
        rng.shuffle(texts)
        sent = changed(b"".join(texts), rng)
        cut = rng.randrange(len(sent))
        found = answers(said(net, sent[:cut], sent[cut:], then_shut=True))
        statuses = [answer[0] for answer in found]
        assert recorded(net) - before == statuses.count(201), (seed, sent, statuses)
        closing = [n for n, answer in enumerate(found) if answer[1].get("connection") == "close"]
        assert len(found) <= len(texts) + 1 and closing in ([], [len(found) - 1]), (seed, sent, statuses)


def test_an_answer_is_not_lost_to_what_still_comes(net):
    """RFC 9112 section 9.6: a client that is still sending when its request is refused can read the reason."""
    with socket.create_connection(("127.0.0.1", net.port), timeout=60) as connection:
        connection.sendall(post(net, b"", "Content-Length: 5", "Content-Length: 5"))
        assert connection.recv(1, socket.MSG_PEEK) == b"H"
        for _ in range(20):
            connection.sendall(b"x" * 65536)
        connection.shutdown(socket.SHUT_WR)
        text = b""
        while received := connection.recv(65536):
            text += received
    (answer,) = answers(text)
    assert_problem(answer, 400, "bad_framing")


def test_a_client_that_ends_its_side(net):
    """After its last request a client may close its half of the connection. A write is still answered, even if the
    answer takes a while. (A read may be given up, because a client that waits cannot be told from a client that has
    left.)"""
    before, texts = recorded(net), [good(net) for _ in range(5)]
    for text in texts[:3]:
        assert [answer[0] for answer in answers(said(net, text, then_shut=True))] == [201]
    assert [answer[0] for answer in answers(said(net, texts[3] + texts[4], then_shut=True))] == [201, 201]
    assert recorded(net) == before + 5
    assert said(net, good(net)[:-1], then_shut=True) == b"" and recorded(net) == before + 5
