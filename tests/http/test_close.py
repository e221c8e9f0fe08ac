# SPDX-License-Identifier: ISC
"""The close: order, carrying forward, netting and seals. It must survive a kill, events that race it, and the clock."""
import hashlib
import threading
import time
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

import psycopg2
import pytest

import network
from harness import Service, at_once, cut_only, wait_until
from model import DAY, instant
from network import at, business_day, cups, event

D0 = date.today() - timedelta(days=8)
SITES = {
    "anchor": ("tern-bay", "hearth"),
    "brick": ("tern-bay", "miller"),
    "copper": ("tern-bay", "hearth"),
    "dock": ("tern-bay", "quay"),
}


def load(client, sites=SITES, terms=({},), code="tern-bay", **more):
    client.load(network.reference([network.scheme(code, D0, {"cup-300": "2.50"}, terms=list(terms), **more)], sites))


def issue(site, n, day, clock="10:00", **more):
    return event("issue", site, at(day, clock), issued=cups(cup_300=n), **more)


def give_back(site, n, day, clock="11:00", **more):
    return event("return", site, at(day, clock), returned=cups(cup_300=n), **more)


def positions(settlement):
    return {p["participant"]: p["amount"] for p in settlement["positions"] if p["amount"] != "0.00"}


def carried(settlement):
    return {c["participant"]: c["amount"] for c in settlement["carried_forward"]}


def payments(settlement):
    return {(p["from"], p["to"]): p["amount"] for p in settlement["payments"]}


def paid(made):
    """(participant, 0 pays or 1 gets) -> amount"""
    totals = Counter()
    for pair, amount in made.items():
        for side, who in enumerate(pair):
            totals[who, side] += Decimal(amount)
    return totals


def state(client, day):
    return next(d["state"] for d in client.items("/v1/schemes/tern-bay/days", limit=1000) if d["date"] == str(day))


def test_days_close_in_order_and_once(service):
    admin = service.admin
    load(admin)
    today = business_day()
    admin.post(issue("anchor", 2, D0))
    close = "/v1/schemes/tern-bay/days/{}/close".format
    admin.refused("POST", close(D0 + DAY), None, 409, "earlier_day_open")
    admin.refused("POST", close(D0 - DAY), None, 404, "not_found")
    assert admin.send("POST", close(today + 2 * DAY)).reasons[0] in ("not_found", "day_not_ended")
    assert admin.send("POST", close(today)).status == 409
    first = admin.close("tern-bay", D0)
    assert payments(first) == {("hearth", "pool"): "5.00"} and state(admin, D0) == "closed"
    for n in range(1, 20):
        if D0 + n * DAY < today:
            admin.close("tern-bay", D0 + n * DAY)
    admin.refused("POST", close(today), None, 409, "day_not_ended")
    assert admin.close("tern-bay", D0) == first
    assert [s["date"] for s in admin.items("/v1/settlements", scheme="tern-bay")].count(str(D0)) == 1


LONG = 34  # days: more than those that are closed and that a close reads


def test_a_day_that_was_closed_long_ago(service):
    admin, start = service.admin, business_day() - (LONG + 3) * DAY
    schemes = [network.scheme("tern-bay", start, {"cup-300": "2.50"})]
    admin.load(network.reference(schemes, {"anchor": ("tern-bay", "hearth")}))
    admin.post(issue("anchor", 2, start))
    closes = [admin.close("tern-bay", start + n * DAY) for n in range(LONG)]
    assert [c["date"] for c in closes] == [str(start + n * DAY) for n in range(LONG)]
    assert payments(closes[0]) == {("hearth", "pool"): "5.00"}
    for n in (0, 1, LONG - 1):
        assert admin.close("tern-bay", start + n * DAY) == closes[n]
    close = "/v1/schemes/tern-bay/days/{}/close".format
    assert admin.send("POST", close(start) + "?dry_run=true").status == 200
    admin.refused("POST", close(start - DAY), None, 404, "not_found")
    admin.refused("POST", close(start + (LONG + 1) * DAY), None, 409, "earlier_day_open")
    admin.assert_holds()


def test_a_key_that_is_revoked_meanwhile_closes_nothing(service):
    """The key was in force when the close began, and is revoked between its two transactions. The day stays cut, until
    another key closes it."""
    load(service.admin)
    service.admin.post(issue("anchor", 2, D0))
    key = service.create_key("leaving", "accountant")
    with cut_only(service, D0, key=key) as answers:
        assert service.admin.send("DELETE", "/v1/keys/leaving?why=left").status == 204
    assert (answers[0].status, answers[0].reasons) == (401, ["unauthenticated"])
    assert state(service.admin, D0) == "closing" and service.admin.items("/v1/settlements", scheme="tern-bay") == []
    assert payments(service.admin.close("tern-bay", D0)) == {("hearth", "pool"): "5.00"}
    service.admin.assert_holds()


def test_small_positions_are_carried(service):
    """A position below the minimum is carried untouched. It is settled once it has been carried for carry_days or
    crosses the minimum."""
    admin = service.admin
    load(admin, terms=[{"minimum_payment": "20.00"}], carry_days=2)
    admin.post_many([issue("anchor", 4, D0), give_back("brick", 8, D0)])
    first = admin.close("tern-bay", D0)  # hearth 10.00, miller exactly -20.00: not below
    assert carried(first) == {"hearth": "10.00"} and payments(first) == {("pool", "miller"): "20.00"}
    assert admin.accounts("tern-bay")["site_clearing(anchor)"] == "10.00"
    hearth = next(p for p in first["positions"] if p["participant"] == "hearth")
    assert hearth["carried_forward"] is True
    admin.post(issue("copper", 1, D0 + DAY))
    second = admin.close("tern-bay", D0 + DAY)
    assert carried(second) == {"hearth": "12.50"} and not payments(second)
    anchor = next(s for p in second["positions"] for s in p["sites"] if s["site"] == "anchor")
    assert (anchor["brought_forward"], anchor["net"]) == ("10.00", "10.00")
    third = admin.close("tern-bay", D0 + 2 * DAY)
    assert not carried(third) and payments(third) == {("hearth", "pool"): "12.50"}
    admin.post_many([issue("anchor", 1, D0 + 3 * DAY), issue("dock", 9, D0 + 3 * DAY)])
    fourth = admin.close("tern-bay", D0 + 3 * DAY)  # the count of days begins again
    assert carried(fourth) == {"hearth": "2.50"} and payments(fourth) == {("quay", "pool"): "22.50"}
    admin.assert_holds()


def test_a_participant_without_an_open_site_is_settled(service):
    """At the close of the last day of a participant's last open site, its account is settled to the cent."""
    admin = service.admin
    load(
        admin,
        terms=[{"minimum_payment": "20.00"}],
        sites={**SITES, "brick": ("tern-bay", "miller", {"closed_on": str(D0 + DAY)})},
    )
    admin.post_many([issue("brick", 2, D0), issue("brick", 1, D0 + DAY)])
    assert carried(admin.close("tern-bay", D0)) == {"miller": "5.00"}
    second = admin.close("tern-bay", D0 + DAY)
    assert not carried(second) and payments(second) == {("miller", "pool"): "7.50"}


@pytest.mark.parametrize(
    "netting, expected",
    [
        ("central", {("hearth", "pool"): "10.00", ("pool", "miller"): "7.50", ("pool", "quay"): "5.00"}),
        ("direct", {("hearth", "miller"): "7.50", ("hearth", "quay"): "2.50", ("pool", "quay"): "2.50"}),
    ],
)
def test_netting(service, netting, expected):
    load(service.admin, terms=[{"netting": netting}])
    service.admin.post_many([issue("anchor", 4, D0), give_back("brick", 3, D0), give_back("dock", 2, D0)])
    settlement = service.admin.close("tern-bay", D0)
    made = payments(settlement)
    if netting == "central":
        assert made == expected
    else:  # any debtor may pay any creditor; the number of payments, and the sum that each pays or gets, are fixed
        assert len(made) == len(expected)
        assert paid(made) == paid(expected)
    paid_in_all = settlement["totals"]["paid"]
    nothing = {"payments": 0, "amount": "0.00"}
    assert settlement["totals"] == {
        "owed": "10.00",
        "owing": "12.50",
        "payments": 3,
        "paid": paid_in_all,
        "to_collect": "10.00",
        "to_pay_out": "12.50",
        "carried_owed": "0.00",
        "carried_owing": "0.00",
        "by_status": {
            "computed": {"payments": 3, "amount": paid_in_all},
            **{status: nothing for status in ("approved", "instructed", "confirmed", "failed")},
        },
    }
    assert Decimal(paid_in_all) == sum(map(Decimal, made.values()))


def test_zero_positions_are_posted_out(service):
    load(service.admin, terms=[{"minimum_payment": "20.00"}])
    service.admin.post_many([issue("anchor", 2, D0), give_back("copper", 2, D0)])
    settlement = service.admin.close("tern-bay", D0)
    assert not carried(settlement) and not payments(settlement)
    assert [p["amount"] for p in settlement["positions"]] == ["0.00"] * 3
    accounts = service.admin.accounts("tern-bay")
    assert accounts["site_clearing(anchor)"] == accounts["site_clearing(copper)"] == "0.00"


def test_dry_run_closes_nothing(service):
    admin = service.admin
    load(admin, terms=[{"service_fee": "0.10", "tax_rate": "0.15"}])
    admin.post(issue("anchor", 2, D0))
    before = admin.accounts("tern-bay"), admin.feed("tern-bay")
    answer = admin.send("POST", f"/v1/schemes/tern-bay/days/{D0}/close?dry_run=true")
    assert answer.status == 200
    assert (admin.accounts("tern-bay"), admin.feed("tern-bay")) == before and state(admin, D0) == "open"
    assert not admin.post(issue("brick", 1, D0, amount="2.50"))["late"]
    admin.post(give_back("brick", 1, D0, amount="2.50"))
    real = admin.close("tern-bay", D0)
    assert payments(answer.json) == {("hearth", "pool"): "5.23"}
    assert positions(real) == positions(answer.json) | {"miller": "0.12"}


def root(leaf_hashes):
    """RFC 9162 section 2.1.1 over leaf hashes."""
    if len(leaf_hashes) < 2:
        return leaf_hashes[0] if leaf_hashes else hashlib.sha256(b"").digest()
    split = 1 << (len(leaf_hashes) - 1).bit_length() - 1
    return hashlib.sha256(b"\1" + root(leaf_hashes[:split]) + root(leaf_hashes[split:])).digest()


def test_seals(service):
    """A chain from 32 zero bytes; a day without entries has the empty tree's root (check values, section 1)."""
    admin = service.admin
    load(admin)
    empty = admin.close("tern-bay", D0)["seal"]
    assert empty["entries"] == 0 and empty["previous"] == "00" * 32
    assert empty["root"] == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    admin.post_many([issue("anchor", 1, D0 + DAY), give_back("brick", 1, D0 + DAY), give_back("dock", 1, D0 + DAY)])
    second = admin.close("tern-bay", D0 + DAY)["seal"]
    assert second["entries"] == 6 and second["previous"] == empty["seal"] and second["root"] != empty["root"]
    leaves = service.database.rows("SELECT hash FROM entry WHERE business_date = %s ORDER BY entry", D0 + DAY)
    assert second["root"] == root([bytes(leaf) for leaf, in leaves]).hex()
    third = admin.close("tern-bay", D0 + 2 * DAY)["seal"]
    assert third["previous"] == second["seal"] and len({s["seal"] for s in (empty, second, third)}) == 3


def test_the_clock_closes_past_days_in_order(database, service):
    """Two instances run a clock: each day is closed once."""
    load(service.admin)
    service.admin.post_many([issue("anchor", n + 1, D0 + n * DAY) for n in range(4)])
    due, clocks = [D0 + n * DAY for n in range(5)], []
    try:
        for _ in range(2):
            clocks.append(Service(database, close_by_clock="yes").start())
        wait_until(lambda: all(state(service.admin, day) == "closed" for day in due), "the clock closes")
    finally:
        for clock in clocks:
            clock.stop()
    assert [i["business_date"] for i in service.admin.feed("tern-bay") if i["kind"] == "settle"] == [
        str(day) for day in due[:4]
    ]
    settlements = [service.admin.get(f"/v1/settlements/tern-bay/{day}") for day in due]
    assert [positions(s).get("hearth") for s in settlements] == ["2.50", "5.00", "7.50", "10.00", None]
    closed_at = [instant(s["closed_at"]) for s in settlements]
    assert closed_at == sorted(closed_at)
    service.admin.assert_holds()


def test_a_killed_close_is_resumed(service):
    """Wherever the close is killed, either all of it is recorded or nothing. The next close completes it."""
    admin = service.admin
    load(
        admin,
        terms=[{"service_fee": "0.10", "tax_rate": "0.15"}],
        stock_terms="on_deposit",
        sites={f"site-{n}": ("tern-bay", f"p-{n % 40}") for n in range(120)},
    )
    for n, delay in enumerate((0, 0.002, 0.005, 0.01, 0.02, 0.04)):
        day = D0 + n * DAY
        admin.post_many([issue(f"site-{k % 120}", 1 + k % 3, day) for k in range(360)])
        closing = threading.Thread(target=lambda d=day: _ignore_errors(service, d))
        closing.start()
        time.sleep(delay)
        service.kill()
        closing.join()
        service.start()
        admin = service.admin = service.client(service.admin_key)
        admin.post(issue("site-0", 1, day))  # late if the cut had been made
        settlement = admin.close("tern-bay", day)
        feed = admin.feed("tern-bay")
        assert [i["entry"] for i in feed] == list(range(1, len(feed) + 1))
        of_day = [i for i in feed if i["business_date"] == str(day)]
        issued = sum(i["event"]["issued"][0]["quantity"] for i in of_day if "event" in i)
        assert sum(Decimal(s["fees"]) for p in settlement["positions"] for s in p["sites"]) == issued * Decimal("0.10")
        assert sum(i["kind"] == "fees" for i in of_day) == 120 and settlement["seal"]["entries"] == len(of_day)
        admin.assert_holds()


def _ignore_errors(service, day):
    try:
        service.client(service.admin_key).send("POST", f"/v1/schemes/tern-bay/days/{day}/close")
    except OSError:
        pass


def test_events_that_race_the_close(service):
    """Tills post for a day while it closes. Each event is in the day or late, and the money of both days adds up. Each
    site has traded before the close begins, and trades again after it."""
    admin = service.admin
    load(admin)
    answers, batches, stop = [], Counter(), threading.Event()

    def till(site):
        client = service.client(service.admin_key)
        while not stop.is_set():
            answers.extend(client.post_many([issue(site, 1, D0) for _ in range(5)]))
            batches[site] += 1

    def all_traded(more):
        before = dict(batches)
        wait_until(
            lambda: all(batches[s] >= before.get(s, 0) + more for s in SITES),
            lambda: f"all sites traded, {batches} after {before}",
        )

    def close():
        try:
            all_traded(3)
            settlement = service.client(service.admin_key).close("tern-bay", D0)
            all_traded(2)  # events on their way during the close may belong to either day; the next event is late
        finally:
            stop.set()
        return settlement

    try:
        *_, first = at_once(*(lambda s=s: till(s) for s in SITES), close)
    finally:
        stop.set()
    second = admin.close("tern-bay", D0 + DAY)
    on_time, late = (Decimal("2.50") * sum(a["late"] is is_late for a in answers) for is_late in (False, True))
    assert on_time and late, "the race did not happen"
    assert {a["business_date"] for a in answers if a["late"]} == {str(D0 + DAY)}
    assert sum(map(Decimal, positions(first).values())) == on_time
    assert sum(map(Decimal, positions(second).values())) == late
    assert first["seal"]["entries"] == sum(not a["late"] for a in answers) + 4
    admin.assert_holds()


def held(settlement):
    return {p["to"]: p["held"]["reason"] for p in settlement["payments"] if "held" in p}


def test_a_payout_waits_when_exceptions_pass_the_limit(service):
    """Off tariff by 6.00 at brick, by 2.00 and a count off by two cups (5.00) at dock, against a limit of 6.00."""
    admin = service.admin
    load(admin, variance_limit="6.00")
    admin.post_many(
        [
            issue("anchor", 40, D0),
            give_back("brick", 10, D0, amount="31.00"),
            give_back("dock", 10, D0, amount="27.00"),
            event("count", "dock", at(D0, "20:00"), cups=[{"cup_type": "cup-300", "counted": 8}]),
        ]
    )
    assert held(admin.close("tern-bay", D0)) == {"quay": "variance_limit"}


def pay_to(service, account):
    """Once events are posted, another person must agree to a change of the account."""
    body = {"name": "Miller", "bank_account": {"account": account, "bank_code": "77"}}
    answer = service.admin.send("PUT", "/v1/participants/miller", body)
    if answer.status == 202:
        second = service.client(service.create_key(f"second-{answer.json['proposal']}", "accountant"))
        assert second.send("POST", f"/v1/proposals/{answer.json['proposal']}/approve").status == 200


def test_a_payout_to_a_changed_account_waits_until_it_is_released(service):
    admin = service.admin
    load(admin)
    reasons = []
    for n, account in enumerate(["1000-1", "1000-1", "2000-2", "2000-2"]):
        pay_to(service, account)
        admin.post_many([issue("anchor", 4, D0 + n * DAY), give_back("brick", 2, D0 + n * DAY)])
        reasons.append(held(admin.close("tern-bay", D0 + n * DAY)).get("miller"))
    assert reasons == [None, None, "bank_account_changed", "bank_account_changed"]


def test_a_changed_account_is_not_hidden_by_another_reason(service):
    """On the second day both reasons hold. If a payout waits for its account, this close must not make the account
    known."""
    admin = service.admin
    load(admin, variance_limit="5.00")
    reasons = []
    for n, (account, paid) in enumerate(
        [("1000-1", "25.00"), ("2000-2", "31.00"), ("2000-2", "25.00"), ("1000-1", "31.00")]
    ):
        pay_to(service, account)
        admin.post_many([issue("anchor", 40, D0 + n * DAY), give_back("brick", 10, D0 + n * DAY, amount=paid)])
        reasons.append(held(admin.close("tern-bay", D0 + n * DAY)).get("miller"))
    assert reasons == [None, "bank_account_changed", "bank_account_changed", "variance_limit"]


def test_reference_data_may_change_while_a_day_is_closed(service):
    """The race: a close has begun with its snapshot of the network, and waits for another's lock. Meanwhile the
    network grows. The close must begin again with a new snapshot, and must not write from the old snapshot."""
    admin, late = service.admin, {f"late-{n}": ("tern-bay", f"newcomer-{n}") for n in range(50)}
    load(admin)
    admin.post(issue("anchor", 2, D0))
    connection = psycopg2.connect(service.database.owner_dsn)
    with connection, connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext('depositd close'), 1)")
        settlements = []
        closing = threading.Thread(
            target=lambda: settlements.append(service.client(service.admin_key).close("tern-bay", D0))
        )
        closing.start()
        wait_until(lambda: state(admin, D0) == "closing", "the day is closing")
        grown = network.reference([], {**SITES, **late})
        admin.load({"participants": grown["participants"], "sites": grown["sites"]})
    closing.join()
    connection.close()
    assert payments(settlements[0]) == {("hearth", "pool"): "5.00"} and len(settlements[0]["positions"]) == 53
    admin.assert_holds()
