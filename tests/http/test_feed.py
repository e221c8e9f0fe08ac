# SPDX-License-Identifier: ISC
"""The feed of many schemes. A reader that stores `next` misses nothing and sees nothing twice, in each scheme's order,
whatever instance it asks, through closes and kills. A reader that waits learns of news and holds up nobody."""
import http.client
import random
import socket
import struct
import threading
import time
from datetime import date, timedelta

import pytest

import network
from harness import Service, at_once, new_service, wait_until
from network import at, cups, event
from test_two_instances import post_all

DAY = date.today() - timedelta(days=4)
CODES = [f"bay-{n}" for n in range(6)]
LONG = 60  # seconds to wait, the most


def load(admin, codes=CODES):
    admin.load(
        network.reference(
            [network.scheme(c, DAY, {"cup-300": "2.50"}) for c in codes], {f"{c}-anchor": (c, "hearth") for c in codes}
        )
    )
    return admin


@pytest.fixture
def admin(service):
    return load(service.admin)


@pytest.fixture(scope="module")
def known(shared):
    """For requests that change nothing."""
    return load(shared.admin)


@pytest.fixture
def start_service(database):
    """Starts a service with settings of its own."""
    services = []

    def start(**settings):
        services.append(new_service(database, **settings))
        return services[-1]

    yield start
    for service in services:
        service.stop()


def issue(code, day=DAY):
    return event("issue", f"{code}-anchor", at(day), issued=cups(cup_300=1))


def read(client, **query):
    return client.get("/v1/feed", **{"schemes": "all", **query})


def read_all(client, **query):
    """Everything there is, slice by slice, and the last cursor."""
    items, page = [], read(client, **query)
    while page["items"]:
        items += page["items"]
        page = read(client, **{**query, "cursor": page["next"]})
    return items, page["next"]


def without_scheme(items, code):
    return [{k: v for k, v in item.items() if k != "scheme"} for item in items if item["scheme"] == code]


def assert_whole(client, items, codes=CODES):
    """The items of each scheme are those of the scheme's own feed, in its order."""
    for code in codes:
        assert without_scheme(items, code) == client.feed_with_cuts(code), code
    assert {item["scheme"] for item in items} <= set(codes)


@pytest.mark.parametrize("limit", (1, 2, 7, 1000))
def test_each_scheme_in_its_order(admin, limit):
    """With entries of events and of closes, days without entries, and schemes without anything."""
    admin.post_many([issue(c, DAY + timedelta(days=d)) for d in (0, 1) for c in CODES[:4] for _ in range(3)])
    for code in CODES[1:5]:
        admin.close(code, DAY)
        admin.close(code, DAY + timedelta(days=1))
    admin.post_many([issue(c, DAY + timedelta(days=2)) for c in CODES[:2]])
    items, last = read_all(admin, limit=limit)
    assert_whole(admin, items)
    assert len(items) == len({(i["scheme"], i.get("entry"), i["business_date"], i["kind"]) for i in items})
    assert read(admin, cursor=last) == {"items": [], "next": last}
    admin.close(CODES[0], DAY)
    more, _ = read_all(admin, cursor=last, limit=limit)
    assert {item["scheme"] for item in more} == {CODES[0]}
    assert_whole(admin, items + more)


def test_only_the_schemes_that_are_asked_for(admin):
    admin.post_many([issue(c) for c in CODES])
    some = f"{CODES[4]},{CODES[1]}"
    items, last = read_all(admin, schemes=some)
    assert_whole(admin, items, [CODES[1], CODES[4]])
    assert read(admin, schemes=some, cursor=last)["items"] == []
    others, _ = read_all(admin, cursor=last)  # a scheme that the cursor lacks begins at its start
    assert {item["scheme"] for item in others} == set(CODES) - {CODES[1], CODES[4]}


def test_a_new_scheme_is_in_all(service, admin):
    admin.post(issue(CODES[0]))
    _, last = read_all(admin)
    load(admin, ["new-bay"])
    admin.post(issue("new-bay"))
    assert [item["scheme"] for item in read(admin, cursor=last)["items"]] == ["new-bay"]


def test_a_busy_scheme_keeps_nobody_waiting(admin):
    """A slice begins with the scheme after the one at which the slice before was full."""
    admin.post_many([issue(CODES[0]) for _ in range(50)] + [issue(c) for c in CODES[1:]])
    seen, cursor = [], {}
    for _ in range(1 + len(CODES)):
        page = read(admin, limit=5, **cursor)
        seen += [item["scheme"] for item in page["items"]]
        cursor = {"cursor": page["next"]}
    assert set(seen) == set(CODES)


@pytest.mark.parametrize("bad", ("0", "AQ", "AQAA!", "AgAA", "AQAAAQ", "AQAAAAI", "AQAAAYCA", "A" * 40, "_" * 400))
def test_a_cursor_that_nobody_gave(known, bad):
    known.refused("GET", f"/v1/feed?schemes=all&cursor={bad}", None, 422, "parameter_invalid")


@pytest.mark.parametrize(
    "query, status, reason",
    [
        ("", 422, "parameter_missing"),
        ("schemes=", 404, "not_found"),
        ("schemes=bay-0,", 404, "not_found"),
        ("schemes=bay-0,,bay-1", 404, "not_found"),
        ("schemes=nowhere", 404, "not_found"),
        ("schemes=" + "x" * 4000, 404, "not_found"),
        ("schemes=all,bay-0", 404, "not_found"),
        ("schemes=all&wait=61", 422, "parameter_invalid"),
        ("schemes=all&wait=-1", 422, "parameter_invalid"),
        ("schemes=all&wait=1.5", 422, "parameter_invalid"),
        ("schemes=all&wait=", 422, "parameter_invalid"),
        ("schemes=all&limit=0", 422, "parameter_invalid"),
        ("schemes=all&site=anchor", 422, "parameter_unknown"),
    ],
)
def test_refusals(known, query, status, reason):
    known.refused("GET", f"/v1/feed?{query}", None, status, reason)


def test_a_cursor_of_700_schemes_fits_a_request(service):
    """They are copies of a scheme that ends with the close of a day and the cut of another."""
    database = service.database
    load(service.admin, ["bay-0"])
    service.admin.post(issue("bay-0"))
    service.admin.close("bay-0", DAY)
    service.admin.close("bay-0", DAY + timedelta(days=1))
    database.run(
        "SET session_replication_role = replica;"
        "INSERT INTO scheme SELECT (jsonb_populate_record(s, jsonb_build_object('id', id + n, 'code', 'bay-' || n))).*"
        " FROM scheme s, generate_series(1, 699) n;"
        "INSERT INTO scheme_head SELECT (jsonb_populate_record(h, jsonb_build_object('scheme', scheme + n))).*"
        " FROM scheme_head h, generate_series(1, 699) n;"
        "INSERT INTO business_day SELECT (jsonb_populate_record(d, jsonb_build_object('scheme', scheme + n))).*"
        " FROM business_day d, generate_series(1, 699) n;"
        "INSERT INTO terms SELECT (jsonb_populate_record(t, jsonb_build_object('scheme', scheme + n))).*"
        " FROM terms t, generate_series(1, 699) n;"
        "INSERT INTO day_cut SELECT (jsonb_populate_record(c, jsonb_build_object('scheme', scheme + n))).*"
        " FROM day_cut c, generate_series(1, 699) n;"
        "INSERT INTO entry SELECT (jsonb_populate_record(e, jsonb_build_object('scheme', scheme + n))).*"
        " FROM entry e, generate_series(1, 699) n;"
        "UPDATE network_head SET reference_version = reference_version + 1;"
    )
    items, last = read_all(service.admin, limit=1000)
    assert [item["kind"] for item in items] == ["issue", "day_cut", "settle", "day_cut"] * 700
    assert 2000 < len(last) < 7000
    assert read(service.admin, cursor=last) == {"items": [], "next": last}
    # Places in more schemes would not fit, so they are refused at once, and not when the cursor has grown too long.
    database.run(
        "INSERT INTO scheme SELECT (jsonb_populate_record(s, jsonb_build_object('id', id + 700, 'code', 'bay-700'))).*"
        " FROM scheme s WHERE code = 'bay-0';"
        "UPDATE network_head SET reference_version = reference_version + 1;"
    )
    wait_until(lambda: len(service.admin.items("/v1/schemes")) == 701, "the service knows the new scheme")
    refused = service.admin.refused("GET", "/v1/feed?schemes=all", None, 422, "parameter_invalid")
    assert "at most 700" in refused.body.decode()


# Waiting


def waits(service):
    """How many readers wait, as the service counts them."""
    text = service.client(checked=False).send("GET", "/metrics").body.decode()
    return int(float(next(line.split()[1] for line in text.splitlines() if line.startswith("depositd_feed_waiters "))))


class Waiting(threading.Thread):
    """A request that waits."""

    def __init__(self, service, **query):
        super().__init__()
        self.client, self.query, self.page = service.client(service.admin_key), query, None
        self.start()

    def run(self):
        self.page = read(self.client, **{"wait": LONG, **self.query})

    def answer(self):
        self.join()
        return self.page


def end(admin):
    return read_all(admin)[1]


def test_news_end_a_wait(service, admin):
    last = end(admin)
    waiting = Waiting(service, cursor=last)
    wait_until(lambda: waits(service) == 1, "it waits")
    admin.post(issue(CODES[2]))
    assert [item["scheme"] for item in waiting.answer()["items"]] == [CODES[2]]
    assert waits(service) == 0


def test_a_cut_is_news(service, admin):
    waiting = Waiting(service, cursor=end(admin))
    wait_until(lambda: waits(service) == 1, "it waits")
    admin.close(CODES[3], DAY)
    assert [(i["scheme"], i["kind"]) for i in waiting.answer()["items"]] == [(CODES[3], "day_cut")]


def test_news_of_others_do_not_end_it(service, admin):
    waiting = Waiting(service, schemes=CODES[0], wait=3)
    wait_until(lambda: waits(service) == 1, "it waits")
    admin.post(issue(CODES[1]))
    assert waiting.answer()["items"] == []


def test_there_is_no_wait_where_there_is_news(admin):
    admin.post(issue(CODES[1]))
    started = time.monotonic()
    assert len(read(admin, wait=LONG)["items"]) == 1
    assert time.monotonic() - started < LONG / 2


def test_the_time_ends_a_wait(known):
    last = end(known)
    assert read(known, wait=1, cursor=last) == {"items": [], "next": last}


def test_news_of_another_instance(service, admin):
    other = Service(service.database).start()
    try:
        waiting = Waiting(service, cursor=end(admin))
        wait_until(lambda: waits(service) == 1, "it waits")
        other.client(service.admin_key).post(issue(CODES[5]))
        assert [item["scheme"] for item in waiting.answer()["items"]] == [CODES[5]]
    finally:
        other.stop()


def test_the_stop_ends_a_wait(service, admin):
    last = end(admin)
    waiting = Waiting(service, cursor=last)
    wait_until(lambda: waits(service) == 1, "it waits")
    started = time.monotonic()
    service.stop()
    assert waiting.answer() == {"items": [], "next": last}
    assert time.monotonic() - started < LONG / 2


def test_a_key_that_is_revoked_while_it_waits(service, admin):
    client = service.client(service.create_key("leaving", "auditor"))
    answers, last = [], end(admin)
    thread = threading.Thread(
        target=lambda: answers.append(client.send("GET", f"/v1/feed?schemes=all&wait={LONG}&cursor={last}"))
    )
    thread.start()
    wait_until(lambda: waits(service) == 1, "it waits")
    assert admin.send("DELETE", "/v1/keys/leaving?why=left").status == 204
    admin.post(issue(CODES[0]))
    thread.join()
    assert (answers[0].status, answers[0].reasons) == (401, ["unauthenticated"])


def hang_up(connection):
    """Closes with a reset, so that no answer can come."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    connection.close()


def begin_to_wait(service, last):
    """A request on a socket of its own, whose answer nobody reads yet."""
    connection = socket.create_connection(("127.0.0.1", service.port))
    connection.sendall(
        f"GET /v1/feed?schemes=all&wait={LONG}&cursor={last} HTTP/1.1\r\nHost: a\r\n"
        f"Authorization: Bearer {service.admin_key}\r\n\r\n".encode()
    )
    return connection


def whole_answer(connection):
    response = http.client.HTTPResponse(connection)
    response.begin()
    assert response.status == 200
    return response.read()


def test_a_client_that_leaves_waits_no_longer(service, admin):
    connections = [begin_to_wait(service, end(admin)) for _ in range(5)]
    wait_until(lambda: waits(service) == 5, "they wait")
    for connection in connections:
        hang_up(connection)
    wait_until(lambda: waits(service) == 0, "they are gone")
    admin.post(issue(CODES[0]))
    admin.assert_holds()


def test_only_so_many_wait(start_service):
    service = start_service(feed_waiters=2)
    admin = load(service.admin)
    last = end(admin)
    connections = [begin_to_wait(service, last) for _ in range(2)]
    wait_until(lambda: waits(service) == 2, "they wait")
    answer = admin.refused("GET", f"/v1/feed?schemes=all&wait={LONG}&cursor={last}", None, 503, "overloaded")
    assert int(answer.headers["Retry-After"]) > 0
    assert read(admin, cursor=last)["items"] == []
    admin.post(issue(CODES[0]))
    assert all(b'"kind":"issue"' in whole_answer(connection) for connection in connections)
    for connection in connections:
        hang_up(connection)


CROWD = 1000


def test_a_crowd_waits(start_service):
    """So many readers wait at once, with one reader's worker. Posts and reads go on, and news end all waits."""
    service = start_service(
        feed_waiters=CROWD,
        max_connections=CROWD + 50,
        max_connections_per_address=0,
        read_workers=1,
        queue_reads=CROWD + 50,
    )
    admin = load(service.admin)
    last = end(admin)
    connections = [begin_to_wait(service, last) for _ in range(CROWD)]
    try:
        wait_until(lambda: waits(service) == CROWD, lambda: f"all wait, not only {waits(service)}")
        assert read(admin, cursor=last)["items"] == []
        admin.post(issue(CODES[0]))
        for connection in connections:
            assert b'"kind":"issue"' in whole_answer(connection)
    finally:
        for connection in connections:
            hang_up(connection)
    admin.assert_holds()


# Followers


def follow(client_of, is_done, seen, rng):
    """Follows the feed until everything is there, over any instance. Instances may be killed."""
    cursor = {}
    while not is_done(seen):
        try:
            page = read(client_of(rng), wait=rng.choice((0, 1, 5)), limit=rng.choice((1, 10, 100)), **cursor)
        except (OSError, http.client.HTTPException):
            continue  # the instance is being killed; the cursor stays
        seen += page["items"]
        cursor = {"cursor": page["next"]}


def test_followers_miss_nothing(service, admin):
    """Two instances post and close, and one of them is killed and started again, while two readers follow."""
    other = Service(service.database).start()
    other.admin_key = service.admin_key
    events = [issue(c) for c in CODES for _ in range(60)]
    random.Random(7).shuffle(events)
    total = len(events) + 2 * len(CODES)  # with a cut and an entry of the close for each scheme
    seen = [[], []]

    def client_of(rng):
        return rng.choice((service, other)).client(service.admin_key, checked=False)

    def post_and_close():
        post_all(service, events[:180], 5)
        for code in CODES:
            service.admin.close(code, DAY)

    def post_through_kills():
        for start in range(180, 360, 60):
            at_once(lambda start=start: post_all(service, events[start : start + 60], 7))
            other.kill()
            other.start()

    try:
        at_once(
            lambda: follow(client_of, lambda s: len(s) >= total, seen[0], random.Random(1)),
            lambda: follow(client_of, lambda s: len(s) >= total, seen[1], random.Random(2)),
            post_and_close,
            post_through_kills,
        )
    finally:
        other.stop()
    for items in seen:
        assert len(items) == total
        assert_whole(admin, items)
    admin.assert_holds()
