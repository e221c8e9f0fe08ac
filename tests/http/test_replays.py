# SPDX-License-Identifier: ISC
"""An event that is posted again is answered like the first time, before all checks. This holds even if a new event
with that content would be refused, because of the first event's effect or because of later events. Other events come
between, so the writer expects new events."""
from datetime import date, timedelta

import pytest

import network
from network import at, cups, event

DAY = date.today() - timedelta(days=5)
SITES = {"anchor": ("tern-bay", "hearth"), "dock": ("tern-bay", "quay")}


@pytest.fixture
def admin(service):
    service.admin.load(network.reference([network.scheme("tern-bay", DAY, {"cup-300": "2.50"})], SITES))
    return service.admin


def issue(n=1):
    return event("issue", "anchor", at(DAY), issued=cups(cup_300=n))


def dispatch():
    return event("dispatch", "anchor", at(DAY), cups=cups(cup_300=3), to="dock")


def of_the_scheme(kind):
    return event(kind, None, at(DAY), scheme="tern-bay", cups=cups(cup_300=3))


def reversal(what):
    return event("reversal", what["site"], at(DAY), reverses=what["event_id"])


def loss(what):
    return event(
        "transit_loss", what["site"], at(DAY), dispatch=what["event_id"], cups=cups(cup_300=3), bearer="operator"
    )


def undone():
    first = issue()
    return [first, reversal(first)]


def lost():
    sent = dispatch()
    return [sent, loss(sent)]


def lost_as_the_scheme_says():
    sent = dispatch()
    return [sent, {k: v for k, v in loss(sent).items() if k != "bearer"}]


HISTORIES = {
    "reversal": undone,
    "transit_loss": lost,
    "transit_loss without a bearer": lost_as_the_scheme_says,
    "forfeit": lambda: [issue(3), of_the_scheme("forfeit")],
    "reinstate": lambda: [issue(3), of_the_scheme("forfeit"), of_the_scheme("reinstate")],
}


@pytest.mark.parametrize("many", (False, True), ids=("alone", "in an array"))
@pytest.mark.parametrize("kind", HISTORIES)
def test_a_replay_is_answered_like_the_first_time(admin, kind, many):
    answers = [(one, admin.post(one)) for one in HISTORIES[kind]()]
    for one, first in reversed(answers):  # only the effect of the last event itself would refuse it
        for _ in range(100):
            admin.post(event("return", "dock", at(DAY), returned=cups(cup_300=1)))
        again = admin.post_many([one, issue()])[0] if many else admin.post(one)
        assert again == {**first, "status": "duplicate"}
    admin.assert_holds()


def test_a_loss_that_leaves_the_bearer_open_is_the_event_that_was_recorded(admin):
    """The event of the feed has the bearer that was decided on. Posted with that one or with none, it is a replay;
    another one is a conflict. A change of the scheme's bearer does not change it."""
    sent, left_open = lost_as_the_scheme_says()
    admin.post(sent)
    first = admin.post(left_open)
    recorded = admin.get(f"/v1/events/{left_open['event_id']}")["event"]
    assert recorded["bearer"] == "receiver"
    scheme = {k: v for k, v in admin.get("/v1/schemes/tern-bay").items() if k != "scheme"}
    admin.put("/v1/schemes/tern-bay", {**scheme, "loss_bearer": "sender"})
    for again in (left_open, recorded, {**left_open, "bearer": "receiver"}):
        assert admin.post(again) == {**first, "status": "duplicate"}
        assert admin.post_many([again, issue()])[0] == {**first, "status": "duplicate"}
    for other in ({**left_open, "bearer": "sender"}, {**left_open, "reference": "another"}):
        admin.refused("POST", "/v1/events", other, 409, "event_id_conflict")
    later = {**left_open, "event_id": issue()["event_id"], "cups": cups(cup_300=1)}
    twice = admin.post_many([later, later, {**later, "bearer": "sender"}])
    assert [r["status"] for r in twice] == ["recorded", "duplicate", "duplicate"]
    admin.assert_holds()
