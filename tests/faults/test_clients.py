# SPDX-License-Identifier: ISC
"""Clients that misbehave: slow, silent, endless, wrong or too many. No such client gets more than its own answer or
keeps a descriptor, and the tills beside them are not disturbed."""
import gzip
import json
import multiprocessing
import re
import resource
import socket
import threading
import time
from contextlib import ExitStack, contextmanager

import pytest

from harness import at_once
from network import at, cups, event
from proof import Footprint
from tills import PATIENCE_SECONDS, wait_until

TIMEOUT_S = 5  # the service closes an idle connection after this time; short, so that the tests can see it
BODY_MAX = 65536
TILLS = 10
RATE = 500  # events a second that all tills together post


@pytest.fixture
def polite(new_network):
    return new_network(
        connection_timeout_s=TIMEOUT_S,
        head_timeout_s=TIMEOUT_S,
        body_timeout_s=TIMEOUT_S,
        max_body_bytes=BODY_MAX,
        read_workers=1,
        max_connections_per_address=0,
    )


def head(service, length=None, **more):
    """The beginning of a POST of events, up to its body."""
    lines = [
        "POST /v1/events HTTP/1.1",
        "Host: localhost",
        f"Authorization: Bearer {service.admin_key}",
        "Content-Type: application/json",
        *([] if length is None else [f"Content-Length: {length}"]),
        *(f"{name.replace('_', '-')}: {value}" for name, value in more.items()),
    ]
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


def issue(day):
    return json.dumps(event("issue", "anchor", at(day), issued=cups(cup_300=1))).encode()


def connect(service, source="127.0.0.1"):
    return socket.create_connection(("127.0.0.1", service.port), timeout=PATIENCE_SECONDS, source_address=(source, 0))


def answers_to(service, *pieces, then_shut=False):
    """All bytes that the service sends on a new connection until it closes it. b"": it sends nothing, or resets the
    connection."""
    with connect(service) as connection:
        said = b""
        try:
            for piece in pieces:
                connection.sendall(piece)
            if then_shut:
                connection.shutdown(socket.SHUT_WR)
            while received := connection.recv(65536):
                said += received
        except (ConnectionResetError, BrokenPipeError):
            pass
        return said


def statuses(said):
    return [int(status) for status in re.findall(rb"HTTP/1\.1 (\d{3}) ", said)]


def events_recorded(service):
    return service.database.rows("SELECT count(*) FROM entry")[0][0]


def test_requests_that_follow_without_waiting(polite, days):
    bodies = [issue(days[0]) for _ in range(20)]
    requests = [
        head(polite, len(body), **({"Connection": "close"} if body is bodies[-1] else {})) + body for body in bodies
    ]
    said = answers_to(polite, b"".join(requests))
    assert statuses(said) == [201] * 20
    told = [said.index(json.loads(body)["event_id"].encode()) for body in bodies]
    assert told == sorted(told)


def test_a_body_that_is_announced_wrongly(polite, days):
    body = issue(days[0])
    assert statuses(answers_to(polite, head(polite, len(body) + 1) + body, then_shut=True)) in ([], [400])
    assert statuses(answers_to(polite, head(polite, len(body) - 1) + body))[0] == 400
    for wrong in ("-1", "1x", "", "99999999999999999999999"):
        assert statuses(answers_to(polite, head(polite, wrong) + body)) == [400], wrong
    chunked = head(polite, Transfer_Encoding="chunked")
    assert statuses(answers_to(polite, chunked + b"zz\r\n" + body)) == [400]
    assert events_recorded(polite) == 0


def test_bodies_too_large(polite):
    """A body that is too large is refused, whether it announces its length or not. An endless body is not read for
    ever."""
    assert statuses(answers_to(polite, head(polite, 100 * BODY_MAX))) == [413]
    said = answers_to(polite, head(polite, 2 * BODY_MAX, Connection="close"), b" " * (2 * BODY_MAX))
    assert statuses(said) == [413]
    chunk = b"4000\r\n" + b" " * 0x4000 + b"\r\n"
    chunked = head(polite, Transfer_Encoding="chunked")
    with connect(polite) as connection:
        connection.sendall(chunked)
        deadline = time.monotonic() + PATIENCE_SECONDS
        with pytest.raises((ConnectionResetError, BrokenPipeError)):
            while time.monotonic() < deadline:  # the service reads on, so that the client gets the reason
                connection.sendall(chunk)
    stream = head(polite, Transfer_Encoding="chunked", Connection="close").replace(
        b"application/json", b"application/x-ndjson"
    )
    assert statuses(answers_to(polite, stream, *[chunk] * 8, b"0\r\n\r\n")) == [200]
    assert polite.admin.get("/v1/me")["role"] == "admin"


def test_expectations(polite, days):
    """The service tells the client to go on, or refuses before the client sends the body."""
    body = issue(days[0])
    with connect(polite) as connection:
        connection.sendall(head(polite, len(body), Expect="100-continue", Connection="close"))
        assert connection.recv(65536).startswith(b"HTTP/1.1 100 ")
        connection.sendall(body)
        assert connection.recv(65536).startswith(b"HTTP/1.1 201 ")
    assert statuses(answers_to(polite, head(polite, BODY_MAX + 1, Expect="100-continue"))) == [413]


@pytest.mark.parametrize("coding", ["gzip", "deflate", "br", "identity, gzip"])
def test_compressed_bodies_are_not_taken(polite, days, coding):
    packed = gzip.compress(issue(days[0]))
    polite.admin.refused("POST", "/v1/events", packed, 415, "unsupported_media_type", {"Content-Encoding": coding})
    assert events_recorded(polite) == 0


# --- slow ones --------------------------------------------------------------------------------------------------------


def drip(connections, texts, ended, pause=0.05):
    """Sends the texts byte by byte, on all connections, until the service has hung up on all, or the time is over."""
    left = {connection: iter(text) for connection, text in zip(connections, texts)}
    while left and not ended.wait(pause):
        for connection, text in list(left.items()):
            try:
                connection.send(bytes([next(text)]))
            except (OSError, StopIteration):
                del left[connection]


@contextmanager
def dripping(connections, texts):
    ended = threading.Event()
    thread = threading.Thread(target=drip, args=(connections, texts, ended))
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def rest(connection):
    """All bytes until the end of the connection."""
    said = b""
    try:
        while received := connection.recv(65536):
            said += received
    except ConnectionResetError:
        pass
    return said


SLOW = {
    "head": lambda service: (b"", head(service, 2000, X_Note="x" * 3000)),
    "head behind a request": lambda service: (
        b"GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n",
        head(service, 2000, X_Note="x" * 3000),
    ),
    "body": lambda service: (head(service, 2000), b" " * 2000),
    "chunks": lambda service: (head(service, Transfer_Encoding="chunked"), b"1\r\n \r\n" * 600),
    "one chunk": lambda service: (head(service, Transfer_Encoding="chunked") + b"7d0\r\n", b" " * 2000),
    "size of a chunk": lambda service: (head(service, Transfer_Encoding="chunked"), b"1;" + b"x" * 250),
    "trailers": lambda service: (head(service, Transfer_Encoding="chunked") + b"0\r\n", b"X-Note: " + b"x" * 1000),
    "stream": lambda service: (
        head(service, Transfer_Encoding="chunked").replace(b"/json", b"/x-ndjson"),
        b"1\r\n \r\n" * 600,
    ),
}


@pytest.mark.parametrize("what", SLOW)
def test_a_slow_request(new_network, what):
    """Each byte comes long before the connection counts as idle, but the request takes too long (RFC 9110 section
    15.5.9)."""
    service = new_network(head_timeout_s=2, body_timeout_s=2)
    first, slowly = SLOW[what](service)
    with connect(service) as connection:
        connection.sendall(first)
        with dripping([connection], [slowly]):
            said = rest(connection)
    assert statuses(said) == [*([200] if what == "head behind a request" else []), 408], said
    problem = json.loads(said.rpartition(b"\r\n\r\n")[2])
    assert (problem["status"], problem["reason"], problem["retryable"]) == (408, "request_timeout", True)
    assert b"\r\nconnection: close\r\n" in said.lower() and events_recorded(service) == 0


def test_a_request_that_stops(new_network):
    """The service meets the deadline although no more bytes come."""
    service = new_network(head_timeout_s=1, body_timeout_s=1)
    for sent in (b"GET", head(service, 2000) + b"[", head(service, Transfer_Encoding="chunked") + b"5\r\n"):
        assert statuses(answers_to(service, sent)) == [408]


def test_a_body_that_is_slow_but_comes(new_network, days):
    """A body has a second more for each body_rate bytes, so it may take longer than body_timeout_s."""
    service = new_network(body_timeout_s=2, body_rate=100)
    body = issue(days[0]) + b" " * 1700
    with connect(service) as connection:
        connection.sendall(head(service, len(body), Connection="close"))
        for n in range(0, len(body), len(body) // 16 + 1):
            connection.sendall(body[n : n + len(body) // 16 + 1])
            time.sleep(0.2)
        assert statuses(rest(connection)) == [201]


def ask(service, target, source="127.0.0.1"):
    """The status of an answer, on a connection of its own."""
    request = (
        f"GET {target} HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer {service.admin_key}\r\nConnection:" " close\r\n\r\n"
    )
    with connect(service, source) as connection:
        connection.sendall(request.encode())
        (status,) = statuses(rest(connection))
    return status


PROBES = ("/healthz", "/readyz", "/metrics")


def test_probes_of_a_service_that_is_full(new_network):
    """Dripping connections take all the room. The probes are still answered, and other requests get 503. When the
    slow clients have met their deadline, there is room again."""
    service = new_network(max_connections=45, max_connections_per_address=0, head_timeout_s=20, body_timeout_s=20)
    service.admin.connection.close()
    with ExitStack() as stack:
        slow = []
        while len(slow) < 45 or ask(service, "/v1/me") != 503:
            slow.append(stack.enter_context(connect(service)))
            assert len(slow) < 60
        with dripping(slow, [head(service, 2000) + b" " * 2000] * len(slow)):
            assert {ask(service, probe) for probe in PROBES} == {200}
            assert ask(service, "/v1/me") == 503 and ask(service, "/nothing") == 503
            wait_until(lambda: ask(service, "/v1/me") == 200, "room again")
    assert service.admin.get("/v1/me")["role"] == "admin"


def test_an_address_has_its_share(new_network):
    """The ninth connection from an address may ask only the probes. Another address is served as before."""
    service = new_network(max_connections_per_address=8)
    service.admin.connection.close()
    with ExitStack() as stack:
        held = []
        while len(held) < 8 or ask(service, "/v1/me") != 503:
            held.append(stack.enter_context(connect(service)))
            assert len(held) < 30
        assert {ask(service, probe) for probe in PROBES} == {200}
        assert ask(service, "/v1/me", source="127.0.0.2") == 200
        for connection in held:
            connection.close()
        wait_until(lambda: ask(service, "/v1/me") == 200, "room again")
    assert ask(service, "/v1/me") == 200


def test_reserved_connections_are_brief(new_network):
    """A client that takes the reserved connections as well, and sends nothing, is told to go. The probes get their
    turn."""
    service = new_network(max_connections=8, max_connections_per_address=0, head_timeout_s=60, connection_timeout_s=60)
    service.admin.connection.close()
    with ExitStack() as stack:
        crowd = [stack.enter_context(connect(service)) for _ in range(40)]
        for connection in crowd:
            try:
                connection.send(b"GET /heal")
            except OSError:
                pass
        assert ask(service, "/healthz") == 200
        assert ask(service, "/v1/me") == 503


# --- beside tills -----------------------------------------------------------------------------------------------------


class Pace:
    """Tills that post single events at a steady rate, each on a connection that it keeps open. The time of an answer
    counts from the moment at which its event was due. So an answer that is late because an earlier one was late
    counts as late."""

    def __init__(self, service, day, seconds):
        self.day, self.count = day, int(RATE * seconds)
        self.took, self.wrong = [], []
        self.clients = [service.client(service.admin_key, checked=False) for _ in range(TILLS)]
        for client in self.clients:
            client.get("/healthz")

    def run(self):
        began = time.monotonic()
        at_once(*(lambda n=n: self._till(n, began) for n in range(TILLS)))
        assert not self.wrong and len(self.took) == self.count, self.wrong[:5]
        self.took.sort()
        return self

    def _till(self, number, began):
        client = self.clients[number]
        for turn in range(number, self.count, TILLS):
            due = began + turn / RATE
            time.sleep(max(0, due - time.monotonic()))
            answer = client.send("POST", "/v1/events", issue(self.day))
            self.took.append(time.monotonic() - due)
            if answer.status != 201:
                self.wrong.append((answer.status, answer.body[:200]))
        client.connection.close()

    def __str__(self):
        share = {p: self.took[int(len(self.took) * p / 100)] * 1000 for p in (50, 99)}
        return f"p50 {share[50]:.1f} ms, p99 {share[99]:.1f} ms"


@contextmanager
def slow_senders(service, many):
    """Clients that send their requests at a byte a second, and would take minutes to the end."""
    text, ended = head(service, 2000) + b" " * 2000, threading.Event()
    with ExitStack() as stack:
        senders = [stack.enter_context(connect(service)) for _ in range(many)]

        def send():
            for n in range(len(text)):
                for sender in senders:
                    try:
                        sender.send(text[n : n + 1])
                    except OSError:  # the service has closed the connection at the deadline
                        pass
                if ended.wait(1):
                    return

        sending = threading.Thread(target=send)
        sending.start()
        try:
            yield
        finally:
            ended.set()
            sending.join()


@contextmanager
def half_open(service, many):
    """Clients that send half a request and nothing more, until the service hangs up."""
    with ExitStack() as stack:
        idle = [stack.enter_context(connect(service)) for _ in range(many)]
        for n, connection in enumerate(idle):
            text = head(service, 2000) + b"[" * 1000
            connection.sendall(text[: n * len(text) // many])
        yield
        for connection in idle:
            wait_for_hang_up(connection)


def wait_for_hang_up(connection):
    try:
        while connection.recv(65536):
            pass
    except ConnectionResetError:
        pass


@contextmanager
def flood(service, many):
    """Clients that connect and leave as fast as they can, far more often than connections may be open at a time."""
    ended = threading.Event()

    def connect_and_go():
        while not ended.is_set():
            with ExitStack() as stack:
                for _ in range(many // 2):
                    try:
                        stack.enter_context(connect(service))
                    except OSError:
                        break

    flooding = [threading.Thread(target=connect_and_go) for _ in range(2)]
    for thread in flooding:
        thread.start()
    try:
        yield
    finally:
        ended.set()
        for thread in flooding:
            thread.join()


@contextmanager
def endless_bodies(service, many):
    """Clients that send bodies that are too large again and again, without looking at the answers."""
    ended = threading.Event()

    def send():
        while not ended.is_set():
            try:
                with connect(service) as connection:
                    connection.sendall(head(service, Transfer_Encoding="chunked"))
                    while not ended.is_set():
                        connection.sendall(b"4000\r\n" + b" " * 0x4000 + b"\r\n")
            except OSError:
                pass

    sending = [threading.Thread(target=send) for _ in range(many)]
    for thread in sending:
        thread.start()
    try:
        yield
    finally:
        ended.set()
        for thread in sending:
            thread.join()


@contextmanager
def elsewhere(make, service, many):
    """Runs the crowd in a process of its own. In one process, the threads of the crowd and of the tills would wait
    for each other, and the service would be blamed."""
    forked = multiprocessing.get_context("fork")
    ready, ended = forked.Event(), forked.Event()

    def gather():
        with make(service, many):
            ready.set()
            ended.wait()

    process = forked.Process(target=gather, daemon=True)
    process.start()
    try:
        assert ready.wait(PATIENCE_SECONDS), "the crowd does not come together"
        yield
    finally:
        ended.set()
        process.join(PATIENCE_SECONDS)
    assert process.exitcode == 0, process.exitcode


CROWDS = {
    "slow": (slow_senders, 1000),
    "half-open": (half_open, 1000),
    "flood": (flood, 2000),
    "endless": (endless_bodies, 20),
}


@pytest.fixture
def many_descriptors():
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@pytest.mark.parametrize("crowd", CROWDS)
def test_tills_beside_a_crowd(polite, many_descriptors, days, rounds, crowd):
    """Each post of the tills is answered 201 as if they were alone, and the crowd leaves no descriptor behind. The
    test prints its effect on the time that an answer takes."""
    make, size = CROWDS[crowd]
    seconds = len(rounds(20)) / 2
    Pace(polite, days[0], 1).run()
    polite.admin.get("/v1/me")
    polite.admin.connection.close()
    before = Footprint(polite)
    alone = Pace(polite, days[0], seconds).run()
    beside = Pace(polite, days[0], seconds)
    with elsewhere(make, polite, len(rounds(size))):
        beside.run()
    wait_until(lambda: before.count_descriptors() <= before.descriptors, f"at most {before.descriptors} descriptors")
    polite.admin.assert_holds()
    print(f"\n{RATE} posts a second alone: {alone}; beside {len(rounds(size))} {crowd}: {beside}")
