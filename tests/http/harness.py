# SPDX-License-Identifier: ISC
"""The service under test as a black box: a fresh database, the binary started on a free port, and a small HTTP client.

DEPOSITD_BINARY is the binary, DEPOSITD_TEST_PGHOST the socket folder of a private PostgreSQL whose superuser `postgres`
is trusted; tests/run gives both. Where tests run side by side, it names a folder for each worker, separated by colons.
"""
import functools
import hashlib
import http.client
import itertools
import json
import os
import random
import re
import signal
import socket
import subprocess
import tempfile
import threading
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode
from uuid import uuid4

import psycopg2

from contract import Contract, parse

SANITIZER = re.compile(r"ERROR: \w+Sanitizer|runtime error:|WARNING: ThreadSanitizer")
PATIENCE_SECONDS = 180  # bounds each wait; long, because a slow machine is not a fault
WORKER = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))  # side by side, from 0

# The service's port is chosen first, and the service listens on it a moment later. To keep other processes from taking
# it meanwhile, each worker has its own ports, below those that the system gives to connections. The first port is
# random, because another checkout may test at the same time.
FIRST_PORT, WORKERS_PORTS = 10_000, 2_500
_start = random.randrange(WORKERS_PORTS)
_ports = itertools.cycle(
    FIRST_PORT + WORKER * WORKERS_PORTS + (_start + n) % WORKERS_PORTS for n in range(WORKERS_PORTS)
)


def of_worker(names):
    """This worker's part of names that are separated by colons."""
    names = names.split(":")
    return names[WORKER % len(names)]


def free_port():
    for port in itertools.islice(_ports, WORKERS_PORTS):
        try:
            socket.create_server(("127.0.0.1", port)).close()
            return port
        except OSError:  # another process listens there
            continue
    raise AssertionError("no port is free")


def wait_until(condition, what="what was waited for", pause=0.02):
    """Returns the first value of the condition that is true. `what` is in words, or a function that returns them."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not (value := condition()):
        assert time.monotonic() < deadline, (
            f"after {PATIENCE_SECONDS} s still not:" f" {what() if callable(what) else what}"
        )
        time.sleep(pause)
    return value


class Answer:
    def __init__(self, response):
        self.status, self.headers, self.body = response.status, response.headers, response.read()

    @property
    def json(self):
        if not hasattr(self, "_json"):
            self._json = parse(self.body)
        return self._json

    @property
    def reasons(self):
        """The problem's reason, followed by the reasons of all its faults."""
        return [self.json["reason"], *(fault["reason"] for fault in self.json.get("errors", []))]


class Client:
    """A keep-alive connection with a key, for one thread at a time. `checked`: compares each answer with the contract.
    That takes longer than making the answer, so load tests do without."""

    def __init__(self, service, key=None, checked=True):
        self.service, self.key, self.checked, self.connection = service, key, checked, None

    def send(self, method, target, body=None, headers=None):
        """`body`: bytes are sent as they are, anything else as JSON."""
        headers = {**({"Authorization": f"Bearer {self.key}"} if self.key else {}), **(headers or {})}
        if body is not None:
            headers = {"Content-Type": "application/json", **headers}
            body = body if isinstance(body, bytes) else json.dumps(body).encode()
        answer = self._exchange(method, target, body, headers)
        if self.checked and self.service.contract:
            self.service.contract.check(method, target, answer)
        return answer

    def _exchange(self, method, target, body, headers):
        # The server may have closed a kept connection between requests: try again on a new connection.
        while True:
            kept = self.connection is not None
            if not kept:
                self.connection = http.client.HTTPConnection("127.0.0.1", self.service.port, timeout=PATIENCE_SECONDS)
            try:
                self.connection.request(method, target, body, headers)
                return Answer(self.connection.getresponse())
            except (OSError, http.client.HTTPException) as error:
                self.connection.close()
                self.connection = None
                if not kept or not isinstance(error, (ConnectionError, http.client.RemoteDisconnected)):
                    raise

    def _expect(self, answer, what, *statuses):
        assert answer.status in statuses, f"{what} -> {answer.status} {answer.body[:2000].decode(errors='replace')}"
        return answer

    def get(self, path, **query):
        """The JSON of a 200."""
        target = path + ("?" + urlencode(query) if query else "")
        return self._expect(self.send("GET", target), target, 200).json

    def put(self, path, body, headers=None):
        return self._expect(self.send("PUT", path, body, headers), path, 200, 201)

    def items(self, path, **query):
        """All items of a list, page by page."""
        page = self.get(path, **query)
        items = page["items"]
        while "next" in page and page["items"]:
            page = self.get(path, **query, cursor=page["next"])
            items += page["items"]
        return items

    def refused(self, method, target, body, status, reason, headers=None):
        answer = self._expect(self.send(method, target, body, headers), target, status)
        assert reason in answer.reasons, f"{target}: {answer.json}"
        return answer

    def agreed(self, second, method, path, body):
        """Makes a write that takes two people: this client proposes it, and the second approves. Returns the
        proposal."""
        proposed = self._expect(self.send(method, path, body), path, 202).json
        assert proposed["status"] == "proposed"
        answer = second.send("POST", f"/v1/proposals/{proposed['proposal']}/approve")
        return self._expect(answer, f"approve {path}", 200).json

    # The service's own words
    def load(self, document):
        return self._expect(self.send("POST", "/v1/reference", document), "reference", 200).json

    def post(self, event):
        """Posts an event; 201 recorded or 200 duplicate."""
        return self._expect(self.send("POST", "/v1/events", event), event, 200, 201).json

    def post_many(self, events):
        """The results of an array of events, one for each event."""
        results = self._expect(self.send("POST", "/v1/events", events), f"{len(events)} events", 200).json["results"]
        assert len(results) == len(events)
        return results

    def close(self, scheme, day):
        return self._expect(self.send("POST", f"/v1/schemes/{scheme}/days/{day}/close"), f"close {day}", 200).json

    def accounts(self, scheme, **query):
        return {a["account"]: a["balance"] for a in self.items("/v1/accounts", scheme=scheme, limit=1000, **query)}

    def feed(self, scheme):
        """The entries of the feed."""
        return [row for row in self.feed_with_cuts(scheme) if row["kind"] != "day_cut"]

    def feed_with_cuts(self, scheme):
        return self.items("/v1/events", scheme=scheme, limit=1000)

    def assert_holds(self, scheme=None):
        checks = self.get("/v1/checks", **({"scheme": scheme} if scheme else {}))
        assert checks["items"] and checks["verdict"] == "holds", [c for c in checks["items"] if c["verdict"] != "holds"]


class Database:
    """A new database in the test cluster: an empty one, a copy of another that nobody is connected to, or else a copy
    of one that the binary under test has migrated, because copying is faster than migrating."""

    def __init__(self, empty=False, copy_of=None):
        host = of_worker(os.environ["DEPOSITD_TEST_PGHOST"])
        self.name = f"depositd_{uuid4().hex[:12]}"
        self.owner_dsn = f"host={host} dbname={self.name} user=postgres"
        self.service_dsn = f"host={host} dbname={self.name} user=depositd_service"
        self._admin_dsn = f"host={host} dbname=postgres user=postgres"
        if empty or copy_of:
            self._create(copy_of.name if copy_of else "template1")
        else:
            self._copy("depositd_migrated_" + digest_of(os.environ["DEPOSITD_BINARY"]))

    def _create(self, template):
        self.administer(f"CREATE DATABASE {self.name} TEMPLATE {template}")

    def _copy(self, migrated):
        try:
            self._create(migrated)
        except psycopg2.errors.InvalidCatalogName:  # nothing has been copied in this cluster yet
            first = Database(empty=True)
            Service(first).run("migrate")
            first.administer(f"ALTER DATABASE {first.name} RENAME TO {migrated}")
            self._create(migrated)

    def administer(self, statement):
        connection = psycopg2.connect(self._admin_dsn)
        connection.autocommit = True
        connection.cursor().execute(statement)
        connection.close()

    def shut(self):
        """Ends all connections, and allows no new connections until `open`."""
        self.administer(f"ALTER DATABASE {self.name} ALLOW_CONNECTIONS false")
        self.administer(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{self.name}'")

    def open(self):
        self.administer(f"ALTER DATABASE {self.name} ALLOW_CONNECTIONS true")

    def rows(self, statement, *values):
        connection = psycopg2.connect(self.owner_dsn)
        with connection, connection.cursor() as cursor:
            cursor.execute(statement, values)
            rows = cursor.fetchall()
        connection.close()
        return rows

    def run(self, statements):
        connection = psycopg2.connect(self.owner_dsn)
        with connection, connection.cursor() as cursor:
            cursor.execute(statements)
        connection.close()

    def drop(self):
        self.administer(f"DROP DATABASE IF EXISTS {self.name} WITH (FORCE)")


@functools.cache
def digest_of(path):
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()[:12]


class Service:
    """A running instance. Several may share a database."""

    def __init__(self, database, **settings):
        self.database, self.process, self.contract = database, None, None
        self.binary = os.environ["DEPOSITD_BINARY"]
        self.environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith(("DEPOSITD_", "PG"))},
            "DEPOSITD_DSN": database.service_dsn,
            "DEPOSITD_OWNER_DSN": database.owner_dsn,
            "DEPOSITD_LISTEN_ADDRESS": "127.0.0.1",
            "DEPOSITD_CLOSE_BY_CLOCK": "no",
            "DEPOSITD_POST_DEADLINE_MS": "100000",
            "DEPOSITD_READ_DEADLINE_MS": "100000",  # long enough for a slow machine
            **{f"DEPOSITD_{k.upper()}": str(v) for k, v in settings.items()},
        }
        self.log = tempfile.NamedTemporaryFile(prefix="depositd-", suffix=".log")

    def run(self, *arguments, expect=0, patience=600):
        done = subprocess.run(
            [self.binary, *arguments], env=self.environment, capture_output=True, text=True, timeout=patience
        )
        assert done.returncode == expect and not SANITIZER.search(done.stderr), (
            arguments,
            done.returncode,
            done.stderr,
        )
        return done.stdout

    def create_key(self, name, role, **bound):
        """`bound`: sites=[…], participant=…, holder=…"""
        options = [o for site in bound.get("sites", []) for o in ("--site", site)]
        if "participant" in bound:
            options += ["--participant", bound["participant"]]
        if "holder" in bound:
            options += ["--holder", bound["holder"]]
        return self.run("key", "create", name, "--role", role, *options).strip()

    def start(self):
        self.port = free_port()
        self.environment["DEPOSITD_LISTEN_PORT"] = str(self.port)
        self.process = subprocess.Popen([self.binary, "serve"], env=self.environment, stdout=self.log, stderr=self.log)
        try:
            self._wait_until_ready()
            self.contract = self.contract or Contract(Client(self).get("/openapi.json"))
        except BaseException:
            self.kill()
            raise
        return self

    def _wait_until_ready(self):
        def is_ready():
            assert self.process.poll() is None, f"serve ended with {self.process.returncode}:\n{self.log_text()}"
            try:
                return Client(self).send("GET", "/readyz").status == 200
            except OSError:
                return False

        wait_until(is_ready, lambda: f"it is ready:\n{self.log_text()}")

    def stop(self):
        """SIGTERM must end it with status 0, and no sanitizer may have reported anything."""
        if self.process is None:
            return
        self.process.send_signal(signal.SIGTERM)
        try:
            code = self.process.wait(PATIENCE_SECONDS)
        except subprocess.TimeoutExpired:
            self.kill()
            raise AssertionError(f"did not stop on SIGTERM:\n{self.log_text()}") from None
        self.process = None
        assert code == 0 and not SANITIZER.search(self.log_text()), f"serve exited with {code}:\n{self.log_text()}"

    def kill(self):
        self.process.kill()
        self.process.wait()
        self.process = None

    def log_text(self):
        with open(self.log.name, errors="replace") as log:
            return log.read()[-20000:]

    def client(self, key=None, checked=True):
        return Client(self, key, checked)


def new_service(database, **settings):
    """A running service with a first admin key: `service.admin` is its client, `service.admin_key` the secret."""
    service = Service(database, **settings)
    service.admin_key = service.create_key("first-admin", "admin")
    service.start()
    service.admin = service.client(service.admin_key)
    return service


@contextmanager
def cut_only(service, day, scheme="tern-bay", key=None):
    """Somebody closes the day, and has come as far as its cut. At the end the close goes on. Gives a list, which then
    has the answer."""
    held = psycopg2.connect(service.database.owner_dsn)
    [(number,)] = service.database.rows("SELECT id FROM scheme WHERE code = %s", scheme)
    held.cursor().execute("SELECT pg_advisory_xact_lock(hashtext('depositd close'), %s)", (number,))
    client, answers = service.client(key or service.admin_key), []
    path = f"/v1/schemes/{scheme}/days/{day}/close"
    closing = threading.Thread(target=lambda: answers.append(client.send("POST", path)))
    closing.start()
    try:
        wait_until(
            lambda: service.database.rows(
                "SELECT state FROM business_day WHERE scheme = %s AND business_date = %s", number, day
            )
            == [("closing",)],
            "the day is cut",
        )
        yield answers
    finally:
        held.close()
        closing.join()


def at_once(*jobs):
    """Runs the jobs in threads. Returns the results in order, or raises the first error."""
    outcome = [None] * len(jobs)

    def run(index, job):
        try:
            outcome[index] = job()
        except BaseException as error:  # raised below
            outcome[index] = error

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for result in outcome:
        if isinstance(result, BaseException):
            raise result
    return outcome
