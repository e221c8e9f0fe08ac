# SPDX-License-Identifier: ISC
"""Payments after the close: approved, confirmed, failed, held and released, under dual control, and by two people at
once. The figures are the accounting contract's worked example and its "more cases". Dual control is common practice;
its rules are the contract's."""
from datetime import timedelta
from decimal import Decimal

import psycopg2
import pytest

import network
from harness import Service, at_once, wait_until
from network import at, business_day, cups, event
from test_schema import execute

D0 = business_day() - timedelta(days=3)
WORKED = {"from hearth": "101.78", "to miller": "56.01", "to quay": "0.41", "left": "45.36"}


class Office:
    """A scheme whose first day has been closed, and the people who work on its payments."""

    def __init__(self, service, **scheme):
        self.service, self.admin = service, service.admin
        self.ann, self.ben, self.closer = (
            service.client(service.create_key(name, "accountant")) for name in ("ann", "ben", "closer")
        )
        self.first_day, self.scheme = D0, scheme

    def load_worked(self, stock_terms="on_loan", **terms):
        document = network.worked_reference(stock_terms, D0, **terms)
        document["schemes"][0].update(self.scheme)
        self.admin.load(document)
        for sent in network.worked_events(D0):
            self.admin.post(sent)
        return self

    def load(self, events, sites=network.WORKED_SITES, **terms):
        self.admin.load(
            network.reference(
                [network.scheme("tern-bay", D0, {"cup-300": "2.50"}, terms=[terms], **self.scheme)],
                {s: ("tern-bay", p) for s, p in sites.items()},
            )
        )
        assert {r["status"] for r in self.admin.post_many(events)} == {"recorded"}
        return self

    def close(self, by=None, day=D0):
        self.settlement = (by or self.closer).close("tern-bay", day)
        return self

    def payment(self, payer, payee, day=D0):
        settlement = self.admin.get(f"/v1/settlements/tern-bay/{day}")
        return next(p for p in settlement["payments"] if (p["from"], p["to"]) == (payer, payee))

    def due(self):
        """The settled and unpaid amount of each participant."""
        return {
            a: v for a, v in self.admin.accounts("tern-bay").items() if a.startswith("settlement_due(") and Decimal(v)
        }

    def arrears(self):
        return {a: v for a, v in self.admin.accounts("tern-bay").items() if a.startswith("arrears(") and Decimal(v)}


def do(client, payment, change, reason=None, **query):
    """Changes the payment, and returns it."""
    path = f"/v1/payments/{payment['payment_id']}/{change}" + ("?dry_run=true" if query.get("dry_run") else "")
    answer = client.send("POST", path, {"reason": reason} if reason else None)
    assert answer.status == 200, answer.body
    return answer.json


def refuse(client, payment, change, reason, body=None):
    client.refused("POST", f"/v1/payments/{payment['payment_id']}/{change}", body, 409, reason)


def approve_all(client, day=D0, **refusal):
    path = f"/v1/settlements/tern-bay/{day}/approve"
    if refusal:
        return client.refused("POST", path, None, 409, refusal["reason"])
    answer = client.send("POST", path)
    assert answer.status == 200, answer.body
    return {(p["from"], p["to"]): p["status"] for p in answer.json["payments"]}


def end_today(service):
    """No test can wait for a cut-off. So a superuser ends the business day that contains now, past the guard that
    keeps its bounds."""
    connection = psycopg2.connect(service.database.owner_dsn)
    with connection, connection.cursor() as cursor:
        cursor.execute(
            """SET session_replication_role = replica;
            DELETE FROM business_day WHERE starts_at > now();
            UPDATE business_day SET ends_at = now() WHERE ends_at > now();
            UPDATE scheme_head SET calendar_version = calendar_version + 1"""
        )
    connection.close()


def close_through_today(office, day=D0 + timedelta(days=1)):
    """The settlement of the day on which payments were changed."""
    end_today(office.service)
    while day <= business_day():
        settlement = office.closer.close("tern-bay", day)
        day += timedelta(days=1)
    return settlement


@pytest.fixture
def office(service):
    return Office(service)


@pytest.mark.parametrize("netting", ["direct", "central"])
def test_the_worked_example_is_paid(office, netting):
    office.load_worked(netting=netting).close()
    sealed = office.settlement["seal"]
    assert office.due() == {
        "settlement_due(hearth)": "101.78",
        "settlement_due(miller)": "-56.01",
        "settlement_due(quay)": "-0.41",
    }
    statuses = approve_all(office.ann)
    assert len(statuses) == 3 and set(statuses.values()) == {"approved"}
    before = len(office.admin.feed("tern-bay"))
    for payment in office.settlement["payments"]:
        done = do(office.ben, payment, "confirm", "on the statement of the 13th")
        assert done["status"] == "confirmed" and [c["change"] for c in done["changes"]] == ["approve", "confirm"]
        assert [c["by"] for c in done["changes"]] == ["ann", "ben"]
        assert done["changes"][1]["note"] == "on the statement of the 13th"
        assert done["changes"][1]["business_date"] == str(business_day()) and "entry" not in done["changes"][0]
        assert do(office.ben, payment, "confirm") == done  # a client that lost the answer sends the request again
        refuse(office.ann, payment, "confirm", "payment_state")
        assert office.ann.get(f"/v1/payments/{payment['payment_id']}") == done
    assert office.due() == {} and office.arrears() == {}
    assert office.admin.accounts("tern-bay")["bank"] == WORKED["left"]
    posted = office.admin.feed("tern-bay")[before:]
    assert [e["kind"] for e in posted] == ["payment_confirmed"] * 3 and not any("event" in e for e in posted)
    assert office.admin.get(f"/v1/settlements/tern-bay/{D0}")["seal"] == sealed
    office.admin.assert_holds()


def test_a_payment_that_fails_is_settled_by_the_next_close(office):
    """More cases: hearth's payment to miller fails, both are in arrears, 56.01 each way."""
    office.load_worked().close()
    approve_all(office.ann)
    payment = office.payment("hearth", "miller")
    office.ann.refused("POST", f"/v1/payments/{payment['payment_id']}/fail", {}, 422, "member_missing")
    assert do(office.ann, payment, "fail", "account closed")["status"] == "failed"
    for other in (("hearth", "quay"), ("hearth", "pool")):
        do(office.ben, office.payment(*other), "confirm")
    assert office.due() == {} and office.arrears() == {"arrears(hearth)": "56.01", "arrears(miller)": "-56.01"}
    for change in ("approve", "confirm", "release"):
        refuse(office.ben, payment, change, "payment_state")  # the state is final
    office.admin.assert_holds()
    again = close_through_today(office)
    assert {p["participant"]: (p["amount"], p["arrears"]) for p in again["positions"]} == {
        "hearth": ("56.01", "56.01"),
        "miller": ("-56.01", "-56.01"),
        "quay": ("0.00", "0.00"),
    }
    assert [(p["from"], p["to"], p["amount"], p["status"]) for p in again["payments"]] == [
        ("hearth", "miller", "56.01", "computed")
    ]
    assert office.arrears() == {}
    assert office.due() == {"settlement_due(hearth)": "56.01", "settlement_due(miller)": "-56.01"}
    assert again["payments"][0]["payment_id"] != payment["payment_id"]
    office.admin.assert_holds()


def test_a_confirmed_payment_may_come_back(office):
    office.load_worked(netting="central").close()
    approve_all(office.ann)
    for payer, payee in (("hearth", "pool"), ("pool", "miller")):
        payment = office.payment(payer, payee)
        do(office.ann, payment, "confirm")
        failed = do(office.ann, payment, "fail", "returned by the bank")
        assert [c["change"] for c in failed["changes"]] == ["approve", "confirm", "fail"]
        mirror, entry = (
            next(e for e in office.admin.feed("tern-bay") if e["entry"] == c["entry"])["legs"]
            for c in failed["changes"][1:]
        )
        assert [(leg["account"], -Decimal(leg["amount"])) for leg in mirror] == [
            (leg["account"], Decimal(leg["amount"])) for leg in entry[:2]
        ]
    assert office.admin.accounts("tern-bay")["bank"] == "0.00"
    assert office.arrears() == {"arrears(hearth)": "101.78", "arrears(miller)": "-56.01"}
    assert office.due() == {"settlement_due(quay)": "-0.41"}
    office.admin.assert_holds()


def test_a_payment_that_nobody_wants_is_failed_at_once(office):
    office.load_worked().close()
    payment = office.payment("hearth", "quay")
    refuse(office.ann, payment, "confirm", "payment_state")  # nobody has approved it
    assert do(office.ann, payment, "fail", "too small")["status"] == "failed"
    assert office.arrears() == {"arrears(hearth)": "0.41", "arrears(quay)": "-0.41"}
    assert approve_all(office.ann) == {
        ("hearth", "miller"): "approved",
        ("hearth", "pool"): "approved",
        ("hearth", "quay"): "failed",
    }
    office.admin.assert_holds()


def test_a_held_payment_waits_for_its_release(service):
    """Off tariff by 6.00 at brick, against a limit of 5.00."""
    office = (
        Office(service, variance_limit="5.00", dual_control=False)
        .load(
            [
                event("issue", "anchor", at(D0), issued=cups(cup_300=40)),
                event("return", "brick", at(D0, "11:00"), returned=cups(cup_300=10), amount="31.00"),
                event("return", "dock", at(D0, "11:00"), returned=cups(cup_300=2)),
            ]
        )
        .close()
    )
    held = office.payment("hearth", "miller")
    assert held["held"] == {"reason": "variance_limit", "released": False}
    refuse(office.ann, held, "approve", "payment_held")
    refuse(office.ann, office.payment("hearth", "quay"), "release", "payment_not_held")
    assert set(approve_all(office.ann).items()) >= {
        (("hearth", "miller"), "computed"),
        (("hearth", "quay"), "approved"),
    }
    waiting = office.ann.items("/v1/payments", scheme="tern-bay", held="true")
    assert [p["payment_id"] for p in waiting] == [held["payment_id"]]
    assert do(office.ann, held, "release", "called brick", dry_run=True)["held"]["released"] is True
    assert office.payment("hearth", "miller")["held"]["released"] is False
    released = do(office.ann, held, "release", "called brick")
    assert released["held"] == {"reason": "variance_limit", "released": True} and released["status"] == "computed"
    assert do(office.ann, held, "release") == released
    refuse(office.ben, held, "release", "payment_state")
    assert office.payment("hearth", "miller")["held"]["released"] is True
    assert office.ann.items("/v1/payments", scheme="tern-bay", held="true") == []
    assert do(office.ann, held, "approve")["status"] == "approved"  # without dual control one person may do both
    office.admin.assert_holds()


def test_a_released_account_is_known_to_the_next_close(service):
    office = Office(service)

    def issues(day):
        return [
            event("issue", "anchor", at(day), issued=cups(cup_300=4)),
            event("return", "brick", at(day, "11:00"), returned=cups(cup_300=2)),
        ]

    def account(number):
        return office.admin.agreed(
            office.ben,
            "PUT",
            "/v1/participants/miller",
            {"name": "Miller", "bank_account": {"account": number, "bank_code": "77"}},
        )

    office.load(issues(D0))
    account("1000-1")
    office.close()
    account("2000-2")
    for n, expected in ((1, "bank_account_changed"), (2, None)):
        day = D0 + timedelta(days=n)
        office.admin.post_many(issues(day))
        office.close(day=day)
        payment = office.payment("hearth", "miller", day)
        assert payment.get("held", {}).get("reason") == expected
        if expected:
            do(office.ann, payment, "release", "letter of the 3rd")


def test_dual_control_where_a_key_closed(service):
    """The key that closed the day cannot alone approve a payment. The person who releases a payment cannot alone
    approve it either."""
    office = (
        Office(service, dual_control=True, variance_limit="5.00")
        .load(
            [
                event("issue", "anchor", at(D0), issued=cups(cup_300=40)),
                event("return", "brick", at(D0, "11:00"), returned=cups(cup_300=10), amount="31.00"),
                event("return", "dock", at(D0, "11:00"), returned=cups(cup_300=2)),
            ]
        )
        .close()
    )
    held, other = office.payment("hearth", "miller"), office.payment("hearth", "quay")
    refuse(office.closer, other, "approve", "approver_closed_day")
    approve_all(office.closer, reason="approver_closed_day")
    assert do(office.ann, other, "approve")["status"] == "approved"
    do(office.ann, held, "release", "called brick")
    refuse(office.ann, held, "approve", "second_key_needed")
    assert do(office.ben, held, "approve")["status"] == "approved"
    assert do(office.closer, other, "confirm")["status"] == "confirmed"
    office.admin.assert_holds()


def test_the_rule_at_the_cut_is_that_of_the_day(database, service):
    """If dual control is switched off after the cut, it still holds for the day. If it is switched on, it does not
    hold yet."""
    second_day = D0 + timedelta(days=1)
    office = Office(service, dual_control=True).load_worked().close()
    service.admin.post(event("issue", "anchor", at(second_day), issued=cups(cup_300=4)))
    turn = "UPDATE scheme SET dual_control = {}; UPDATE network_head SET reference_version = reference_version + 1"
    database.run(turn.format("false"))
    refuse(office.closer, office.payment("hearth", "miller"), "approve", "approver_closed_day")
    office.close(day=second_day)
    database.run(turn.format("true"))
    assert approve_all(office.closer, second_day) == {("hearth", "pool"): "approved"}
    refuse(office.closer, office.payment("hearth", "quay"), "approve", "approver_closed_day")
    with pytest.raises(psycopg2.errors.IntegrityConstraintViolation, match="cut"):
        execute(
            database.owner_dsn,
            "ALTER TABLE business_day DISABLE TRIGGER business_day_guard",
            "UPDATE business_day SET dual_control = NOT dual_control WHERE dual_control IS NOT NULL",
        )


def test_dual_control_where_the_service_closed(database, service):
    office = Office(service, dual_control=True, close_after_minutes=0).load_worked()
    clock = Service(database, close_by_clock="yes").start()
    try:
        wait_until(lambda: office.admin.send("GET", f"/v1/settlements/tern-bay/{D0}").status == 200, "the clock closes")
    finally:
        clock.stop()
    first, second, third = (office.payment("hearth", to) for to in ("miller", "quay", "pool"))
    waiting = do(office.ann, first, "approve")
    assert (waiting["status"], waiting["approvals"]) == ("computed", 1)
    refuse(office.ann, first, "approve", "second_key_needed")
    refuse(office.ann, first, "confirm", "payment_state")
    assert set(approve_all(office.ann).values()) == {"computed"}
    approve_all(office.ann, reason="second_key_needed")  # now each payment waits for another person
    assert do(office.closer, second, "approve")["status"] == "approved"
    assert approve_all(office.ben) == dict.fromkeys((("hearth", p) for p in ("miller", "pool", "quay")), "approved")
    assert [c["by"] for c in office.ann.get(f"/v1/payments/{third['payment_id']}")["changes"]] == ["ann", "ben"]
    assert do(office.ann, first, "approve")["status"] == "approved"  # a repeated approval is no fault
    office.admin.assert_holds()


def test_two_change_the_same_payment_at_once(database, service):
    """The race: two people, at two instances, while tills post. The head row puts them in order. The first does it,
    and the second is told."""
    office = (
        Office(service, dual_control=False)
        .load(
            [event("issue", "anchor", at(D0), issued=cups(cup_300=40))]
            + [event("return", site, at(D0, "11:00"), returned=cups(cup_300=1)) for site in ("brick", "dock")]
        )
        .close()
    )
    second = Service(database).start()
    try:
        ann, ben = office.ann, second.client(office.ben.key)
        for change in ("approve", "confirm", "fail"):
            for payment in office.settlement["payments"]:
                path, body = f"/v1/payments/{payment['payment_id']}/{change}", {"reason": "a race"}
                answers = at_once(
                    lambda p=path, b=body: ann.send("POST", p, b),
                    lambda p=path, b=body: ben.send("POST", p, b),
                    lambda: office.admin.post_many(
                        [event("issue", "anchor", at(D0 + timedelta(days=2)), issued=cups(cup_300=1)) for _ in range(5)]
                    ),
                )[:2]
                assert sorted(a.status for a in answers) == [200, 409]
                assert [a.reasons[0] for a in answers if a.status == 409] == ["payment_state"]
                assert [c["change"] for c in office.ann.get(path.rpartition("/")[0])["changes"]].count(change) == 1
    finally:
        second.stop()
    kinds = [e["kind"] for e in office.admin.feed("tern-bay")]
    assert kinds.count("payment_confirmed") == kinds.count("payment_failed") == len(office.settlement["payments"])
    office.admin.assert_holds()


def test_a_dry_run_changes_nothing(office):
    office.load_worked().close()
    before = office.admin.accounts("tern-bay"), office.admin.feed("tern-bay")
    answer = office.ann.send("POST", f"/v1/settlements/tern-bay/{D0}/approve?dry_run=true")
    assert answer.json["dry_run"] is True and {p["status"] for p in answer.json["payments"]} == {"approved"}
    assert {p["status"] for p in office.admin.get(f"/v1/settlements/tern-bay/{D0}")["payments"]} == {"computed"}
    approve_all(office.ann)
    payment = office.payment("hearth", "miller")
    for change in ("confirm", "fail"):
        done = do(office.ann, payment, change, "perhaps", dry_run=True)
        assert done["dry_run"] is True and done["status"] == {"confirm": "confirmed", "fail": "failed"}[change]
    assert office.payment("hearth", "miller")["status"] == "approved"
    assert (office.admin.accounts("tern-bay"), office.admin.feed("tern-bay")) == before


def test_lists_of_payments(office):
    office.load_worked().close()
    approve_all(office.ann)
    do(office.ann, office.payment("hearth", "quay"), "confirm")
    everything = office.ann.items("/v1/payments", scheme="tern-bay", limit=1)
    assert {(p["from"], p["to"]): (p["amount"], p["status"], p["currency"], p["date"]) for p in everything} == {
        ("hearth", "miller"): ("56.01", "approved", "CAD", str(D0)),
        ("hearth", "quay"): ("0.41", "confirmed", "CAD", str(D0)),
        ("hearth", "pool"): ("45.36", "approved", "CAD", str(D0)),
    }

    def parties(**query):
        return {p["to"] for p in office.ann.items("/v1/payments", scheme="tern-bay", **query)}

    assert parties(status="confirmed") == {"quay"} and parties(status="approved") == {"miller", "pool"}
    assert parties(participant="miller") == {"miller"} and parties(held="true") == set()
    assert len(parties(held="false")) == 3
    assert len(parties(**{"from": D0, "to": D0})) == 3 and parties(to=D0 - timedelta(days=1)) == set()
    page = office.ann.send("GET", "/v1/payments?scheme=tern-bay&status=approved&limit=1")
    assert "status=approved" in page.headers["Link"]
    for query in (
        "status=paid",
        "held=maybe",
        "from=yesterday",
        "cursor=abc",
        "cursor=2026-13-01/abcdefgh",
        "limit=0",
        "colour=1",
    ):
        assert office.ann.send("GET", f"/v1/payments?scheme=tern-bay&{query}").status == 422
    for path in ("/v1/payments", "/v1/payments?scheme=nowhere", "/v1/payments?scheme=tern-bay&participant=nobody"):
        assert office.ann.send("GET", path).status in (404, 422)


def test_a_participant_reads_its_own_payments(office):
    office.load_worked().close()
    approve_all(office.ann)
    own, others = office.payment("hearth", "miller"), office.payment("hearth", "quay")
    do(office.ann, own, "confirm", "between us")
    miller = office.service.client(office.service.create_key("miller-book", "participant", participant="miller"))
    assert [p["payment_id"] for p in miller.items("/v1/payments", scheme="tern-bay")] == [own["payment_id"]]
    shown = miller.get(f"/v1/payments/{own['payment_id']}")
    assert [c["change"] for c in shown["changes"]] == ["approve", "confirm"]
    assert not any({"by", "note"} & c.keys() for c in shown["changes"])
    miller.refused("GET", f"/v1/payments/{others['payment_id']}", None, 404, "not_found")
    miller.refused("GET", "/v1/payments?scheme=tern-bay&participant=hearth", None, 404, "not_found")
    assert len(miller.items("/v1/payments", scheme="tern-bay", participant="miller")) == 1
    assert [p["status"] for p in miller.get(f"/v1/settlements/tern-bay/{D0}")["payments"]] == ["confirmed"]


@pytest.mark.parametrize("target", ["/v1/payments/{}/approve", "/v1/payments/{}/confirm", "/v1/payments/{}/release"])
def test_payments_that_are_not_there(office, target):
    office.load_worked()
    for name in ("0" * 32, "x", "a" * 4000, "%27%20OR%20true"):
        office.ann.refused("POST", target.format(name), None, 404, "not_found")
    for day in (D0, "2026-02-30", "1999-01-01"):  # a day that is not closed, no date, and no day of the scheme
        office.ann.refused("POST", f"/v1/settlements/tern-bay/{day}/approve", None, 404, "not_found")


def test_bodies(office):
    office.load_worked().close()
    path = f"/v1/payments/{office.payment('hearth', 'quay')['payment_id']}/approve"
    for body, status in (
        (b"{", 400),
        ({"reason": 7}, 422),
        ({"reason": ""}, 422),
        ({"reason": "x" * 501}, 422),
        ({"note": "x"}, 422),
    ):
        assert office.ann.send("POST", path, body).status == status
    assert office.payment("hearth", "quay")["status"] == "computed"
    assert office.ann.send("POST", path, {}).status == 200
