# SPDX-License-Identifier: ISC
"""The last day of a participant and of a scheme: each open thing leads to its end, and nothing is ever deleted. The
expected figures follow from the accounting contract by hand."""
from datetime import date, timedelta

import pytest

import network
from model import DAY
from network import at, business_day, cups, event
from test_payments import Office, do

FIRST = date.today() - timedelta(days=9)
SITES = {"anchor": "hearth", "brick": "miller", "hub": "quay"}


def load(client, closed=(), terms=({},), stock_terms="on_loan", **more):
    """`closed` {site: last day}"""
    client.load(
        network.reference(
            [network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}, terms=terms, stock_terms=stock_terms, **more)],
            {
                s: (
                    "tern-bay",
                    p,
                    {"kind": "hub" if s == "hub" else "cafe", **({"closed_on": str(closed[s])} if s in closed else {})},
                )
                for s, p in SITES.items()
            },
        )
    )
    return client


def still_open(client, participant=None):
    query = {"participant": participant} if participant else {}
    return client.items("/v1/reports/winding-up", scheme="tern-bay", **query)


def kinds(rows):
    return [r["what"] for r in rows]


def test_a_participant_leaves_with_nothing_open(service):
    """miller has its last day. Two cups are missing, one is broken, a payment is due, and a key is in force. Each is a
    row, which is gone when the thing is done."""
    office = Office(service)
    admin, first = office.admin, office.first_day
    site = {"closed_on": str(first)}
    admin.load(
        network.reference(
            [
                network.scheme(
                    "tern-bay",
                    first,
                    {"cup-300": "2.50"},
                    terms=[{"minimum_payment": "50.00", "shortage_terms": "charge"}],
                )
            ],
            {"brick": ("tern-bay", "miller", site), "hub": ("tern-bay", "quay", {"kind": "hub"})},
        )
    )
    till = service.create_key("brick-till", "pos", sites=["brick"])
    sent = event("dispatch", "brick", at(first, "12:00"), cups=cups(("cup-300", 1), cup_300=4), to="hub")
    admin.post_many(
        [
            event("supply", "brick", at(first, "06:00"), cups=cups(cup_300=10)),
            event("damage", "brick", at(first, "08:00"), cups=cups(cup_300=1)),
            event("issue", "brick", at(first, "09:00"), issued=cups(cup_300=3)),
            sent,
        ]
    )
    rows = still_open(admin, "miller")
    assert kinds(rows) == [
        "site_open",
        "cups_at_site",
        "on_the_road",
        "on_the_road",
        "not_settled",
        "key_in_force",
        "day_open",
    ]
    assert {r["last_day"] for r in rows} == {None, str(first)} and all(r["next_step"] for r in rows)
    stock = next(r for r in rows if r["what"] == "cups_at_site")
    assert (stock["site"], stock["cup_type"], stock["cups"], stock["account"]) == (
        "brick",
        "cup-300",
        2,
        "site_stock(brick,cup-300)",
    )
    assert [r["name"] for r in rows if r["what"] == "key_in_force"] == ["brick-till"]
    admin.post_many(
        [
            event(
                "receipt", "hub", at(first, "14:00"), cups=cups(("cup-300", 1), cup_300=4), dispatch=sent["event_id"]
            ),
            event("count", "brick", at(first, "20:00"), cups=[{"cup_type": "cup-300", "counted": 0}]),
        ]
    )
    assert admin.send("DELETE", "/v1/keys/brick-till").status == 204
    assert service.client(till).send("GET", "/v1/me").status == 401
    exceptions = [r for r in still_open(admin, "miller") if r["what"] == "exception_open"]
    assert [(r["name"], r["entry"] > 0, r["cups"]) for r in exceptions] == [("count_off", True, -2)]
    settlement = office.close().settlement
    [payment] = settlement["payments"]  # 7.50 collected and 5.00 charged: small, but miller has no open site
    assert (payment["from"], payment["to"], payment["amount"]) == ("miller", "pool", "12.50")
    rows = still_open(admin, "miller")
    assert kinds(rows) == ["payment_open", "exception_open"] and rows[0]["payment_id"] == payment["payment_id"]
    do(office.ann, payment, "approve")
    do(office.ben, payment, "confirm")
    [open_exception] = [
        r["exception_id"]
        for r in admin.items("/v1/reports/exceptions", scheme="tern-bay", state="open", **{"from": first})
    ]
    assert admin.send("POST", f"/v1/exceptions/{open_exception}/resolve", {"note": "charged"}).status == 200
    assert still_open(admin, "miller") == []
    statement = admin.items(
        "/v1/reports/participant-statement", scheme="tern-bay", participant="miller", **{"from": first}
    )
    assert statement[-1]["closing"] == "0.00"
    assert admin.send("DELETE", "/v1/participants/miller").status == 405
    assert admin.get("/v1/participants/miller")["name"] == "Miller"
    admin.assert_holds()


def test_the_whole_scheme_lists_what_customers_hold(service):
    admin = load(service.admin, closed_on=str(FIRST + 2 * DAY))
    admin.post_many(
        [
            event("supply", "anchor", at(FIRST, "06:00"), cups=cups(cup_300=20)),
            event("issue", "anchor", at(FIRST), issued=cups(cup_300=8)),
        ]
    )
    rows = {r["what"]: r for r in still_open(admin)}
    held = rows["with_customers"]
    assert (held["cups"], held["amount"], held["last_day"]) == (8, "20.00", str(FIRST + 2 * DAY))
    assert held["account"] == "with_customers(cup-300)" and held["participant"] is None
    assert sum(kind == "day_open" for kind in kinds(still_open(admin))) == 3
    forfeit = event("forfeit", None, at(FIRST + DAY), scheme="tern-bay", cups=cups(cup_300=8))
    admin.post(forfeit)
    assert "with_customers" not in kinds(still_open(admin))


def test_a_journal_that_waits_is_open(service):
    admin = load(service.admin, closed_on=str(FIRST + 2 * DAY))
    legs = [{"account": "handling_fees", "amount": "-1.00"}, {"account": "refund_variance", "amount": "1.00"}]
    journal = event("journal", None, at(FIRST), scheme="tern-bay", legs=legs, reason="a fee of too much")
    ann = service.client(service.create_key("ann", "accountant"))
    assert ann.send("POST", "/v1/events", journal).status == 202
    [row] = [r for r in still_open(admin) if r["what"] == "event_proposed"]
    assert row["name"] == journal["event_id"] and "approve" in row["next_step"]
    ann.send("POST", f"/v1/journals/{journal['event_id']}/withdraw", {"reason": "not so"})
    assert "event_proposed" not in kinds(still_open(admin))


ENDED = FIRST + 2 * DAY  # its last day
AFTER = ENDED + DAY


@pytest.fixture
def ended(service):
    """hearth has 8 cups out and sound and damaged cups in its care; a shipment is on the road."""
    admin = load(service.admin, closed_on=str(ENDED), terms=[{"minimum_payment": "50.00", "handling_fee": "0.10"}])
    service.sent = event("dispatch", "anchor", at(ENDED, "12:00"), cups=cups(cup_300=2), to="hub")
    admin.post_many(
        [
            event("supply", "anchor", at(FIRST, "06:00"), cups=cups(cup_300=20)),
            event("issue", "anchor", at(FIRST), issued=cups(cup_300=8)),
            event("damage", "anchor", at(FIRST, "11:00"), cups=cups(cup_300=1)),
            service.sent,
        ]
    )
    service.till = service.client(service.create_key("till", "pos", sites=["anchor", "hub"]))
    return service


def events_after(sent):
    one = cups(cup_300=1)
    return {
        "issue": event("issue", "anchor", at(AFTER), issued=one),
        "exchange": event("exchange", "anchor", at(AFTER), issued=one, returned=one),
        "supply": event("supply", "anchor", at(AFTER), cups=one),
        "dispatch": event("dispatch", "anchor", at(AFTER), cups=one, to="hub"),
        "receipt": event("receipt", "hub", at(AFTER), cups=one, dispatch=sent["event_id"]),
        "transit_loss": event(
            "transit_loss", "anchor", at(AFTER), cups=one, dispatch=sent["event_id"], bearer="operator"
        ),
        "damage": event("damage", "anchor", at(AFTER), cups=one),
        "retire": event("retire", "anchor", at(AFTER), cups=one),
        "count": event("count", "anchor", at(AFTER), cups=[{"cup_type": "cup-300", "counted": 3}]),
        "forfeit": event("forfeit", None, at(AFTER), scheme="tern-bay", cups=one),
        "reinstate": event("reinstate", None, at(AFTER, "12:00"), scheme="tern-bay", cups=one),
    }


def test_an_ended_scheme_takes_returns_and_the_accountants_events(ended):
    admin, till = ended.admin, ended.till
    tills = {"dispatch", "receipt", "damage", "count"}
    for kind, sent in events_after(ended.sent).items():
        if kind in ("issue", "exchange", "supply"):
            admin.refused("POST", "/v1/events", sent, 422, "scheme_ended")
            till.refused("POST", "/v1/events", sent, 422, "scheme_ended")
        else:
            if kind in tills:
                till.refused("POST", "/v1/events", sent, 422, "scheme_ended")
            assert admin.post(sent)["status"] == "recorded", kind
    back = event("return", "anchor", at(AFTER, "15:00"), returned=cups(("cup-300", 1), cup_300=1))
    assert till.post(back)["status"] == "recorded"
    assert till.post(event("reversal", "anchor", at(AFTER, "16:00"), reverses=back["event_id"]))["status"] == "recorded"
    admin.assert_holds()


def test_an_event_before_the_end_is_still_a_fact(ended):
    """A till that was offline posts an issue of the last day after the end."""
    for n in range(3):
        ended.admin.close("tern-bay", FIRST + n * DAY)
    late = event("issue", "anchor", at(ENDED, "26:00"), issued=cups(cup_300=1))
    assert (ended.till.post(late)["business_date"], ended.till.post(late)["status"]) == (str(AFTER), "duplicate")
    ended.till.refused(
        "POST",
        "/v1/events",
        {**late, "event_id": network.event("issue")["event_id"], "occurred_at": at(ENDED, "27:30")},
        422,
        "scheme_ended",
    )


def test_days_go_on_closing_and_small_positions_are_settled(ended):
    """From its last day on no site of the scheme counts as open."""
    admin = ended.admin
    closed = [admin.close("tern-bay", FIRST + n * DAY) for n in range(3)]
    assert [len(s["payments"]) for s in closed] == [0, 0, 1] and closed[2]["payments"][0]["amount"] == "20.00"
    admin.post(event("return", "brick", at(AFTER), returned=cups(cup_300=2)))
    settlement = admin.close("tern-bay", AFTER)
    assert [(p["to"], p["amount"]) for p in settlement["payments"]] == [("miller", "5.20")]
    assert admin.accounts("tern-bay")["customer_deposits(cup-300)"] == "-15.00"
    admin.assert_holds()


def test_the_last_day_of_a_scheme_is_set_in_time(service):
    """Nothing that was recorded may lie after it. It may be put off, or taken away, at any time."""
    admin = load(service.admin)
    path = "/v1/schemes/tern-bay"
    body = {k: v for k, v in admin.get(path).items() if k != "scheme"}
    today = business_day()
    assert admin.put(path, {**body, "closed_on": str(FIRST - DAY)}).status == 200  # nothing is posted yet
    assert admin.put(path, body).status == 200 and "closed_on" not in admin.get(path)
    admin.post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=1)))
    admin.refused("PUT", path, {**body, "closed_on": str(today - DAY)}, 422, "starts_too_soon")
    assert admin.put(path, {**body, "closed_on": str(today + DAY)}).json["closed_on"] == str(today + DAY)
    assert admin.put(path, {**body, "closed_on": str(today + 30 * DAY)}).status == 200
    assert admin.put(path, body).status == 200
    changes = [c["after"].get("closed_on") for c in admin.items("/v1/changes", of="scheme", scheme="tern-bay")]
    assert changes == [None, str(FIRST - DAY), None, str(today + DAY), str(today + 30 * DAY), None]
    admin.refused("PUT", path, {**body, "closed_on": "soon"}, 422, "bad_format")
    admin.assert_holds()


def test_the_report_is_for_the_office(service):
    load(service.admin)
    target = "/v1/reports/winding-up?scheme=tern-bay"
    till = service.client(service.create_key("till", "pos", sites=["anchor"]))
    till.refused("GET", target, None, 403, "role_not_allowed")
    assert service.admin.send("GET", target, headers={"Accept": "text/csv"}).body.startswith(b"what,participant,")
