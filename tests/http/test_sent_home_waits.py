# SPDX-License-Identifier: ISC
"""Cups go home while somebody holds the head of the sending scheme, or the row of the two schemes. Some events wait.
The order of a request holds for the events of a scheme, and nothing else waits. The expected answers follow from that
rule; there is no published source for them."""
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from between import HOST, at_host
from harness import new_service, wait_until
from network import at, business_day, cups, event
from test_sent_home import dispatch, exceptions, receipt, start
from test_waits import locked

HEAD_OF_HOST = f"SELECT FROM scheme_head WHERE scheme = (SELECT id FROM scheme WHERE code = '{HOST}') FOR UPDATE"
PAIR = "SELECT FROM following_place FOR NO KEY UPDATE"


@pytest.fixture
def day():
    """The business day before today's: all of it is past."""
    return business_day() - timedelta(days=1)


def issue(site, when):
    return event("issue", site, when, issued=cups(cup_300=1))


def told_of(answers):
    return [(a["status"], exceptions(a) if a["status"] == "recorded" else a["problem"]) for a in answers]


def test_what_depends_on_a_dispatch_that_waits(service, day):
    """The head of the host is held, and was held the time before. anchor has 40 cups, and counts 44 after both
    receipts. The second one is reversed last."""
    admin = start(service, day)
    before = dispatch(day, cup_300=1)
    admin.post(before)
    sent = dispatch(day, cup_300=3)
    came = receipt(day, sent, cup_300=3)
    counted = event("count", "anchor", at(day, "09:30"), cups=[{"cup_type": "cup-300", "counted": 44}])
    undone = event("reversal", "anchor", at(day, "10:00"), reverses=came["event_id"])
    with locked(service.database, HEAD_OF_HOST) as holder, ThreadPoolExecutor(2) as pool:
        first = pool.submit(service.client(service.admin_key).post, issue("ferry", at_host(day, "07:00")))
        wait_until(lambda: admin.post(issue("brick", at(day, "07:00")))["status"] == "recorded")
        assert not first.done()
        # A dispatch that is recorded waits for nobody.
        assert told_of([admin.post(receipt(day, before, cup_300=1))]) == [("recorded", [])]
        whole = pool.submit(service.client(service.admin_key).post_many, [sent, came, counted, undone])
        assert admin.post(issue("brick", at(day, "07:10")))["status"] == "recorded"
        assert not whole.done()
        holder.close()
        assert first.result()["status"] == "recorded"
        results = told_of(whole.result())
    assert results[1:] == [("recorded", [])] * 3
    admin.assert_holds()


@pytest.mark.parametrize("groups", [(1, 1), (1, 2)])
def test_nobody_waits_for_the_pair(service, day, groups):
    """A session stands still that holds the row of the pair. Both schemes trade on. The receipt waits, and so
    do the later events of its request at the home, a dispatch, and the receipt of that one."""
    admin = start(service, day, groups=groups)
    sent = dispatch(day, cup_300=2)
    admin.post(sent)
    counted = event("count", "anchor", at(day, "09:30"), cups=[{"cup_type": "cup-300", "counted": 42}])
    with locked(service.database, PAIR) as holder, ThreadPoolExecutor(2) as pool:
        ask = [service.client(service.admin_key) for _ in range(2)]
        waiting = pool.submit(ask[0].post_many, [receipt(day, sent, cup_300=2), counted])
        more = dispatch(day, "11:00", cup_300=1)
        alone = pool.submit(ask[1].post_many, [more, issue("light", at_host(day, "11:10"))])
        for n in range(20):
            assert admin.post(issue("ferry", at_host(day, f"07:{n:02}")))["status"] == "recorded"
            assert admin.post(issue("brick", at(day, f"07:{n:02}")))["status"] == "recorded"
        assert not waiting.done() and not alone.done()
        holder.close()
        assert told_of(waiting.result()) == [("recorded", [])] * 2
        assert [a["status"] for a in alone.result()] == ["recorded"] * 2
    assert told_of([admin.post(receipt(day, more, clock="12:00", cup_300=1))]) == [("recorded", [])]
    admin.assert_holds()


def test_a_request_over_two_groups(service, day):
    """The home's part comes to its writer together with the host's. Each receipt finds its dispatch, and one whose
    dispatch is refused finds none."""
    admin = start(service, day, groups=(2, 1))
    events = []
    for n in range(30):
        sent = dispatch(day, f"08:{n:02}", cup_300=1)
        events += [receipt(day, sent, clock=f"09:{n:02}", cup_300=1), sent]
    with locked(service.database, HEAD_OF_HOST) as holder, ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(service.client(service.admin_key).post_many, events)
        for n in range(5):
            assert admin.post(issue("brick", at(day, f"07:{n:02}")))["status"] == "recorded"
        assert not waiting.done()
        holder.close()
        assert [r["status"] for r in waiting.result()] == ["recorded"] * 60
    refused = dispatch(day, "10:00", cup_200=1)
    results = admin.post_many([receipt(day, refused, clock="10:10", cup_300=1), refused])
    assert [r["problem"]["reason"] for r in results] == ["event_unknown", "cup_type_unknown"]
    admin.assert_holds()


def test_a_pair_that_stays_held(database, day):
    """The receipt is refused at the deadline. The events of others were answered before."""
    service = new_service(database, post_deadline_ms=4000)
    try:
        admin = start(service, day)
        sent = dispatch(day, cup_300=2)
        admin.post(sent)
        came = receipt(day, sent, cup_300=2)
        with locked(service.database, PAIR):
            admin.refused("POST", "/v1/events", came, 503, "overloaded")
            results = admin.post_many([issue("ferry", at_host(day, "07:00")), came])
            assert [r["status"] for r in results] == ["recorded", "rejected"]
            assert results[1]["problem"]["reason"] == "overloaded"
        assert admin.post(came)["status"] == "recorded"
        admin.assert_holds()
    finally:
        service.stop()
