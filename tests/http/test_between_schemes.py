# SPDX-License-Identifier: ISC
"""Cups that come back in another scheme than the one whose deposit they carry. The figures below were worked out by
hand from the contract's section "Between two schemes"; there is no published source for a network's bookkeeping.
Rounding half to even is that of IEEE 754, section 4.3.1."""
from datetime import timedelta

import pytest

from between import HOME, HOST, agree, at_host, behind, followed, two_schemes
from harness import Service, new_service, wait_until
from network import at, business_day, cups, event
from test_cups import TYPES, named


def home(*lines, scheme=HOME, **sound):
    return [{**line, "home": scheme} for line in cups(*lines, **sound)]


PAIR = f"between_schemes({HOME},{HOST})"
# Agreed in the host's currency: 4 x 1.70 = 6.80 EUR; at 1.4625 CAD for one EUR that is 9.9450 CAD, half to even 9.94.
# Agreed in the home's: 4 x 2.40 = 9.60 CAD; at 0.685 EUR for one CAD that is 6.576 EUR, so 6.58.
AGREED = {
    "host": {"rate": "1.4625", "w": 170, "exact": "6.80", "currency": "EUR", "at_host": "6.80", "at_home": "9.94"},
    "home": {"rate": "0.685", "w": 240, "exact": "9.60", "currency": "CAD", "at_host": "6.58", "at_home": "9.60"},
}
# The host's counter pays 5 x 1.80 = 9.00 for four visiting cups and one of its own. The agreed amount and the deposit
# of 1.80 on its own cup stand against that. The rest is variance.
HOST_VARIANCE = {"host": "0.40", "home": "0.62"}
# At home the deposits on four cups, 10.00, end. Less the debt to the host, the rest is variance (a gain is below 0).
HOME_VARIANCE = {"host": "-0.06", "home": "-0.40"}


def posted(service, of, stock_terms, day, groups=(1, 1)):
    document = two_schemes(day, stock_terms, stock_terms)
    for scheme, group in zip(document["schemes"], groups):
        scheme["group"] = group
    service.admin.load(document)
    agreed = AGREED[of]
    agree(service, day, {"cup-300": agreed["w"]}, of=of, rate=agreed["rate"])
    for site, clock in (("anchor", at), ("ferry", at_host)):
        service.admin.post(event("supply", site, clock(day, "04:00"), cups=cups(cup_300=50)))
        service.admin.post(event("issue", site, clock(day, "04:10"), issued=cups(cup_300=10)))
    back = event(
        "return",
        "ferry",
        at_host(day, "05:00"),
        returned=home(("cup-300", 1), cup_300=3) + cups(cup_300=1),
        amount="9.00",
    )
    return back, service.admin.post(back)


@pytest.fixture
def day():
    """The business day before today's: all of it is past."""
    return business_day() - timedelta(days=1)


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
@pytest.mark.parametrize("of", ["host", "home"])
def test_worked_example(service, day, of, stock_terms):
    admin, agreed = service.admin, AGREED[of]
    back, answer = posted(service, of, stock_terms, day)
    assert answer["status"] == "recorded" and answer["exceptions"] == [], answer
    followed(service)

    # On deposit the site has placed 1.80 for each cup it has: 50 supplied, 10 issued, 5 back.
    clearing = {"on_loan": "9.00", "on_deposit": "90.00"}[stock_terms]
    host = admin.accounts(HOST)
    assert {
        a: host.get(a) for a in (f"visiting({HOME},cup-300)", "site_stock(ferry,cup-300)", "damaged(ferry,cup-300)")
    } == {
        f"visiting({HOME},cup-300)": -4,
        "site_stock(ferry,cup-300)": 44,
        "damaged(ferry,cup-300)": 1,
    }
    assert host["with_customers(cup-300)"] == 9 and host["customer_deposits(cup-300)"] == "-16.20"
    assert host[PAIR] == agreed["at_host"] and host["refund_variance"] == HOST_VARIANCE[of]
    assert host["site_clearing(ferry)"] == clearing
    assert host.get("stock_deposits(ferry,cup-300)") == {"on_loan": None, "on_deposit": "-81.00"}[stock_terms]

    at_home = admin.accounts(HOME)
    assert at_home["with_customers(cup-300)"] == 6 and at_home["customer_deposits(cup-300)"] == "-15.00"
    assert at_home[f"abroad({HOST},cup-300)"] == 4 and at_home[PAIR] == "-" + agreed["at_home"]
    assert at_home["refund_variance"] == HOME_VARIANCE[of]

    entry = admin.get(f"/v1/events/{back['event_id']}")
    said = {
        "amount": agreed["exact"],
        "currency": agreed["currency"],
        "currency_of": of,
        "home": HOME,
        "host": HOST,
        "rate": agreed["rate"],
    }
    assert entry["agreed"] == [said] and "follows" not in entry
    [follower] = [e for e in admin.feed(HOME) if e["kind"] == "return_abroad"]
    assert follower["agreed"] == [said] and follower["business_date"] == str(day) and not follower["late"]
    assert "event" not in follower
    assert follower["follows"]["scheme"] == HOST and follower["follows"]["event_id"] == back["event_id"]
    assert follower["follows"]["entry"] == answer["entry"]
    assert service.database.rows(
        "SELECT encode(hash, 'hex') FROM entry e JOIN scheme s ON s.id = e.scheme WHERE s.code = %s AND entry = %s",
        HOST,
        answer["entry"],
    ) == [(follower["follows"]["hash"],)]
    admin.assert_holds()


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_a_reversal_takes_back_both_entries(service, day, stock_terms):
    admin = service.admin
    back, _ = posted(service, "host", stock_terms, day)
    followed(service)
    admin.post(event("reversal", "ferry", at_host(day, "06:00"), reverses=back["event_id"]))
    followed(service)
    host, at_home = admin.accounts(HOST), admin.accounts(HOME)
    assert host.get(PAIR, "0.00") == "0.00" and host[f"visiting({HOME},cup-300)"] == 0
    assert at_home.get(PAIR, "0.00") == "0.00" and at_home[f"abroad({HOST},cup-300)"] == 0
    assert at_home["with_customers(cup-300)"] == 10 and at_home["customer_deposits(cup-300)"] == "-25.00"
    assert host["with_customers(cup-300)"] == 10
    assert [e["kind"] for e in admin.feed(HOME)][-2:] == ["return_abroad", "reversal_abroad"]
    assert admin.feed(HOME)[-1]["agreed"][0]["amount"] == "-6.80"
    admin.assert_holds()


def test_the_handling_fee_is_as_in_any_return_and_the_home_has_none(service, day):
    posted(service, "host", "on_loan", day)
    followed(service)
    settled = service.admin.close(HOST, day)
    [ferry] = [s for p in settled["positions"] for s in p["sites"] if s["site"] == "ferry"]
    # Five cups came back: 5 x 0.04 = 0.20, and 15 % of it 0.03.
    assert (ferry["fees"], ferry["tax"]) == ("-0.20", "-0.03")
    settled = service.admin.close(HOME, day)
    assert all((s["fees"], s["tax"]) == ("0.00", "0.00") for p in settled["positions"] for s in p["sites"])
    service.admin.assert_holds()


def test_a_return_follows_into_the_home_s_earliest_open_day(service, day):
    service.admin.load(two_schemes(day))
    agree(service, day, {"cup-300": 170}, rate="1.5")
    service.admin.post(event("supply", "anchor", at(day, "04:00"), cups=cups(cup_300=50)))
    service.admin.close(HOME, day)
    service.admin.post(event("return", "ferry", at_host(day, "05:00"), returned=home(cup_300=2)))
    followed(service)
    follower = service.admin.feed(HOME)[-1]
    assert follower["kind"] == "return_abroad" and follower["business_date"] > str(day) and not follower["late"]
    assert follower["legs"][0] == {"account": "with_customers(cup-300)", "cups": -2}
    found = service.database.rows(
        "SELECT kind, quantity FROM exception x JOIN scheme s ON s.id = x.scheme WHERE code = %s", HOME
    )
    assert found == [("over_returned", -2)]
    service.admin.assert_holds()


def test_the_site_s_own_scheme_as_home_is_the_same_as_none(service, day):
    admin = service.admin
    posted(service, "host", "on_loan", day)
    own = event("return", "ferry", at_host(day, "06:00"), returned=home(cup_300=1, scheme=HOST))
    assert admin.post(own)["status"] == "recorded"
    assert "home" not in admin.get(f"/v1/events/{own['event_id']}")["event"]["returned"][0]
    plain = {**own, "returned": cups(cup_300=1)}
    assert admin.post(plain)["status"] == "duplicate" and admin.post(own)["status"] == "duplicate"
    twice = event("return", "ferry", at_host(day, "06:00"), returned=home(cup_300=1, scheme=HOST) + cups(cup_300=2))
    admin.refused("POST", "/v1/events", twice, 422, "cup_type_repeated")


def test_refusals(service, day):
    """Nothing is recorded of a return that its home could not follow."""
    admin = service.admin
    posted(service, "host", "on_loan", day)
    for returned in (home(cup_450=1), home(cup_300=1, scheme="no-such-place")):
        sent = event("return", "ferry", at_host(day, "06:00"), returned=returned)
        admin.refused("POST", "/v1/events", sent, 422, "not_agreed")
    back = event("return", "anchor", at(day, "06:00"), returned=home(cup_300=1, scheme=HOST))
    admin.refused("POST", "/v1/events", back, 422, "not_agreed")  # each direction stands alone
    followed(service)


def test_an_exchange_joins_a_return_of_visiting_cups_with_an_issue(service, day):
    admin = service.admin
    posted(service, "host", "on_loan", day)
    swap = event(
        "exchange", "ferry", at_host(day, "06:00"), returned=home(cup_300=2), issued=cups(cup_450=1), amount="-1.20"
    )
    assert admin.post(swap)["exceptions"] == [{"exception": "negative_stock", "cup_type": "cup-450", "quantity": -1}]
    followed(service)
    host = admin.accounts(HOST)
    # 2 x 1.70 more are owed; 2.40 more are held; 1.20 was paid out: 3.40 - 2.40 - 1.20 = -0.20, so variance +0.20.
    assert host[PAIR] == "10.20" and host["customer_deposits(cup-450)"] == "-2.40"
    assert host["refund_variance"] == "0.60" and host["with_customers(cup-450)"] == 1
    assert admin.accounts(HOME)[f"abroad({HOST},cup-300)"] == 6
    admin.assert_holds()


def test_each_is_followed_once_by_several_instances_and_after_a_kill(database, day):
    """Two instances run, each with a clock. One of them is killed again and again while returns come in. The two
    schemes are of different groups, so each has a writer of its own. Tern-bay trades meanwhile."""
    service, other = new_service(database), None
    admin = service.admin
    try:
        posted(service, "host", "on_loan", day, (1, 2))
        for round_ in range(4):
            other = Service(database).start()
            sent = [
                event("return", "light", at_host(day, f"06:{round_:02}"), returned=home(cup_300=1)) for _ in range(25)
            ]
            sent += [event("issue", "anchor", at(day, f"07:{round_:02}"), issued=cups(cup_300=1)) for _ in range(5)]
            answers = admin.post_many(sent)
            assert all(a["status"] == "recorded" for a in answers)
            other.kill()
        followed(service)
        rows = database.rows(
            """SELECT array_agg(a.entry ORDER BY a.entry) = array_agg(f.host_entry ORDER BY f.entry), count(*),
                      count(f.entry)
                 FROM agreed_amount a
                 LEFT JOIN followed_entry f ON (f.scheme, f.host, f.host_entry) = (a.home, a.host, a.entry)
                WHERE a.scheme = a.host"""
        )
        assert rows == [(True, 101, 101)] and behind(database) == 0
        assert admin.accounts(HOME)[f"abroad({HOST},cup-300)"] == 104
        admin.assert_holds()
    finally:
        if other is not None and other.process is not None:
            other.kill()
        service.stop()


def found_of_cups(database):
    """The open exceptions of cups with identity, once all entries were looked at: (kind, scheme, other scheme)."""
    behind_cups = """SELECT FROM scheme_head h LEFT JOIN sighting_place p USING (scheme)
                      WHERE h.last_entry > coalesce(p.entry, 0)"""
    wait_until(lambda: not database.rows(behind_cups), "all entries were looked at")
    return sorted(
        database.rows(
            """SELECT f.kind, s.code, o.code FROM cup_finding f JOIN scheme s ON s.id = f.scheme
                 LEFT JOIN scheme o ON o.id = f.other_scheme WHERE NOT f.ended AND f.kind <> 'gap'"""
        )
    )


def test_cups_with_identity_tell_their_home(service, day):
    """A cup that tern-bay issued comes back at petrel-island: with tern-bay as its home nothing comes to light.
    Without, its home differs. petrel-island then issues it, though it visits."""
    admin, database = service.admin, service.database
    document = two_schemes(day)
    document["cup_types"] = TYPES
    admin.load(document)
    agree(service, day, {"cup-300": 170}, rate="1.4625")
    admin.post(event("supply", "anchor", at(day, "04:00"), cups=named("A1", "A2", "A3", quantity=50)))
    admin.post(event("issue", "anchor", at(day, "04:10"), issued=named("A1", "A2")))
    back = event("return", "ferry", at_host(day, "06:00"), returned=named("A1", home=HOME))
    admin.post(back)
    assert found_of_cups(database) == []
    kept = database.rows("SELECT h.code FROM sighting s JOIN scheme h ON h.id = s.home")
    assert kept == [(HOME,)]
    unsaid = event("return", "ferry", at_host(day, "06:10"), returned=named("A2"))
    admin.post(unsaid)
    assert found_of_cups(database) == [("home_differs", HOST, HOME)]
    admin.post(event("issue", "ferry", at_host(day, "06:20"), issued=named("A1")))
    assert found_of_cups(database) == [("home_differs", HOST, HOME), ("visitor_issued", HOST, HOST)]
    # A later entry may explain them: the wrong return is reversed.
    admin.post(event("reversal", "ferry", at_host(day, "06:30"), reverses=unsaid["event_id"]))
    assert found_of_cups(database) == [("visitor_issued", HOST, HOST)]
    followed(service)
    admin.assert_holds()


def test_an_opening_that_waits_for_a_second_person_delays_the_home(service, day):
    admin, database = service.admin, service.database
    second = service.client(service.create_key("second", "accountant"))
    admin.load(two_schemes(day))
    agree(service, day, {"cup-300": 170}, rate="1.4625")
    places = [{"place": "with_customers", "cup_type": "cup-300", "quantity": 10}]
    opening = event("opening", None, at(day, "04:00"), scheme=HOME, places=places, bank="25.00")
    assert admin.send("POST", "/v1/events", opening).status == 202
    admin.post(event("return", "ferry", at_host(day, "06:00"), returned=home(cup_300=2)))
    assert found_of_cups(database) == [] and behind(database) == 1 and admin.feed(HOME) == []
    assert second.send("POST", f"/v1/openings/{opening['event_id']}/approve").status == 200
    followed(service)
    assert [e["kind"] for e in admin.feed(HOME)] == ["opening", "return_abroad"]
    assert admin.accounts(HOME)["with_customers(cup-300)"] == 8
    admin.assert_holds()
