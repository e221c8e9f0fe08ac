# SPDX-License-Identifier: ISC
"""The night goes wrong: the service is killed in the midst of a close, and tills flood the day that is being closed.
In the end there is one settlement, over exactly the events before the cut."""
import http.client
import time
from collections import Counter
from threading import Thread

import psycopg2

from cluster import watching
from harness import Service
from proof import Auditor
from tills import Load, wait_until

WAITING_FOR_SETTLEMENT = (
    "SELECT 1 FROM pg_locks WHERE relation = 'settlement'::regclass AND NOT granted"
    " AND database = (SELECT oid FROM pg_database WHERE datname = current_database())"
)


class Closing(Thread):
    """A request to close a day, whose answer may not come."""

    def __init__(self, service, day):
        super().__init__()
        self.service, self.day, self.settlement = service, day, None

    def run(self):
        try:
            self.settlement = self.service.client(self.service.admin_key, checked=False).close("tern-bay", self.day)
        except (OSError, http.client.HTTPException):
            pass


def kill_while_closing(service, day, seconds):
    closing = Closing(service, day)
    closing.start()
    time.sleep(seconds)
    service.kill()
    closing.join()
    return closing.settlement


def kill_before_the_last_step(service, day):
    """Kills the service when everything but the settlement is posted. A lock keeps the settlement waiting until the
    service is dead."""
    blocker = psycopg2.connect(service.database.owner_dsn)
    try:
        blocker.cursor().execute("LOCK TABLE settlement IN SHARE MODE")
        closing = Closing(service, day)
        closing.start()
        with watching(service.database) as query:
            wait_until(lambda: query(WAITING_FOR_SETTLEMENT), "the close waits for the lock")
        service.kill()
        closing.join()
    finally:
        blocker.close()
    return closing.settlement


def state_of(database, day):
    return database.rows("SELECT state FROM business_day WHERE business_date = %s", day)[0][0]


def assert_closed_once(service, auditor, day, answered):
    settlement = service.admin.close("tern-bay", day)
    assert settlement["date"] == str(day) and answered in (None, settlement)
    assert service.admin.close("tern-bay", day) == settlement
    assert service.admin.get(f"/v1/settlements/tern-bay/{day}") == settlement
    assert [s["date"] for s in service.admin.items("/v1/settlements", scheme="tern-bay")].count(str(day)) == 1
    auditor.prove()
    twice = [item for item, times in Counter(auditor.close_items).items() if times > 1]
    assert not twice and any(date == str(day) for date, _, _ in auditor.close_items), twice


def test_killed_during_a_close(new_network, days, rng, rounds):
    service = new_network()
    states = Counter()
    with Load([service], rng, days) as load:
        auditor = Auditor(load)
        load.wait_for("answers", 500)
        started = time.monotonic()
        settlement = service.admin.close("tern-bay", days[0])
        seconds = time.monotonic() - started
        assert_closed_once(service, auditor, days[0], settlement)
        for turn, day in zip(rounds(20), days[1:]):
            load.wait_for("answers", rng.randint(50, 300))
            if turn % 4 == 1:
                answered = kill_before_the_last_step(service, day)
            else:
                answered = kill_while_closing(service, day, rng.uniform(0, seconds))
            states[state_of(service.database, day)] += 1
            service.start()
            assert_closed_once(service, auditor, day, answered)
    auditor.prove_all()
    print("days when the service was killed:", dict(states))


def assert_cut(book, day, next_day):
    """Takes the events that occurred in the day. All before one point in the order are in the day, and all after it
    are late, in the next day. (For a reversal, the day of the reversed event counts as well.)"""
    answers = [
        book.answers[event_id]
        for event_id, e in book.sent.items()
        if e["occurred_at"].startswith(day) and e["kind"] != "reversal" and event_id in book.answers
    ]
    in_time = [entry for entry, date, late in answers if (date, late) == (day, False)]
    late = [entry for entry, date, late in answers if (date, late) == (next_day, True)]
    assert len(in_time) + len(late) == len(answers)
    assert in_time and late and max(in_time) < min(late)


def test_a_close_races_a_flood(new_network, days, rng, rounds):
    """Tills at two instances post events of a day while a third client closes it."""
    one = new_network()
    other = Service(one.database, key_rate=0).start()
    book = None
    for turn in rounds(10):
        day, next_day = days[turn : turn + 2]
        with Load([one, other], rng, [day], book=book) as load:
            load.wait_for("answers", rng.randint(100, 500))
            settlement = one.admin.close("tern-bay", day)
            load.wait_for("answers", 200)
        auditor = Auditor(load)
        auditor.prove_all()
        book = load.book
        assert_cut(book, str(day), str(next_day))
        in_day = sum(date == str(day) for _, date, _ in book.answers.values())
        in_day += sum(date == str(day) for date, _, _ in auditor.close_items)
        assert settlement["seal"]["entries"] == in_day
    other.stop()
