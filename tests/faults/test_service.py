# SPDX-License-Identifier: ISC
"""The service is killed, and stopped, while tills are posting: the story of every deploy, crash and power cut. Two
instances over one database, one of which is killed now and then, must work as well as an instance that never failed."""
import os
import signal
import socket
import time
from contextlib import contextmanager

from cluster import stopped, watching, writers_backend
from harness import Service, at_once
from network import at, cups, event
from proof import Auditor
from tills import PATIENCE_SECONDS, Load, wait_until

QUEUE_EVENTS = 40
HOLDING_UP = (
    "SELECT pid, state_change FROM pg_locks JOIN pg_stat_activity USING (pid)"
    " WHERE datname = current_database() AND state LIKE 'idle in transaction%%' AND granted"
    "   AND relation = 'scheme_head'::regclass AND mode IN ('RowShareLock', 'RowExclusiveLock')"
)


def test_killed(new_network, days, rng, rounds):
    service = new_network()
    with Load([service], rng, days) as load:
        auditor = Auditor(load)
        for _ in rounds(50):
            load.wait_for("answers", rng.randint(1, 300))
            time.sleep(rng.uniform(0, 0.02))  # not always right after an answer
            service.kill()
            service.start()
            auditor.prove()
    auditor.prove_all()


def test_two_instances_one_killed_now_and_then(new_network, days, rng, rounds):
    one = new_network()
    other = Service(one.database, key_rate=0).start()
    with Load([one, other], rng, days) as load:
        auditor = Auditor(load)
        for turn in rounds(20):
            load.wait_for("answers", rng.randint(1, 300))
            killed, survivor = rng.sample([one, other], 2)
            killed.kill()
            load.wait_for("answers", 50)
            auditor.prove(survivor)
            killed.start()
            auditor.prove(killed)
    auditor.prove_all()
    other.stop()


def test_a_frozen_instance(new_network, days, rng, rounds):
    """An instance that stops in the middle of a transaction, as when its machine is paused or cut off, holds the head
    row. It must not hold up the other instances for long."""
    one = new_network()
    other = Service(one.database, key_rate=0).start()
    other.admin_key = one.admin_key
    with Load([one], rng, days) as load_of_one, Load([other], rng, days, book=load_of_one.book) as load_of_other:
        for _ in rounds(5):
            load_of_other.wait_for("answers", 50)
            with frozen_while_appending(one, rng):
                client = other.client(one.admin_key, checked=False)
                assert (
                    client.post(event("issue", "anchor", at(days[0]), issued=cups(cup_300=1)))["status"] == "recorded"
                )
    one.admin.assert_holds()
    other.stop()


@contextmanager
def frozen_while_appending(service, rng):
    """Stops it again and again, until the database waits for it with the head row taken."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    with watching(service.database) as query:
        while True:
            assert time.monotonic() < deadline, "it is never stopped with the head row taken"
            with stopped(service.process.pid):
                held = query(HOLDING_UP)
                time.sleep(0.1)  # the database finishes its remaining work meanwhile
                if held and held == query(HOLDING_UP):
                    yield
                    return
            time.sleep(rng.uniform(0, 0.03))


def test_stopped_under_load(new_network, days, rng, rounds):
    """It exits with 0 and has answered every request that it took, so the tills know everything that is in the ledger.
    (A stream may be cut off in the middle. The missing summary line tells its till.)"""
    service = new_network()
    with Load([service], rng, days, forms=("single", "array")) as load:
        auditor = Auditor(load)
        for _ in rounds(20):
            load.wait_for("answers", rng.randint(1, 300))
            time.sleep(rng.uniform(0, 0.02))
            service.stop()  # asserts the status
            load.wait_until_turned_away()
            unknown = recorded_ids(service.database) - load.book.answers.keys()
            assert not unknown, f"{len(unknown)} events were recorded, but not answered"
            service.start()
            auditor.prove()
    auditor.prove_all()


def recorded_ids(database):
    return {
        event_id for event_id, in database.rows("SELECT event::json ->> 'event_id' FROM entry WHERE event IS NOT NULL")
    }


def test_what_waits_when_it_is_stopped_is_answered(new_network, days, rng):
    """While the database stalls, the writer has a request in hand and its queue is full. So the number of requests
    inside is known when the service is told to stop, and each of them must be answered."""
    service = new_network(queue_events=QUEUE_EVENTS, batch_events=1)
    inside, beyond = QUEUE_EVENTS + 1, 15
    answers = []

    def post(one):
        answers.append(service.client(service.admin_key).send("POST", "/v1/events", one))

    def stop_it():
        wait_until(lambda: len(answers) == beyond)
        service.process.terminate()
        wait_until(lambda: not is_listening(service.port))
        os.kill(backend, signal.SIGCONT)

    with Load([service], rng, days):
        backend = writers_backend(service.database)
    issues = [event("issue", "anchor", at(days[0]), issued=cups(cup_300=1)) for _ in range(inside + beyond)]
    with stopped(backend):
        at_once(*(lambda e=e: post(e) for e in issues), stop_it)
    assert service.process.wait(PATIENCE_SECONDS) == 0
    assert [a.status for a in answers] == [503] * beyond + [201] * inside
    assert {a.json["event_id"] for a in answers[beyond:]} <= recorded_ids(service.database)
    service.start()
    service.admin.assert_holds()


def is_listening(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
