# SPDX-License-Identifier: ISC
"""The nights of many schemes. Their days fall due at once, and several threads of several instances close them. Each
day is closed once, those of a scheme in order, also if instances are killed. One thread gives
the same figures."""
import re
from contextlib import contextmanager
from datetime import date, timedelta

import pytest

import network
from harness import Database, Service, wait_until
from network import at, cups, event
from test_clock import DAY, FIRST, SCHEMES
from test_clock import load as load_zones
from test_waits import locked

CODES = [f"bay-{n}" for n in range(24)]
DAYS = [date.today() - timedelta(days=n) for n in (6, 5, 4, 3)]
LEFT = (  # days that have been due for a while, and are not closed
    "SELECT count(*) FROM business_day d JOIN scheme s ON s.id = d.scheme WHERE d.state <> 'closed'"
    " AND d.ends_at + make_interval(mins => s.close_after_minutes) < now() - interval '2 minutes'"
)


def load(admin, codes):
    """Each scheme has dealings of its own on the first three days, and the first two days have fees."""
    sites = {f"{c}-{s}": (c, who) for c in codes for s, who in (("anchor", "hearth"), ("brick", "miller"))}
    terms = [{"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}, {"effective_date": str(DAYS[2])}]
    schemes = [network.scheme(c, DAYS[0], {"cup-300": "2.50"}, terms=terms) for c in codes]
    admin.load(network.reference(schemes, sites))
    for number, day in enumerate(DAYS[:3]):
        admin.post_many(
            [
                one
                for n, code in enumerate(codes, 1)
                for one in (
                    event("issue", f"{code}-anchor", at(day), issued=cups(cup_300=n + number)),
                    event("return", f"{code}-brick", at(day), returned=cups(cup_300=n)),
                )
            ]
        )


@pytest.fixture
def ended(service):
    """The database of a service that has stopped, to be copied."""
    load(service.admin, CODES)
    service.stop()
    return service


@contextmanager
def clocks(database, instances=1, **settings):
    running = []
    try:
        for _ in range(instances):
            running.append(Service(database, close_by_clock="yes", **settings).start())
        yield running
    finally:
        for service in running:
            service.stop()


@contextmanager
def copied(service):
    database = Database(copy_of=service.database)
    try:
        yield database
    finally:
        database.drop()


def left(database):
    [(count,)] = database.rows(LEFT)
    return count


def wait_until_closed(database):
    wait_until(lambda: left(database) == 0, lambda: f"every day is closed that is due; {left(database)} are left")


def figures(database):
    """All that the closes decided, and the chain of seals. A seal covers the events, which the copies share."""
    return database.rows(
        "SELECT s.scheme, s.business_date, s.entries, s.root, s.previous, s.seal,"
        " (SELECT array_agg((p.participant, p.amount, p.arrears, p.carried_since)::text ORDER BY p.participant)"
        "  FROM position p WHERE (p.scheme, p.business_date) = (s.scheme, s.business_date)),"
        " (SELECT array_agg((p.payment_id, p.payer, p.payee, p.amount)::text ORDER BY p.payment_id)"
        "  FROM payment p WHERE (p.scheme, p.business_date) = (s.scheme, s.business_date))"
        " FROM settlement s WHERE s.business_date <= %s ORDER BY 1, 2",
        DAYS[-1],
    )


def assert_in_order(database):
    """Each day is closed after the day before it."""
    assert database.rows(
        "SELECT count(*) FROM settlement s JOIN settlement next USING (scheme)"
        " WHERE s.business_date < next.business_date AND s.closed_at >= next.closed_at"
    ) == [(0,)]


def test_the_figures_do_not_depend_on_who_closes(ended):
    ways = []
    for instances, closers in ((1, 1), (1, 4), (2, 4)):
        with copied(ended) as database:
            with clocks(database, instances, closers=closers) as running:
                wait_until_closed(database)
                running[0].client(ended.admin_key).assert_holds()
            assert_in_order(database)
            ways.append(figures(database))
    assert len(ways[0]) == len(CODES) * len(DAYS)
    assert ways[1] == ways[0] and ways[2] == ways[0]


def test_killed_and_stopped_on_the_way(ended):
    """Instances come and go in the midst of closes, some killed. Nothing is done twice, and nothing is left undone."""
    with copied(ended) as database:
        with clocks(database, closers=1):
            wait_until_closed(database)
        undisturbed = figures(database)
    with copied(ended) as database:
        goal = left(database)
        for turn in range(6):
            one = Service(database, close_by_clock="yes", closers=4).start()
            some = goal - goal * (turn + 1) // 8
            wait_until(lambda some=some: left(database) <= some, "some more are closed", pause=0)
            one.stop() if turn % 3 == 2 else one.kill()
        with clocks(database, closers=4) as (last,):
            wait_until_closed(database)
            last.client(ended.admin_key).assert_holds()
        assert_in_order(database)
        assert figures(database) == undisturbed


def closed_in_turn(service):
    return re.findall(r'"day closed" scheme=(\S+) date=(\S+)', service.log_text())


def test_the_latest_close_comes_first_and_schemes_take_turns(service):
    """One thread closes: of the schemes, first the one whose first day has been due for longest. Nobody has a second
    turn before everybody has had a first one."""
    load_zones(service)
    due = dict(
        service.database.rows(
            "SELECT s.code, d.ends_at + make_interval(mins => s.close_after_minutes) FROM scheme s"
            " JOIN business_day d ON d.scheme = s.id WHERE d.business_date = %s",
            FIRST,
        )
    )
    with clocks(service.database, closers=1) as (clock,):
        wait_until(lambda: left(service.database) == 0, "all are closed")
        turns = closed_in_turn(clock)
    rounds = [turns[n : n + len(SCHEMES)] for n in range(0, 4 * len(SCHEMES), len(SCHEMES))]
    for number, of_round in enumerate(rounds):
        assert [code for code, _ in of_round] == sorted(due, key=due.get)
        assert {day for _, day in of_round} == {str(FIRST + number * DAY)}


REFUSES = """
CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'no'; END $$;
CREATE TRIGGER refuse BEFORE INSERT ON settlement FOR EACH ROW
  WHEN (NEW.scheme = (0 + {scheme})) EXECUTE FUNCTION refuse();
"""


def left_of_others(database, scheme):
    [(count,)] = database.rows(LEFT + " AND s.id <> %s", scheme)
    return count


def test_a_close_that_fails_holds_up_nobody(service):
    """The scheme whose close fails comes first, and a single thread tries it again and again. When the cause has gone,
    its days are closed."""
    load(service.admin, CODES[:6])
    database = service.database
    [(scheme,)] = database.rows("SELECT id FROM scheme WHERE code = %s", CODES[0])
    database.run(REFUSES.format(scheme=scheme))
    with clocks(database, closers=1) as (clock,):
        wait_until(lambda: left_of_others(database, scheme) == 0, "all others are closed")
        failed = f'"day not closed" scheme={CODES[0]} date={DAYS[0]}'
        wait_until(lambda: clock.log_text().count(failed) > 2, "it is tried again")
        assert database.rows("SELECT count(*) FROM settlement WHERE scheme = %s", scheme) == [(0,)]
        database.run("DROP TRIGGER refuse ON settlement")
        wait_until_closed(database)
    assert_in_order(database)
    service.admin.assert_holds()


def test_a_close_that_waits_holds_up_nobody(service):
    """Somebody holds the head of a scheme. One thread waits for it, and the other closes the days of all others."""
    load(service.admin, CODES[:6])
    database = service.database
    [(scheme,)] = database.rows("SELECT id FROM scheme WHERE code = %s", CODES[0])
    with locked(database, f"SELECT FROM scheme_head WHERE scheme = {scheme} FOR UPDATE") as holder:
        with clocks(database, closers=2):
            wait_until(lambda: left_of_others(database, scheme) == 0, "all others are closed")
            assert database.rows("SELECT count(*) FROM settlement WHERE scheme = %s", scheme) == [(0,)]
            holder.close()
            wait_until_closed(database)
    assert_in_order(database)
    service.admin.assert_holds()
