# SPDX-License-Identifier: ISC
"""Events as a stream of lines (application/x-ndjson): any number of events, each accepted or refused on its own line.
Also limits how often a key may ask."""
import http.client
import json
import socket
import time
from datetime import date, timedelta

import pytest

import network
from harness import PATIENCE_SECONDS, at_once, new_service, wait_until
from network import at, cups, event

DAY = date.today() - timedelta(days=2)
NDJSON = {"Content-Type": "application/x-ndjson"}


@pytest.fixture
def admin(service):
    load(service.admin)
    return service.admin


def load(client):
    client.load(
        network.reference(
            [network.scheme("tern-bay", DAY, {"cup-300": "2.50"})],
            {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller")},
        )
    )


def issue(site="anchor", **more):
    return event("issue", site, at(DAY), issued=cups(cup_300=1), **more)


def lines_of(*events):
    return b"".join(json.dumps(e).encode() + b"\n" for e in events)


def stream(client, body, status=200, headers=NDJSON, target="/v1/events"):
    answer = client.send("POST", target, body, headers)
    assert answer.status == status, answer.body[:1000]
    return answer if status != 200 else [json.loads(line) for line in answer.body.splitlines()]


def test_each_line_is_answered_in_order_and_a_bad_one_holds_up_nobody(admin):
    good = [issue() for _ in range(5)]
    refused = issue("nowhere")
    *results, summary = stream(
        admin,
        lines_of(*good[:2])
        + b"{]\n"
        + b"  \r\n"
        + lines_of(refused, good[2], good[0])
        + lines_of(*good[3:]).rstrip(b"\n"),
    )
    assert [r["status"] for r in results] == ["recorded"] * 2 + ["rejected"] * 2 + ["recorded", "duplicate"] + [
        "recorded"
    ] * 2
    assert [r["problem"]["reason"] for r in results if "problem" in r] == ["not_json", "site_unknown"]
    assert results[3]["event_id"] == refused["event_id"] and results[5]["entry"] == results[0]["entry"]
    assert summary == {"recorded": 5, "duplicate": 1, "rejected": 2}
    assert [e["event"]["event_id"] for e in admin.feed("tern-bay")] == [e["event_id"] for e in good]


def test_a_stream_longer_than_its_lots_and_the_memory_for_its_answer(admin):
    """Several lots, events that refer to earlier events in other lots, and an answer too long for memory."""
    issues = [issue() for _ in range(2500)]
    undone = [event("reversal", "anchor", at(DAY), reverses=i["event_id"]) for i in issues[::2]]
    *results, summary = stream(admin, lines_of(*issues, *undone))
    assert summary == {"recorded": 3750, "duplicate": 0, "rejected": 0}
    assert [r["event_id"] for r in results] == [e["event_id"] for e in issues + undone]
    assert [r["entry"] for r in results] == list(range(1, 3751))
    assert stream(admin, lines_of(*issues))[-1] == {"recorded": 0, "duplicate": 2500, "rejected": 0}
    assert admin.accounts("tern-bay")["with_customers(cup-300)"] == 1250
    admin.assert_holds()


def test_a_line_is_posted_before_the_next_one_comes(admin, service):
    """A slow client's events are not held back until its stream ends. A stream that breaks off has posted the lines
    that it sent."""
    first, second = issue(), issue("brick")
    with socket.create_connection(("127.0.0.1", service.port)) as connection:
        head = (
            "POST /v1/events HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-ndjson\r\n"
            f"Authorization: Bearer {service.admin_key}\r\nTransfer-Encoding: chunked\r\n\r\n"
        )
        connection.sendall(head.encode())
        for sent, one in enumerate((first, second), 1):
            text = lines_of(one)
            connection.sendall(f"{len(text):x}\r\n".encode() + text + b"\r\n")
            wait_until(lambda: len(admin.feed("tern-bay")) == sent)
        connection.sendall(b'5\r\n{"eve\r\n')
    assert [e["event"]["event_id"] for e in admin.feed("tern-bay")] == [first["event_id"], second["event_id"]]


def test_chunks_of_any_size(admin, service):
    """Pieces that end within a line, and within a character of more than one byte."""
    events = [issue(reference=f"Tür {n}") for n in range(300)]
    text = lines_of(*events)
    for size in (7, 1000, len(text)):
        connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=PATIENCE_SECONDS)
        connection.request(
            "POST",
            "/v1/events",
            iter(text[i : i + size] for i in range(0, len(text), size)),
            {**NDJSON, "Authorization": f"Bearer {service.admin_key}"},
            encode_chunked=True,
        )
        answer = [json.loads(line) for line in connection.getresponse().read().splitlines()]
        assert [a["event_id"] for a in answer[:-1]] == [e["event_id"] for e in events]
        connection.close()
    assert answer[-1] == {"recorded": 0, "duplicate": 300, "rejected": 0}


def test_what_is_no_stream(admin, service):
    assert stream(admin, b"") == [{"recorded": 0, "duplicate": 0, "rejected": 0}]
    assert stream(admin, b"\n\n") == [{"recorded": 0, "duplicate": 0, "rejected": 0}]
    long = issue(reference="x" * 70000)
    *results, summary = stream(admin, lines_of(long, issue()))
    assert [r["status"] for r in results] == ["rejected", "recorded"]
    assert results[0]["problem"]["reason"] == "body_too_large"
    body = lines_of(issue())
    assert stream(admin, body, 422, target="/v1/events?dry_run=true").reasons[0] == "parameter_invalid"
    assert stream(admin, body, 415, {**NDJSON, "Content-Encoding": "gzip"}).reasons[0] == "unsupported_media_type"
    assert stream(admin, body, 406, {**NDJSON, "Accept": "image/png"}).reasons[0] == "not_acceptable"
    assert stream(service.client("dk_nobody"), body, 401).reasons[0] == "unauthenticated"
    auditor = service.client(service.create_key("an-auditor", "auditor"))
    assert stream(auditor, body, 403).reasons[0] == "role_not_allowed"
    till = service.client(service.create_key("till-1", "pos", sites=["brick"]))  # newer than the current snapshot
    *results, summary = stream(till, lines_of(issue(), issue("brick")))
    assert [r.get("problem", {}).get("reason") for r in results] == ["site_not_allowed", None]


def test_the_database_away_in_the_midst_of_a_stream(admin, service):
    """There is no summary line, so the client posts the rest again."""
    events = [issue() for _ in range(4000)]
    connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=PATIENCE_SECONDS)
    text = lines_of(*events)

    def pieces():
        yield text[: len(text) // 2]
        wait_until(lambda: service.database.rows("SELECT count(*) FROM entry")[0][0] >= 1000)
        service.database.shut()
        yield text[len(text) // 2 :]

    connection.request(
        "POST", "/v1/events", pieces(), {**NDJSON, "Authorization": f"Bearer {service.admin_key}"}, encode_chunked=True
    )
    answer = [json.loads(line) for line in connection.getresponse().read().splitlines()]
    connection.close()
    service.database.open()
    assert 0 < len(answer) < 4000 and {a["status"] for a in answer} == {"recorded"}
    *rest, summary = stream(admin, lines_of(*events[len(answer) :]))
    assert len(rest) == 4000 - len(answer) and summary["rejected"] == 0
    assert [e["event"]["event_id"] for e in admin.feed("tern-bay")] == [e["event_id"] for e in events]
    admin.assert_holds()


def test_as_many_streams_as_are_allowed(database):
    service = new_service(database, max_streams=1)
    load(service.admin)
    with socket.create_connection(("127.0.0.1", service.port)) as connection:
        head = (
            "POST /v1/events HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-ndjson\r\n"
            f"Authorization: Bearer {service.admin_key}\r\nContent-Length: 100000\r\n\r\n"
        )
        connection.sendall(head.encode() + lines_of(issue()))
        wait_until(lambda: len(service.admin.feed("tern-bay")) == 1)
        assert stream(service.admin, lines_of(issue()), 503).headers["Retry-After"] == "1"
    wait_until(lambda: service.admin.send("POST", "/v1/events", lines_of(issue()), NDJSON).status == 200)
    service.stop()


def test_a_key_that_asks_too_often(database):
    """A burst is allowed, then so many a second, counted for each key. If the machine answered more slowly than the
    key may ask, nothing would be refused, so many requests are sent at once."""
    service = new_service(database, key_rate=1, key_burst=20)
    other = service.client(service.create_key("another-admin", "admin"))
    began = time.monotonic()

    def ask():
        return [service.client(service.admin_key).send("GET", "/v1/me") for _ in range(20)]

    answers = [answer for some in at_once(*[ask] * 8) for answer in some]
    statuses = [a.status for a in answers]
    assert 19 <= statuses.count(200) <= 20 + (time.monotonic() - began) + 1 and 429 in statuses, statuses
    refused = next(a for a in answers if a.status == 429)
    assert refused.json["reason"] == "too_many_requests" and refused.json["retryable"] is True
    assert refused.headers["Retry-After"] == "1"
    assert other.get("/v1/me")["role"] == "admin"
    wait_until(lambda: service.admin.send("GET", "/v1/me").status == 200)
    service.stop()


def test_stopped_in_the_midst_of_a_stream(service):
    """It ends in good order. The client posts the unanswered lines again, to the instance that runs then. The last
    lines are sent only when the service stops, so it always stops in the middle of the stream."""
    load(service.admin)
    events = [issue() for _ in range(20000)]
    connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=PATIENCE_SECONDS)

    def pieces():
        for start in range(0, 19000, 1000):
            yield lines_of(*events[start : start + 1000])
        wait_until(lambda: "msg=stopping" in service.log_text(), "it stops")
        yield lines_of(*events[19000:])

    def send():
        try:
            connection.request(
                "POST",
                "/v1/events",
                pieces(),
                {**NDJSON, "Authorization": f"Bearer {service.admin_key}"},
                encode_chunked=True,
            )
            return connection.getresponse().read()
        except (OSError, http.client.HTTPException) as error:
            return getattr(error, "partial", b"")

    def stop():
        wait_until(lambda: service.database.rows("SELECT count(*) FROM entry")[0][0] >= 1000)
        service.stop()

    answer, _ = at_once(send, stop)
    assert b'"rejected":' not in answer, "a summary, though it was cut off"
    service.start()
    *results, summary = stream(service.client(service.admin_key), lines_of(*events))
    assert summary["recorded"] + summary["duplicate"] == 20000 and summary["duplicate"] >= 1000
    assert sorted(r["entry"] for r in results) == list(range(1, 20001))


def test_an_answer_beyond_its_bound(database):
    """Short lines have long answers, but these do not fill the disk."""
    service = new_service(database, spool_megabytes=1)
    load(service.admin)
    assert stream(service.admin, b"x\n" * 20000, 503).reasons[0] == "outcome_unknown"
    assert stream(service.admin, lines_of(issue()))[-1] == {"recorded": 1, "duplicate": 0, "rejected": 0}
    service.stop()
