# SPDX-License-Identifier: ISC
"""The feed is the ledger. A client that follows it while others write misses nothing and sees nothing twice. A client
that posts its events into an empty ledger, and closes each day where the feed shows its cut, gets the same days,
balances and settlements."""
from threading import Thread

import pytest

import tills
from harness import Database, Service, new_service
from proof import Auditor
from tills import Load

SHARED_WITH_REPLICA = ("positions", "carried_forward", "payments", "totals")


class Follower(Thread):
    """Follows `next` in pages of various sizes, as fast as it can, until it learns which entry is the last."""

    def __init__(self, service, key, rng):
        super().__init__()
        self.client, self.rng = service.client(key, checked=False), rng
        self.items, self.goal, self.error = [], None, None

    def run(self):
        try:
            cursor = {}
            while self.goal is None or len(self.items) < self.goal:
                was_told = self.goal is not None
                page = self.client.get(
                    "/v1/events", scheme="tern-bay", limit=self.rng.choice((1, 7, 100, 1000)), **cursor
                )
                cursor = {"cursor": page["next"]}
                self.items += page["items"]
                assert page["items"] or not was_told, f"the feed ends after {len(self.items)} of {self.goal}"
        except BaseException as error:  # raised again where it is joined
            self.error = error

    def end(self, goal):
        self.goal = goal
        self.join()
        if self.error:
            raise self.error


def test_followers_beside_four_writers_on_two_instances(new_network, days, rng, rounds):
    one = new_network()
    other = Service(one.database, key_rate=0).start()
    followers = [Follower(service, one.admin_key, rng) for service in (one, other)]
    for follower in followers:
        follower.start()
    with Load([one, other], rng, days, tills=4) as load:
        load.wait_for("answers", 1000 * len(rounds(20)))
    for follower in followers:
        follower.end(len(load.book.answers))
        assert [item["entry"] for item in follower.items] == list(range(1, len(load.book.answers) + 1))
        assert {i["event"]["event_id"]: i["entry"] for i in follower.items} == {
            event_id: entry for event_id, (entry, _, _) in load.book.answers.items()
        }
    other.stop()


@pytest.fixture
def replica(database, days):
    """A second, empty ledger with the same reference data."""
    second = Database()
    service = new_service(second, key_rate=0)
    service.admin.load(changing_reference(days))
    yield service
    service.stop()
    second.drop()


def changing_reference(days):
    """Fees, tax and a value that change, so that each kind of entry that a close posts occurs."""
    terms = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}
    return tills.reference(days[0], terms=[terms], more_values=[("cup-300", days[2], "3.00")])


def trade_and_close(service, days, rng, closed, wanted):
    """Closes each day while tills post for it and for the two days after it. An event of the day that is numbered
    between the cut and the entries of the close is late."""
    book = None
    for n in range(closed):
        with Load([service], rng, days[: n + 2], book=book) as load:
            load.wait_for("answers", wanted)
        book = load.book
        with Load([service], rng, days[n : n + 3], book=book) as load:
            load.wait_for("answers", wanted)
            service.admin.close("tern-bay", days[n])
            load.wait_for("answers", wanted)
    Auditor(load).prove_all()


class Replay:
    """Posts the events of a feed in order, and closes a day at its cut. The entries of the close may stand later in
    the feed than in the copy, so only events are compared in their order."""

    def __init__(self, client):
        self.client, self.waiting, self.closed = client, [], []

    def take(self, item):
        day = item["business_date"]
        if "event" in item:
            self.waiting.append(item)
        elif item["kind"] == "day_cut":
            self.post()
            self.client.close("tern-bay", day)
            self.closed.append(day)

    def post(self):
        for start in range(0, len(self.waiting), 1000):
            items = self.waiting[start : start + 1000]
            for item, result in zip(items, self.client.post_many([i["event"] for i in items])):
                assert result["status"] == "recorded", (item, result)
                assert [result[m] for m in ("business_date", "late")] == [item[m] for m in ("business_date", "late")]
        self.waiting = []


def events_of(feed):
    """The events and the cuts, in their order."""
    return [
        {name: value for name, value in item.items() if name not in ("entry", "recorded_at")}
        for item in feed
        if "event" in item or item["kind"] == "day_cut"
    ]


def closes_of(feed):
    """The entries of the closes, by day."""
    return sorted(
        (i["business_date"], i["kind"], str(i["legs"])) for i in feed if "event" not in i and i["kind"] != "day_cut"
    )


def test_a_replay_gives_the_same_ledger(service, replica, days, rng, rounds):
    closed = len(rounds(20))
    service.admin.load(changing_reference(days))
    trade_and_close(service, days, rng, closed, wanted=300)
    reader = service.client(service.admin_key, checked=False)
    feed = reader.feed_with_cuts("tern-bay")
    replay = Replay(replica.client(replica.admin_key, checked=False))
    for item in feed:
        replay.take(item)
    replay.post()
    assert replay.closed == [str(day) for day in days[:closed]]
    copied = replay.client.feed_with_cuts("tern-bay")
    assert events_of(copied) == events_of(feed) and closes_of(copied) == closes_of(feed)
    assert replica.admin.accounts("tern-bay") == service.admin.accounts("tern-bay")
    for day in replay.closed:
        original, copy = (c.get(f"/v1/settlements/tern-bay/{day}") for c in (service.admin, replica.admin))
        for part in SHARED_WITH_REPLICA:
            assert copy[part] == original[part], (day, part)
        assert copy["seal"]["entries"] == original["seal"]["entries"], day
    replica.admin.assert_holds()
