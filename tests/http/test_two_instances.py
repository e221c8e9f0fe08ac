# SPDX-License-Identifier: ISC
"""Two instances over one database: the story of every till that posts twice because the first answer was slow."""
import json
import random
import time
from datetime import date, timedelta

import pytest

import network
from harness import Service, at_once
from network import at, cups, event

DAY = date.today() - timedelta(days=3)


@pytest.fixture
def pair(service):
    service.admin.load(
        network.reference(
            [network.scheme(code, DAY, {"cup-300": "2.50", "cup-450": "3.50"}) for code in ("tern-bay", "skerry")],
            {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller"), "cairn": ("skerry", "hearth")},
        )
    )
    other = Service(service.database).start()
    other.admin_key = service.admin_key
    yield service, other
    other.stop()


def issues(count, sites=("anchor", "brick", "cairn"), day=DAY):
    return [event("issue", sites[n % len(sites)], at(day), issued=cups(cup_300=1 + n % 5)) for n in range(count)]


def post_all(service, events, size):
    client = service.client(service.admin_key)
    return [
        result
        for start in range(0, len(events), size)
        for result in (client.post_many(events[start : start + size]) if size > 1 else [client.post(events[start])])
    ]


def assert_once(client, events, *answers):
    """An instance recorded each event, and all others answered duplicate, with the same number."""
    by_id = [{r["event_id"]: r for r in results} for results in answers]
    for sent in events:
        results = [known[sent["event_id"]] for known in by_id]
        assert sorted(r["status"] for r in results) == ["duplicate"] * (len(results) - 1) + ["recorded"]
        first = results[0]
        assert all({**r, "status": ""} == {**first, "status": ""} for r in results)
    for scheme in ("tern-bay", "skerry"):
        feed = client.feed(scheme)
        assert [item["entry"] for item in feed] == list(range(1, len(feed) + 1))
    assert len(client.feed("tern-bay")) + len(client.feed("skerry")) == len(events)


@pytest.mark.parametrize("size, count", [(1, 200), (37, 1500)])
def test_the_same_events_at_once(pair, size, count):
    one, other = pair
    events = issues(count)
    shuffled = random.Random(count).sample(events, count)
    answers = at_once(
        *(
            lambda s=s, e=e: post_all(s, e, size)
            for s, e in [(one, events), (other, events), (one, shuffled), (other, shuffled)]
        )
    )
    assert_once(one.admin, events, *answers)
    one.admin.assert_holds()


TURN_BATCHES = 40  # beside as many of the other instance: then both take the head in turn, before they know for what


def post_lines(client, lines):
    """The results of a stream, which goes to the writer whatever it contains."""
    answer = client.send("POST", "/v1/events", lines, {"Content-Type": "application/x-ndjson"})
    return [json.loads(line) for line in answer.body.splitlines()[:-1]]


def large_batch():
    """A batch that moves so much that the balances get it later, and the other instance sees whose it is."""
    return [
        event("issue", site, at(day), issued=cups(cup_300=1, cup_450=1))
        for site in ("anchor", "brick")
        for day in (DAY, DAY + timedelta(days=1))
    ]


def is_let_go(database):
    """Whether no transaction stays idle. A lock that is seen twice, unchanged over two seconds, is held. (PostgreSQL
    would end it after five.) The moment between two statements does not count."""

    def idle():
        return set(
            database.rows(
                "SELECT pid, state_change FROM pg_stat_activity WHERE datname = current_database()"
                " AND starts_with(state, 'idle in transaction')"
            )
        )

    if not (seen := idle()):
        return True
    time.sleep(2)
    return not seen & idle()


def test_a_head_that_is_not_needed_is_let_go(pair):
    """The posts meanwhile may record nothing, or be of another scheme. No instance holds the head afterwards."""
    one, other = pair
    clients = one.admin, other.client(one.admin_key)
    unknown, elsewhere, last = (
        event("issue", "nowhere", at(DAY), issued=cups(cup_300=1)),
        issues(1, ["cairn"]),
        issues(1, ["anchor"]),
    )
    posts = {
        "shapeless": (lambda: post_lines(one.admin, b'{"kind": "issue"}\n{}\n'), ["rejected"] * 2),
        "refused": (lambda: one.admin.post_many([unknown]), ["rejected"]),
        "another scheme's": (lambda: one.admin.post_many(elsewhere), ["recorded"]),
        "tried": (lambda: one.admin.send("POST", "/v1/events?dry_run=true", last).json["results"], ["recorded"]),
        "recorded": (lambda: one.admin.post_many(last), ["recorded"]),
        "posted again": (lambda: one.admin.post_many(last), ["duplicate"]),
    }
    for name, (post, statuses) in posts.items():
        for n in range(2 * TURN_BATCHES):
            clients[n % 2].post_many(large_batch())
        assert [r["status"] for r in post()] == statuses, name
        assert is_let_go(one.database), name
    one.admin.assert_holds()


def test_a_follower_of_the_feed_misses_nothing(pair):
    one, other = pair
    events = issues(1200, sites=("anchor", "brick"))
    seen, done = [], []

    def follow():
        client, cursor = other.client(one.admin_key), {}
        while len(seen) < len(events):
            all_answered = bool(done)  # read before the page is requested, so the page must not lack any of it
            page = client.get("/v1/events", scheme="tern-bay", limit=50, **cursor)
            seen.extend(page["items"])
            cursor = {"cursor": page["next"]}  # always given
            assert page["items"] or not all_answered, f"only {len(seen)} seen after all were answered"

    def post_both():
        at_once(lambda: post_all(one, events[:600], 7), lambda: post_all(other, events[600:], 1))
        done.append(True)

    at_once(post_both, follow)
    assert [item["entry"] for item in seen] == list(range(1, len(events) + 1))
    assert {item["event"]["event_id"] for item in seen} == {e["event_id"] for e in events}


def test_both_close(pair):
    one, other = pair
    one.admin.post_many(issues(300))
    settlements = at_once(
        *(lambda s=s: s.client(one.admin_key).close("tern-bay", DAY) for s in (one, other, one, other))
    )
    assert all(s == settlements[0] for s in settlements)
    kinds = [item["kind"] for item in one.admin.feed("tern-bay") if "event" not in item]
    assert sorted(kinds) == ["settle", "settle"]
    one.admin.assert_holds()
