# SPDX-License-Identifier: ISC
"""A connection pooler between the service and PostgreSQL gives each transaction to any free session, so prepared
statements and settings get lost. The service refuses to start over a pooler. If a pooler is put in between later, the
service says that it is not ready.

The pooler is a stand-in. It passes everything on except the process id that PostgreSQL tells its client. A pooler must
make that up, because many processes may serve the client."""
import socket
import socketserver
import struct
import subprocess
import threading
from datetime import date, timedelta

import pytest

import network
from harness import Service, new_service, wait_until
from network import at, cups, event

DAY = date.today() - timedelta(days=2)


class Relay(socketserver.ThreadingTCPServer):
    """To the PostgreSQL at a socket's path, as a pooler or plainly."""

    daemon_threads = allow_reuse_address = True

    def __init__(self, path):
        super().__init__(("127.0.0.1", 0), Session)
        self.path, self.pools = path, True
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def dsn(self, database):
        return (
            f"host=127.0.0.1 port={self.server_address[1]} dbname={database.name} user=depositd_service"
            " sslmode=disable gssencmode=disable"
        )


class Session(socketserver.BaseRequestHandler):
    def handle(self):
        with socket.socket(socket.AF_UNIX) as server:
            server.connect(self.server.path)
            threading.Thread(target=_pass_on, args=(self.request, server), daemon=True).start()
            if self.server.pools and not self._greet(server):
                return
            _pass_on(server, self.request)

    def _greet(self, server):
        """Passes messages on up to the message with the process id, in which it changes the id. False: no such message
        came."""
        while True:
            head = _read(server, 5)
            body = _read(server, struct.unpack("!i", head[1:])[0] - 4) if head else None
            if body is None:
                return False
            if head[:1] == b"K":
                process, key = struct.unpack("!ii", body)
                body = struct.pack("!ii", process + 1, key)
            self.request.sendall(head + body)
            if head[:1] == b"K":
                return True


def _read(source, count):
    data = b""
    while len(data) < count:
        more = source.recv(count - len(data))
        if not more:
            return None
        data += more
    return data


def _pass_on(source, target):
    try:
        while data := source.recv(65536):
            target.sendall(data)
        target.shutdown(socket.SHUT_WR)
    except OSError:
        pass


@pytest.fixture
def relay(database):
    host = dict(part.split("=") for part in database.owner_dsn.split())["host"]
    relay = Relay(f"{host}/.s.PGSQL.5432")
    yield relay
    relay.shutdown()
    relay.server_close()


def test_the_service_does_not_start_over_a_pooler(database, relay):
    pooled = Service(database, dsn=relay.dsn(database))
    assert "pooler" in _failure(pooled)


def _failure(service):
    """The output of a `serve` that must fail to start."""
    done = subprocess.run(
        [service.binary, "serve"], env=service.environment, capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 1
    return done.stderr


def test_a_pooler_that_comes_later_makes_it_unready(database, relay):
    relay.pools = False
    service = new_service(database, dsn=relay.dsn(database))
    try:
        service.admin.load(
            network.reference(
                [network.scheme("tern-bay", DAY, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")}
            )
        )
        issue = event("issue", "anchor", at(DAY), issued=cups(cup_300=1))
        relay.pools = True
        database.administer(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{database.name}'")
        _wait_for(lambda: service.client().send("GET", "/readyz"), 503)
        refused = service.admin.send("POST", "/v1/events", issue)
        assert (refused.status, refused.json["reason"]) == (503, "overloaded")
        _wait_for(lambda: service.client().send("GET", "/readyz"), 503, "pooler")
        relay.pools = False
        _wait_for(lambda: service.client().send("GET", "/readyz"), 200)
        _wait_for(lambda: service.admin.send("POST", "/v1/events", issue), 201)
    finally:
        service.stop()


def _wait_for(ask, status, detail=""):
    def is_so():
        answer = ask()
        return answer.status == status and (not detail or detail in answer.json["detail"])

    wait_until(is_so, f"{status} {detail}")
