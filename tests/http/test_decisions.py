# SPDX-License-Identifier: ISC
"""Edge cases of the accounting contract's "Decisions that go with the table": shipments that go wrong, sites that have
closed, forfeited cups that came back, small positions that wait. The expected figures follow from the contract by
hand."""
from datetime import timedelta

import pytest

import network
from network import WORKED_DAY, WORKED_SITES, at, cups, event

D0, D1 = WORKED_DAY, WORKED_DAY + timedelta(days=1)


def load(service, terms=({},), more_values=(), sites=(), **more):
    scheme = network.scheme("tern-bay", D0, {"cup-300": "2.50"}, terms=list(terms), more_values=more_values, **more)
    service.admin.load(
        network.reference([scheme], {**{s: ("tern-bay", p) for s, p in WORKED_SITES.items()}, **dict(sites)})
    )
    return service.admin


def shortages(client, state):
    """(entry, quantity) of the cups that dispatches are short of."""
    rows = client.items("/v1/reports/exceptions", scheme="tern-bay", state=state, **{"from": D0, "to": D1})
    return [(r["entry"], r["quantity"]) for r in rows if r["kind"] == "receipt_short"]


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_a_receipt_that_is_reversed_leaves_its_dispatch_short_again(service, stock_terms):
    """10 cups in three parts. The part that completes the dispatch is reversed: the missing cups are an open exception
    again."""
    admin = load(service, stock_terms=stock_terms)
    sent = event("dispatch", "anchor", at(D0), cups=cups(cup_300=10), to="dock")
    admin.post(sent)

    def part(n):
        return admin.post(event("receipt", "dock", at(D0, "12:00"), cups=cups(cup_300=n), dispatch=sent["event_id"]))

    def undo(answer):
        return admin.post(event("reversal", "dock", at(D0, "13:00"), reverses=answer["event_id"]))

    first, second = part(5), part(3)
    assert shortages(admin, "open") == [(second["entry"], 2)]
    third = part(2)
    assert third["exceptions"] == [] and shortages(admin, "open") == []
    undone = undo(third)
    assert undone["exceptions"] == [{"exception": "receipt_short", "cup_type": "cup-300", "quantity": 2}]
    assert shortages(admin, "open") == [(undone["entry"], 2)]
    again = undo(second)  # now 5 are missing, and only one exception says so
    assert shortages(admin, "open") == [(again["entry"], 5)]
    last = part(5)
    assert last["exceptions"] == [] and shortages(admin, "open") == []
    assert sorted(shortages(admin, "resolved")) == sorted(
        [(first["entry"], 5), (second["entry"], 2), (undone["entry"], 2), (again["entry"], 5)]
    )
    assert undo(first)["exceptions"] == [{"exception": "receipt_short", "cup_type": "cup-300", "quantity": 5}]
    assert undo(last)["exceptions"] == []  # none of it has arrived: it is on the road
    assert part(10)["exceptions"] == [] and shortages(admin, "open") == []
    admin.assert_holds()


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_a_loss_that_is_reversed_leaves_its_dispatch_short_again(service, stock_terms):
    admin = load(service, stock_terms=stock_terms)
    sent = event("dispatch", "anchor", at(D0), cups=cups(("cup-300", 2), cup_300=6), to="dock")
    admin.post_many([sent, event("receipt", "dock", at(D0, "12:00"), cups=cups(cup_300=6), dispatch=sent["event_id"])])
    lost = admin.post(
        event(
            "transit_loss",
            "anchor",
            at(D0, "13:00"),
            cups=cups(("cup-300", 2)),
            dispatch=sent["event_id"],
            bearer="sender",
        )
    )
    assert shortages(admin, "open") == []
    undone = admin.post(event("reversal", "anchor", at(D0, "14:00"), reverses=lost["event_id"]))
    assert undone["exceptions"] == [{"exception": "receipt_short", "cup_type": "cup-300", "quantity": 2}]
    assert shortages(admin, "open") == [(undone["entry"], 2)]


def test_a_dispatch_is_reversed_while_nothing_of_it_has_arrived(service):
    """A receipt that comes anyway is a fact: it is recorded, as more than was on the road."""
    admin = load(service)
    sent = event("dispatch", "anchor", at(D0), cups=cups(cup_300=4), to="dock")
    got = event("receipt", "dock", at(D0, "12:00"), cups=cups(cup_300=4), dispatch=sent["event_id"])

    def undo(e):
        return event("reversal", e["site"], at(D0, "13:00"), reverses=e["event_id"])

    admin.post_many([sent, got])
    admin.refused("POST", "/v1/events", undo(sent), 422, "dispatch_arrived")
    taken_back = undo(got)
    admin.post(taken_back)
    assert admin.post(undo(sent))["exceptions"] == []
    admin.refused("POST", "/v1/events", undo(sent), 422, "already_reversed")
    admin.refused("POST", "/v1/events", undo(taken_back), 422, "reversal_of_reversal")
    late = admin.post(event("receipt", "dock", at(D0, "15:00"), cups=cups(cup_300=4), dispatch=sent["event_id"]))
    assert late["exceptions"] == [{"exception": "receipt_over", "cup_type": "cup-300", "quantity": 4}]
    admin.assert_holds()


def test_a_site_that_has_closed_still_has_facts(service):
    """An event after a site's last day is recorded and listed. The site's last day is a day like any other."""
    admin = load(service, sites={"brick": ("tern-bay", "miller", {"closed_on": str(D0)})})
    assert admin.post(event("return", "brick", at(D0), returned=cups(cup_300=1)))["exceptions"] == [
        {"exception": "over_returned", "cup_type": "cup-300", "quantity": -1}
    ]
    after = admin.post(event("issue", "brick", at(D1), issued=cups(cup_300=1)))
    assert after["status"] == "recorded" and {"exception": "site_closed"} in after["exceptions"]


def test_a_forfeit_whose_cups_were_reinstated_stands(service):
    """Only cups that were forfeited and not yet reinstated can be reinstated. The same bound holds for reversing a
    forfeit."""
    admin = load(service)
    admin.post(event("issue", "anchor", at(D0), issued=cups(cup_300=10)))

    def word(kind, n):
        return event(kind, None, at(D0, "12:00"), scheme="tern-bay", cups=cups(cup_300=n))

    def undo(e):
        return event("reversal", None, at(D0, "13:00"), scheme="tern-bay", reverses=e["event_id"])

    first, second, back = word("forfeit", 3), word("forfeit", 2), word("reinstate", 4)
    admin.refused("POST", "/v1/events", word("forfeit", 11), 422, "more_than_out")
    admin.post_many([first, second, back])
    admin.refused("POST", "/v1/events", word("reinstate", 2), 422, "more_than_forfeited")
    for forfeit in (first, second):
        admin.refused("POST", "/v1/events", undo(forfeit), 422, "more_than_forfeited")
    admin.post(undo(back))
    admin.post(undo(first))
    admin.refused("POST", "/v1/events", word("reinstate", 3), 422, "more_than_forfeited")
    admin.post(word("reinstate", 2))
    accounts = admin.accounts("tern-bay")
    assert (accounts["with_customers(cup-300)"], accounts["unaccounted(cup-300)"], accounts["forfeits"]) == (
        10,
        0,
        "0.00",
    )


def carried(settlement):
    return {c["participant"]: c["amount"] for c in settlement["carried_forward"]}


def test_a_change_of_sign_does_not_restart_carrying_but_zero_does(service):
    """carry_days counts from the first day on which a position was carried for its size."""
    admin = load(service, terms=[{"minimum_payment": "20.00"}], carry_days=3)

    def issue(n, day):
        return admin.post(event("issue", "brick", at(day), issued=cups(cup_300=n)))

    def back(n, day):
        return admin.post(event("return", "brick", at(day), returned=cups(cup_300=n)))

    days = [D0 + timedelta(days=n) for n in range(9)]
    issue(2, days[0])
    assert carried(admin.close("tern-bay", days[0])) == {"miller": "5.00"}
    back(4, days[1])
    assert carried(admin.close("tern-bay", days[1])) == {"miller": "-5.00"}
    assert carried(admin.close("tern-bay", days[2])) == {"miller": "-5.00"}
    third = admin.close("tern-bay", days[3])  # three days after the first
    assert carried(third) == {} and third["payments"][0]["amount"] == "5.00"
    issue(2, days[4])
    assert carried(admin.close("tern-bay", days[4])) == {"miller": "5.00"}
    back(2, days[5])
    assert carried(admin.close("tern-bay", days[5])) == {}  # zero: settled, and over
    issue(1, days[6])
    assert [carried(admin.close("tern-bay", d)) for d in days[6:9]] == [{"miller": "2.50"}] * 3
    admin.assert_holds()


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_remeasurement_is_of_the_balances_through_the_day_before(service, stock_terms):
    """An issue of the next day that is posted before this day closes already has its new value, so it is not
    remeasured."""
    admin = load(service, stock_terms=stock_terms, more_values=[("cup-300", D1, "4.00")])
    admin.post_many(
        [
            event("supply", "anchor", at(D0), cups=cups(cup_300=30)),
            event("issue", "anchor", at(D0, "11:00"), issued=cups(cup_300=6)),
            event("issue", "anchor", at(D1, "09:00"), issued=cups(cup_300=5)),
        ]
    )
    admin.close("tern-bay", D0)
    accounts = admin.accounts("tern-bay")
    assert accounts["customer_deposits(cup-300)"] == "-44.00" and accounts["with_customers(cup-300)"] == 11
    [remeasured] = [
        e
        for e in admin.feed("tern-bay")
        if e["kind"] == "remeasurement" and "customer_deposits(cup-300)" in {leg["account"] for leg in e["legs"]}
    ]
    # 6 at 1.50
    assert {leg["account"]: leg["amount"] for leg in remeasured["legs"]}["customer_deposits(cup-300)"] == "-9.00"
    admin.assert_holds()
