# SPDX-License-Identifier: ISC
"""The database stops answering without going away: a process of it is stopped, or all of them, including the first.
Each request must still be answered by its deadline, and SIGTERM must end the service within its grace."""
import mmap
import os
import signal
import struct
import subprocess
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from cluster import stopped, watching, writers_backend
from harness import at_once, new_service
from network import at, cups, event
from tills import PATIENCE_SECONDS, Load, reference, wait_until

SCARCE_RESULTS = Path(__file__).parent / "scarce_results.c"
SERVICES = "SELECT pid FROM pg_stat_activity WHERE datname = %s AND usename = 'depositd_service'"


def issue(days):
    return event("issue", "anchor", at(days[0]), issued=cups(cup_300=1))


@contextmanager
def frozen(cluster, database):
    """The whole database: a client with a connection gets no answer on it, and a new client gets no connection."""
    postmaster = int(open(f"{cluster.host}/data/postmaster.pid").readline())
    with watching(database) as query:
        backends = [pid for pid, in query(SERVICES, database.name)]
    with ExitStack() as stack:
        for process in (postmaster, *backends):
            stack.enter_context(stopped(process))
        yield


def test_a_stopped_backend_holds_up_no_post_beyond_its_deadline(new_network, database, days, rng):
    """The clients of that instance are answered, and so are clients that find the head row held by it. All later posts
    succeed."""
    service = new_network(post_deadline_ms=3000)
    with Load([service], rng, days, tills=2):
        backend = writers_backend(database)
    sent = [issue(days) for _ in range(8)]
    with stopped(backend):
        for _ in range(2):
            answers = at_once(
                *(lambda e=e: service.client(service.admin_key).send("POST", "/v1/events", e) for e in sent)
            )
            assert {a.status for a in answers} <= {503, 201, 200}
            assert {a.json["reason"] for a in answers if a.status == 503} <= {"overloaded", "outcome_unknown"}
            assert all(a.headers["Retry-After"] for a in answers if a.status == 503)
    results = [service.admin.post(e) for e in sent]
    assert [r["status"] for r in results].count("recorded") + [r["status"] for r in results].count("duplicate") == len(
        sent
    )
    service.admin.assert_holds()


def test_a_frozen_database_is_answered_for(new_network, cluster, database, days):
    service = new_network(post_deadline_ms=2000, read_deadline_ms=2000)
    with frozen(cluster, database):
        wait_until(lambda: service.client().send("GET", "/readyz").status == 503, "it is not ready")
        assert service.client().send("GET", "/healthz").status == 200
        post, read = at_once(
            lambda: service.client(service.admin_key).send("POST", "/v1/events", issue(days)),
            lambda: service.client(service.admin_key).send("GET", "/v1/events?scheme=tern-bay"),
        )
        assert post.status == read.status == 503 and post.json["reason"] in ("overloaded", "outcome_unknown")
        assert read.json["reason"] in ("overloaded", "too_slow")
    wait_until(lambda: service.client().send("GET", "/readyz").status == 200, "it is ready again")
    wait_until(lambda: service.admin.send("POST", "/v1/events", issue(days)).status == 201, "it records again")
    service.admin.assert_holds()


@pytest.mark.parametrize("busy", (False, True), ids=("idle", "busy"))
def test_sigterm_ends_the_service_over_a_frozen_database(new_network, cluster, database, days, busy):
    """The service may be waiting for the database at that moment or not. Its deadlines are far away."""
    service = new_network(stop_grace_s=8, post_deadline_ms=600000, read_deadline_ms=600000, close_by_clock="yes")
    answers = []

    def ask(method, target, body=None):
        answers.append(service.client(service.admin_key).send(method, target, body).status)

    def stop_it():
        if busy:
            wait_until(lambda: figure(service, "depositd_reads_running") == 1, "the read is under way")
            wait_until(
                lambda: figure(service, "depositd_requests_open") >= 3, "the post is, beside the read and this question"
            )
        service.process.send_signal(signal.SIGTERM)
        service.process.wait(PATIENCE_SECONDS)  # far beyond the grace, even on a loaded machine

    requests = [lambda: ask("POST", "/v1/events", issue(days)), lambda: ask("GET", "/v1/accounts?scheme=tern-bay")]
    with frozen(cluster, database):
        at_once(*(requests if busy else ()), stop_it)
    assert answers == [503] * (2 if busy else 0) and service.process.returncode == 0, service.log_text()[-3000:]
    service.process = None
    service.start()
    service.admin.assert_holds()


def figure(service, name):
    figures = service.client().send("GET", "/metrics").body.decode()
    return int(float(next(line.split()[1] for line in figures.splitlines() if line.split()[0] == name)))


@pytest.fixture
def scarce_results(tmp_path, monkeypatch):
    """A function that makes libpq fail to make a result, at the call after so many (-1: never), in services that start
    from now on."""
    library, file = tmp_path / "scarce_results.so", tmp_path / "left"
    flags = subprocess.run(
        ["pkg-config", "--cflags", "libpq"], capture_output=True, text=True, check=True
    ).stdout.split()
    subprocess.run(
        ["cc", "-std=c17", "-D_GNU_SOURCE", "-shared", "-fPIC", *flags, "-o", library, SCARCE_RESULTS], check=True
    )
    file.write_bytes(struct.pack("i", -1))
    sanitizer = os.environ.get("ASAN_OPTIONS", "")  # which would like to be the first library, but need not
    for name, value in {
        "SCARCE_RESULTS": file,
        "LD_PRELOAD": library,
        "ASAN_OPTIONS": f"{sanitizer}:verify_asan_link_order=0".lstrip(":"),
    }.items():
        monkeypatch.setenv(name, str(value))
    with open(file, "r+b") as opened, mmap.mmap(opened.fileno(), 4) as left:

        def fail_after(count):
            left[:] = struct.pack("i", count)

        yield fail_after


def test_a_result_for_which_libpq_has_no_memory(database, days, scarce_results, rounds):
    """libpq then loses an answer, or gives an error instead. Every client that waits for it is told, and none waits
    for ever."""
    service = new_service(database, key_rate=0, post_deadline_ms=4000, read_deadline_ms=4000)
    service.admin.load(reference(days[0]))
    failed = 0
    for count in rounds(300):
        scarce_results(count % 30)
        sent = issue(days)
        posted = service.admin.send("POST", "/v1/events", sent)
        read = service.admin.send("GET", "/v1/events?scheme=tern-bay&limit=1")
        scarce_results(-1)
        assert posted.status in (201, 503) and read.status in (200, 503), (count, posted.body, read.body)
        failed += (posted.status, read.status) != (201, 200)
        assert service.admin.post(sent)["status"] == "duplicate" or posted.status == 503
    assert failed, "no failure was ever met"
    service.admin.assert_holds()
    service.stop()
