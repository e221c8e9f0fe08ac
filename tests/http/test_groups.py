# SPDX-License-Identifier: ISC
"""Schemes of several groups have writers of their own. All that is true of one writer is true of theirs.
In addition, a writer that stands still stops no scheme of another."""
import json
import os
import random
import signal
from concurrent.futures import ThreadPoolExecutor

import pytest

from harness import at_once, wait_until
from test_many_schemes import (  # noqa: F401  the same tests, over the schemes of four groups
    CODES,
    DAY,
    HEAD,
    HELD,
    assert_numbered_on,
    issue,
    load,
    of_all,
    site,
    test_a_held_head_parks_the_events_of_its_scheme,
    test_an_id_belongs_to_its_scheme,
    test_bad_events_spoil_nothing_of_others,
    test_each_scheme_has_its_own_numbers,
    test_events_that_refer_to_others_of_the_same_batch,
    test_replays_among_new_events,
    test_two_instances_post_to_the_same_schemes,
)
from test_two_instances import post_all

GROUPS = 4
NDJSON = {"Content-Type": "application/x-ndjson"}
WRITERS = (
    "SELECT pid FROM pg_stat_activity WHERE datname = current_database() AND usename = 'depositd_service'"
    " AND query = 'COMMIT'"
)


def group(code):
    return CODES.index(code) % GROUPS


@pytest.fixture
def admin(service):
    return load(service, GROUPS)


def backends(service):
    return {pid for pid, in service.database.rows(WRITERS)}


def test_a_writer_that_stands_still_stops_no_other_group(service, admin):
    """The database's process of one writer is stopped. All other groups go on, and an array over all groups says that
    its outcome is unknown. Posted again, it gives each event once."""
    first, second = CODES[0], CODES[1]
    admin.post(issue(first))
    others = backends(service)
    admin.post(issue(second))
    [stopped] = backends(service) - others
    events = of_all(issue)
    with ThreadPoolExecutor(1) as pool:
        os.kill(stopped, signal.SIGSTOP)
        try:
            waiting = pool.submit(service.client(service.admin_key).send, "POST", "/v1/events", events)
            free = [c for c in CODES if group(c) != group(second)]
            for code in free * 5:
                assert admin.post(issue(code))["status"] == "recorded"
            wait_until(lambda: len(admin.feed(CODES[2])) == 6, "the array's events of other groups are recorded")
            assert not waiting.done()
        finally:
            os.kill(stopped, signal.SIGCONT)
        answer = waiting.result()
    assert answer.status in (200, 503), answer.body
    results = admin.post_many(events)
    assert {r["status"] for r in results} <= {"recorded", "duplicate"}
    assert_numbered_on(admin, {c: 1 + 5 * (c in free) + (c in (first, second)) for c in CODES})


def test_a_stream_goes_to_all_groups_and_keeps_its_order(admin):
    events = of_all(issue, rounds=60)
    body = b"".join(json.dumps(e).encode() + b"\n" for e in events)
    lines = [json.loads(line) for line in admin.send("POST", "/v1/events", body, NDJSON).body.splitlines()]
    assert [line.get("event_id") for line in lines[:-1]] == [e["event_id"] for e in events]
    assert lines[-1]["recorded"] == len(events)
    assert_numbered_on(admin, dict.fromkeys(CODES, 60))


def test_a_dry_run_over_all_groups_records_nothing(admin):
    answer = admin.send("POST", "/v1/events?dry_run=true", [*of_all(issue), issue("nowhere")])
    assert (answer.json["recorded"], answer.json["rejected"]) == (len(CODES), 1)
    assert_numbered_on(admin, dict.fromkeys(CODES, 0))


def test_a_scheme_changes_its_group_while_it_trades(service, admin):
    """Any writer may post to any scheme, because the head decides the order."""
    moving, given = CODES[5], {k: v for k, v in admin.get(f"/v1/schemes/{CODES[5]}").items() if k != "scheme"}
    events = [issue(moving) for _ in range(300)]

    def move():
        for number in (3, 1, 4, 2):
            admin.put(f"/v1/schemes/{moving}", {**given, "group": number})
        return admin.get(f"/v1/schemes/{moving}")["group"]

    answers, last = at_once(lambda: post_all(service, events, 1), move)
    assert last == 2 and [r["status"] for r in answers] == ["recorded"] * len(events)
    assert_numbered_on(admin, {**dict.fromkeys(CODES, 0), moving: len(events)})
    changes = [c["after"].get("group", 1) for c in admin.items("/v1/changes", of="scheme") if c["name"] == moving]
    assert changes == [2, 4, 1, 3, 2] or changes == [2, 3, 1, 4, 2], changes


def test_a_killed_service_has_recorded_each_event_once_or_not_at_all(service, admin):
    events = of_all(issue, rounds=40)
    random.Random(7).shuffle(events)
    with ThreadPoolExecutor(1) as pool:
        posted = pool.submit(post_until_cut, service, events)
        wait_until(lambda: len(admin.feed(CODES[3])) >= 5, "some are recorded")
        service.kill()
        acknowledged = posted.result()
    service.start()
    results = post_all(service, events, 30)
    assert {r["status"] for r in results} <= {"recorded", "duplicate"}
    assert all(r["status"] == "duplicate" for r in results if r["event_id"] in acknowledged)
    assert_numbered_on(service.admin, dict.fromkeys(CODES, 40))


def post_until_cut(service, events):
    client, acknowledged = service.client(service.admin_key), set()
    try:
        for start in range(0, len(events), 6):
            acknowledged |= {r["event_id"] for r in client.post_many(events[start : start + 6])}
    except (OSError, AssertionError):
        pass
    return acknowledged


def test_a_group_is_one_of_sixteen(admin):
    scheme = {k: v for k, v in admin.get(f"/v1/schemes/{CODES[1]}").items() if k != "scheme"}
    for wrong, reason in ((0, "out_of_range"), (17, "out_of_range"), ("2", "wrong_type")):
        admin.refused("PUT", f"/v1/schemes/{CODES[1]}", {**scheme, "group": wrong}, 422, reason)
