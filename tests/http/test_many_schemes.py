# SPDX-License-Identifier: ISC
"""A batch is written with one statement for each table, however many schemes its events are of. Still each event has
its own fate: nobody's fault, replay or held head touches the events of others."""
import random
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta

import pytest

import network
from harness import Service, at_once, wait_until
from network import at, cups, event
from test_two_instances import post_all
from test_waits import locked

DAY = date.today() - timedelta(days=3)
CODES = [f"bay-{n}" for n in range(12)]
HELD = "bay-4"
HEAD = f"SELECT FROM scheme_head WHERE scheme = (SELECT id FROM scheme WHERE code = '{HELD}') FOR UPDATE"


def load(service, groups):
    """In bay-0 a cup is worth so much that 1,001 of them are beyond the bound of a leg."""
    values = {code: {"cup-300": "10000000.00" if code == CODES[0] else "2.50", "cup-450": "3.50"} for code in CODES}
    sites = {f"{code}-{s}": (code, "hearth") for code in CODES for s in ("anchor", "brick")}
    schemes = [network.scheme(c, DAY, values[c], group=n % groups + 1) for n, c in enumerate(CODES)]
    service.admin.load(network.reference(schemes, sites))
    return service.admin


@pytest.fixture
def admin(service):
    return load(service, groups=1)


def site(code, name="anchor"):
    return f"{code}-{name}"


def issue(code, day=DAY, **members):
    return event("issue", site(code), at(day), issued=cups(**members or {"cup_300": 1}))


def of_all(make, rounds=1):
    """One event after the other of each scheme, again and again."""
    return [make(code) for _ in range(rounds) for code in CODES]


def entries(admin, code):
    return {item["event"]["event_id"]: item["entry"] for item in admin.feed(code)}


def assert_numbered_on(admin, counts):
    for code in CODES:
        assert [item["entry"] for item in admin.feed(code)] == list(range(1, counts[code] + 1)), code
    admin.assert_holds()


def test_each_scheme_has_its_own_numbers(admin):
    """In several days, with more movements than go to the balances at once."""
    events = [issue(code, day) for day in (DAY, DAY + timedelta(days=1)) for code in CODES for _ in range(3)]
    for start in range(0, len(events), 24):
        results = admin.post_many(events[start : start + 24])
        assert [r["status"] for r in results] == ["recorded"] * len(results)
    assert_numbered_on(admin, dict.fromkeys(CODES, 6))
    for code in CODES:
        assert list(entries(admin, code)) == [e["event_id"] for e in events if e["site"] == site(code)]
        assert admin.accounts(code)["with_customers(cup-300)"] == 6
        assert admin.accounts(code, as_of=DAY)["with_customers(cup-300)"] == 3


def test_one_small_batch_of_two_schemes(admin):
    """Its movements go to the balances at once."""
    assert [r["entry"] for r in admin.post_many([issue(CODES[1]), issue(CODES[2])])] == [1, 1]
    assert admin.accounts(CODES[1])["site_clearing(bay-1-anchor)"] == "2.50"
    assert_numbered_on(admin, {**dict.fromkeys(CODES, 0), CODES[1]: 1, CODES[2]: 1})


def test_bad_events_spoil_nothing_of_others(admin):
    """Some events are refused: for what they say, for their day, or because an amount is too large, which fails the
    batch, so that it is halved until that event stands alone."""
    early, later = date.today() - timedelta(days=90), date.today() + timedelta(days=9)
    good = of_all(issue, rounds=4)
    bad = {
        7: (issue("nowhere"), "site_unknown"),
        13: (issue(CODES[3], early), "before_first_day"),
        20: (issue(CODES[0], cup_300=1001), "out_of_range"),
        31: (issue(CODES[5], later), "occurred_in_future"),
        40: (
            event("receipt", site(CODES[6]), at(DAY), cups=cups(cup_300=1), dispatch=good[0]["event_id"]),
            "event_unknown",
        ),
    }
    events = list(good)
    for place, (wrong, _) in bad.items():
        events.insert(place, wrong)
    results = admin.post_many(events)
    for place, (result, posted) in enumerate(zip(results, events)):
        if place in bad:
            assert (result["status"], result["problem"]["reason"]) == ("rejected", bad[place][1])
        else:
            assert (result["status"], result["event_id"]) == ("recorded", posted["event_id"])
    assert_numbered_on(admin, dict.fromkeys(CODES, 4))


def test_replays_among_new_events(admin):
    first = of_all(issue, rounds=2)
    before = admin.post_many(first)
    again = [e for pair in zip(first, of_all(issue, rounds=2)) for e in pair]
    results = admin.post_many(again)
    assert results[::2] == [{**r, "status": "duplicate"} for r in before]
    assert [r["status"] for r in results[1::2]] == ["recorded"] * len(first)
    twice = [one for one in of_all(issue) for _ in range(2)]  # both in one batch
    results = admin.post_many(twice)
    assert [r["status"] for r in results] == ["recorded", "duplicate"] * len(CODES)
    other = {**first[0], "reference": "not the same"}
    assert admin.post_many([other, *of_all(issue)])[0]["problem"]["reason"] == "event_id_conflict"
    assert_numbered_on(admin, dict.fromkeys(CODES, 6))


def test_an_id_belongs_to_its_scheme(admin):
    """The same id in two schemes names two events, in one batch and in two."""
    one = issue(CODES[1])
    same = {**one, "site": site(CODES[2])}
    assert [r["status"] for r in admin.post_many([one, same])] == ["recorded", "recorded"]
    third = {**one, "site": site(CODES[3])}
    results = admin.post_many([third, same, one])
    assert [(r["status"], r["entry"]) for r in results] == [("recorded", 1), ("duplicate", 1), ("duplicate", 1)]


def test_events_that_refer_to_others_of_the_same_batch(admin):
    """The rows that wait are written before anything is looked up, and the rest at the end."""

    def story(code):
        sent = event("dispatch", site(code), at(DAY), cups=cups(cup_300=5), to=site(code, "brick"))
        wrong = issue(code)
        return [
            issue(code, cup_450=2),
            sent,
            event("receipt", site(code, "brick"), at(DAY), cups=cups(cup_300=3), dispatch=sent["event_id"]),
            wrong,
            event("reversal", site(code), at(DAY), reverses=wrong["event_id"]),
            event(
                "transit_loss", site(code), at(DAY), cups=cups(cup_300=2), dispatch=sent["event_id"], bearer="sender"
            ),
            event("forfeit", None, at(DAY), scheme=code, cups=cups(cup_450=1)),
        ]

    stories = [story(code) for code in CODES[1:]]
    results = admin.post_many([one for step in zip(*stories) for one in step])
    assert [r["status"] for r in results] == ["recorded"] * len(results), results
    assert_numbered_on(admin, {**dict.fromkeys(CODES, 7), CODES[0]: 0})
    for code in CODES[1:]:
        accounts = admin.accounts(code)
        assert accounts["in_transit(cup-300)"] == 0 and accounts["with_customers(cup-450)"] == 1
        assert accounts[f"site_stock({site(code, 'brick')},cup-300)"] == 3
        assert "receipt_short" not in str(
            admin.items("/v1/reports/exceptions", scheme=code, state="open", **{"from": DAY})
        )


def test_a_held_head_parks_the_events_of_its_scheme(service, admin):
    """The others of the array are recorded meanwhile. A replay, a refusal and new events come together."""
    known, first = issue(CODES[7]), issue(HELD)
    admin.post_many([known, first])
    events = [known, *of_all(issue, rounds=2), issue("nowhere"), first]
    with locked(service.database, HEAD) as holder, ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(service.client(service.admin_key).post_many, events)
        wait_until(lambda: all(len(admin.feed(c)) >= 2 for c in CODES if c != HELD), "the others are recorded")
        assert len(admin.feed(HELD)) == 1 and not waiting.done()
        assert [r["status"] for r in admin.post_many([issue(c) for c in CODES if c != HELD])] == ["recorded"] * 11
        holder.close()
        statuses = [r["status"] for r in waiting.result()]
    assert statuses == ["duplicate", *["recorded"] * 24, "rejected", "duplicate"]
    assert_numbered_on(admin, {**dict.fromkeys(CODES, 3), HELD: 3, CODES[7]: 4})


def test_two_instances_post_to_the_same_schemes(service, admin):
    """Each takes the heads that are free, parks what it cannot have, and catches up with the other scheme by scheme."""
    other = Service(service.database).start()
    try:
        other.admin_key = service.admin_key
        events = of_all(issue, rounds=20)
        orders = [
            events,
            random.Random(1).sample(events, len(events)),
            events,
            random.Random(2).sample(events, len(events)),
        ]
        answers = at_once(
            *(lambda s=s, e=e: post_all(s, e, 30) for s, e in zip((service, other, other, service), orders))
        )
    finally:
        other.stop()
    for posted in events:
        results = [r for results in answers for r in results if r["event_id"] == posted["event_id"]]
        assert sorted(r["status"] for r in results) == ["duplicate"] * 3 + ["recorded"], results
        assert len({r["entry"] for r in results}) == 1
    assert_numbered_on(admin, dict.fromkeys(CODES, 20))


@pytest.mark.parametrize("restarted", (False, True), ids=("by the writer's sums", "by the database"))
def test_schemes_are_folded_together(service, admin, restarted):
    """Several schemes reach the bound of recent movements in one batch, and nobody sees a difference. A writer that
    has begun anew does not know what the one before it left; then the database adds it up."""
    codes, rounds, goods = CODES[1:5], 0, ({"cup_300": 1}, {"cup_450": 1})
    folded = "SELECT count(*) FROM scheme_head WHERE folded_through > 0"
    while service.database.rows(folded) == [(0,)]:
        assert rounds < 500, "it is never folded"
        events = [issue(code, DAY + timedelta(days=n), **m) for code in codes for n in (0, 1) for m in goods]
        assert {r["status"] for r in admin.post_many(events)} == {"recorded"}
        rounds += 1
        if restarted and rounds == 50:
            service.stop()
            service.start()
    assert service.database.rows(folded) == [(len(codes),)]
    admin.post_many(of_all(issue))
    [(unfolded, rows)] = service.database.rows(
        "SELECT (SELECT sum(unfolded) FROM scheme_head), (SELECT count(*) FROM recent_balance)"
    )
    assert unfolded == rows > 0
    for code in codes:
        accounts = admin.accounts(code)
        assert accounts["with_customers(cup-300)"] == 2 * rounds + 1
        assert accounts["with_customers(cup-450)"] == 2 * rounds
        assert accounts[f"site_clearing({site(code)})"] == f"{rounds * 12 + 2.5:.2f}"
    admin.assert_holds()
