# SPDX-License-Identifier: ISC
"""Nobody waits for ever. The wait for a lock in the database ends at a deadline. A scheme does not wait for another
scheme's lock. A read ends when its client has gone. /readyz says without waiting whether a till would be served."""
import json
import socket
import struct
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import date, timedelta

import psycopg2
import pytest

import network
from harness import at_once, new_service, wait_until
from network import at, cups, event

DAY = date.today() - timedelta(days=3)
HEAD = "SELECT FROM scheme_head JOIN scheme s ON s.id = scheme WHERE s.code = 'tern-bay' FOR UPDATE OF scheme_head"
WAITING = (
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND usename = 'depositd_service'"
    " AND wait_event_type = 'Lock'"
)
RECORDED = "SELECT count(*) FROM event_id"


def new_pair(database, **settings):
    """A service with two schemes: anchor trades in tern-bay, cairn in skerry."""
    service = new_service(database, **settings)
    service.admin.load(
        network.reference(
            [network.scheme(code, DAY, {"cup-300": "2.50", "cup-450": "3.50"}) for code in ("tern-bay", "skerry")],
            {"anchor": ("tern-bay", "hearth"), "cairn": ("skerry", "hearth")},
        )
    )
    return service


@pytest.fixture
def start(database):
    started = []

    def start(**settings):
        started.append(new_pair(database, **settings))
        return started[-1]

    yield start
    for service in started:
        service.stop()


@contextmanager
def locked(database, statement):
    """Holds the locks of the statement until the context ends or its connection is closed."""
    connection = psycopg2.connect(database.owner_dsn)
    try:
        connection.cursor().execute(statement)
        yield connection
    finally:
        connection.close()


def issue(site):
    return event("issue", site, at(DAY), issued=cups(cup_300=1))


# Heads


def test_a_locked_head_holds_up_its_own_scheme_only(start):
    service = start(post_deadline_ms=4000)
    late, other = issue("anchor"), service.client(service.admin_key)
    with locked(service.database, HEAD), ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(other.send, "POST", "/v1/events", late)
        for _ in range(40):
            assert service.admin.post(issue("cairn"))["status"] == "recorded"
        refused = waiting.result()
    assert (refused.status, refused.json["reason"]) == (503, "overloaded") and refused.headers["Retry-After"]
    assert service.admin.post(late)["status"] == "recorded"
    service.admin.assert_holds()


def test_a_head_that_is_let_go_is_not_refused(start):
    """An array has events of both schemes. All are recorded as soon as the head is free."""
    service = start(post_deadline_ms=60000)
    events = [issue(site) for site in ("anchor", "cairn") * 20]
    with locked(service.database, HEAD) as holder, ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(service.client(service.admin_key).post_many, events)
        wait_until(lambda: len(service.admin.feed("skerry")) == 20, "the other scheme's events are recorded")
        assert not waiting.done() and service.admin.feed("tern-bay") == []
        holder.close()
        assert [r["status"] for r in waiting.result()] == ["recorded"] * len(events)
    assert len(service.admin.feed("tern-bay")) == len(service.admin.feed("skerry")) == 20
    service.admin.assert_holds()


def test_what_waited_in_vain_is_told_from_what_was_recorded(start):
    service = start(post_deadline_ms=4000)
    events = [issue(site) for site in ("anchor", "cairn") * 3]
    lines = b"".join(json.dumps(e).encode() + b"\n" for e in (issue("anchor"), issue("cairn")))
    with locked(service.database, HEAD):
        results = service.admin.post_many(events)
        stream = service.admin.send("POST", "/v1/events", lines, {"Content-Type": "application/x-ndjson"})
        refused = service.admin.send("POST", "/v1/events?dry_run=true", issue("anchor"))
    assert [r["status"] for r in results] == ["rejected", "recorded"] * 3
    assert {r["problem"]["reason"] for r in results[::2]} == {"overloaded"}
    assert [json.loads(line).get("status") for line in stream.body.splitlines()] == ["rejected", "recorded", None]
    assert refused.status == 503
    assert [r["status"] for r in service.admin.post_many(events)] == ["recorded", "duplicate"] * 3
    service.admin.assert_holds()


def test_a_stream_is_not_late_while_the_service_is(start):
    """Lines that wait for the service do not count against body_timeout_s. Only the client's own pause does."""
    service = start(post_deadline_ms=600000, body_timeout_s=5, body_rate=1000000000)
    lines = [json.dumps(issue("anchor")).encode() + b"\n" for _ in range(2000)]
    head = (
        "POST /v1/events HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-ndjson\r\nConnection: close\r\n"
        f"Authorization: Bearer {service.admin_key}\r\nContent-Length: {sum(map(len, lines))}\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", service.port)) as connection:
        with locked(service.database, HEAD):
            connection.sendall(head.encode() + b"".join(lines[:-1]))
            time.sleep(6)
        wait_until(lambda: service.database.rows(RECORDED) == [(len(lines) - 1,)], "the service has read what was sent")
        time.sleep(1)
        connection.sendall(lines[-1])
        said = b"".join(iter(lambda: connection.recv(65536), b""))
    assert b'{"recorded":2000,"duplicate":0,"rejected":0}' in said.replace(b" ", b""), said[-500:]


# Reads

SLOW = (
    f"/v1/reports/journal?scheme=tern-bay&from={DAY}&to={DAY}",
    "/v1/events?scheme=tern-bay",
    "/v1/reports/journal" f"?scheme=tern-bay&from={DAY}&to={DAY}&format=csv",
)


def test_a_read_has_a_deadline(start):
    service = start(read_deadline_ms=3000)
    with locked(service.database, "LOCK TABLE entry IN ACCESS EXCLUSIVE MODE"):
        for target in SLOW:
            answer = service.admin.send("GET", target)
            assert (answer.status, answer.json["reason"], answer.json["retryable"]) == (503, "too_slow", True), target
            assert "3000 ms" in answer.json["detail"] and "read_deadline_ms" in answer.json["detail"]
            assert answer.headers["Retry-After"]
        wait_until(lambda: service.database.rows(WAITING) == [(0,)], "the database no longer works for nobody")
    for target in SLOW:
        assert service.admin.send("GET", target).status == 200


def test_a_read_ends_when_its_client_has_gone(start):
    """The reads are one that runs, and others that wait for a worker behind it."""
    service = start(read_workers=1, read_deadline_ms=600000)
    with locked(service.database, "LOCK TABLE entry IN ACCESS EXCLUSIVE MODE"):
        clients = []
        for count in (1, 2, 3):
            clients.append(socket.create_connection(("127.0.0.1", service.port)))
            clients[-1].sendall(
                f"GET {SLOW[count - 1]} HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer"
                f" {service.admin_key}\r\n\r\n".encode()
            )
            wait_until(lambda: waiting_reads(service) == count - 1, "the reads are queued")
        wait_until(lambda: service.database.rows(WAITING) == [(1,)], "the first read runs")
        for client in clients:
            client.close()
        wait_until(lambda: service.database.rows(WAITING) == [(0,)] and waiting_reads(service) == 0, "all have ended")
        assert service.admin.get("/v1/me")["role"] == "admin"


def waiting_reads(service):
    figures = service.client().send("GET", "/metrics").body.decode()
    return int(
        float(next(line.split()[1] for line in figures.splitlines() if line.startswith("depositd_reads_waiting")))
    )


def test_a_reset_connection_ends_its_read(start):
    service = start(read_workers=1, read_deadline_ms=600000)
    with locked(service.database, "LOCK TABLE entry IN ACCESS EXCLUSIVE MODE"):
        client = socket.create_connection(("127.0.0.1", service.port))
        client.sendall(
            f"GET {SLOW[0]} HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer {service.admin_key}\r\n\r\n".encode()
        )
        wait_until(lambda: service.database.rows(WAITING) == [(1,)], "the read runs")
        client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        client.close()
        wait_until(lambda: service.database.rows(WAITING) == [(0,)], "it has ended")


def test_a_write_is_not_cut_off_when_its_client_has_gone(start):
    service = start(read_workers=1)
    body = json.dumps({"name": "Quay"}).encode()
    with locked(service.database, "SELECT FROM network_head FOR UPDATE") as holder:
        client = socket.create_connection(("127.0.0.1", service.port))
        client.sendall(
            f"PUT /v1/participants/quay HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer {service.admin_key}\r\n"
            f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n".encode() + body
        )
        wait_until(lambda: service.database.rows(WAITING) == [(1,)], "the write waits")
        client.close()
        time.sleep(2)  # longer than a read would go on
        assert service.database.rows(WAITING) == [(1,)]
        holder.close()
    wait_until(lambda: service.admin.send("GET", "/v1/participants/quay").status == 200, "it is recorded")


# Readiness


def readyz(service):
    return service.client().send("GET", "/readyz")


def test_readiness_costs_one_commit_a_second_whoever_asks(start):
    service = start()
    transactions = "SELECT pg_snapshot_xmax(pg_current_snapshot())::text::bigint"
    ask = service.client()
    [(before,)], began = service.database.rows(transactions), time.monotonic()
    at_once(*(lambda: [service.client().send("GET", "/readyz") for _ in range(25)] for _ in range(32)))
    [(after,)], took = service.database.rows(transactions), time.monotonic() - began
    autovacuum = 20  # transactions of its own, in the whole cluster
    assert after - before <= took + 2 + autovacuum, f"{after - before} transactions for 800 questions in {took} s"
    assert ask.send("GET", "/readyz").status == 200


def test_readiness_needs_no_read_worker(start):
    service = start(read_workers=2, read_deadline_ms=600000)
    with locked(service.database, "LOCK TABLE entry IN ACCESS EXCLUSIVE MODE") as holder, ThreadPoolExecutor(2) as pool:
        reads = [pool.submit(service.client(service.admin_key).send, "GET", SLOW[1]) for _ in range(2)]
        wait_until(lambda: service.database.rows(WAITING) == [(2,)], "all workers are busy")
        assert readyz(service).status == 200
        holder.close()
        assert [r.result().status for r in reads] == [200, 200]


def test_a_read_only_database_is_not_ready(start):
    service = start()
    database = service.database
    database.administer(f"ALTER DATABASE {database.name} SET default_transaction_read_only = on")
    database.administer(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{database.name}'")
    wait_until(lambda: readyz(service).status == 503, "it is not ready")
    answer = readyz(service)
    assert answer.headers["Content-Type"] == "application/problem+json" and answer.headers["Retry-After"]
    wait_until(lambda: "read-only" in readyz(service).json["detail"], "it says why")
    refused = service.admin.send("POST", "/v1/events", issue("anchor"))
    assert (refused.status, refused.json["reason"]) == (503, "overloaded")
    database.administer(f"ALTER DATABASE {database.name} RESET default_transaction_read_only")
    wait_until(lambda: readyz(service).status == 200, "it is ready again")
    wait_until(lambda: service.admin.send("POST", "/v1/events", issue("anchor")).status == 201, "it records again")


def test_a_database_of_another_version_is_not_ready(start):
    service = start()
    service.database.run("INSERT INTO schema_version (version, name) VALUES (9999, 'of a newer depositd')")
    wait_until(lambda: readyz(service).status == 503, "it is not ready")
    assert "version" in readyz(service).json["detail"]
    service.database.run("DELETE FROM schema_version WHERE version = 9999")
    wait_until(lambda: readyz(service).status == 200, "it is ready again")
