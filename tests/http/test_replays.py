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


HISTORIES = {
    "reversal": undone,
    "transit_loss": lost,
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
