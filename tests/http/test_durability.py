# SPDX-License-Identifier: ISC
"""Each acknowledged event is in the ledger once, whatever happens to the service while tills are posting. A till may
always post an unanswered event again."""
import http.client
import signal
from datetime import date, timedelta

import pytest

import network
from harness import at_once, wait_until
from network import at, cups, event

DAY = date.today() - timedelta(days=3)
SITES = ("anchor", "brick", "copper", "dock")


def post_until_it_breaks(service, site, acknowledged, sent):
    """Posts single events and arrays in turn. Notes each event before it goes out and again when it is answered."""
    client, turn = service.client(service.admin_key), 0
    while True:
        turn += 1
        batch = [event("issue", site, at(DAY), issued=cups(cup_300=1)) for _ in range(1 if turn % 2 else 20)]
        sent += batch
        try:
            answer = client.send("POST", "/v1/events", batch if len(batch) > 1 else batch[0])
        except (OSError, http.client.HTTPException):
            return
        if answer.status == 503:
            continue
        results = answer.json["results"] if len(batch) > 1 else [answer.json]
        acknowledged += [(r["event_id"], r["entry"]) for r in results]


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM], ids=("killed", "stopped"))
def test_nothing_acknowledged_is_lost(service, how):
    service.admin.load(
        network.reference(
            [network.scheme("tern-bay", DAY, {"cup-300": "2.50"})], {s: ("tern-bay", "hearth") for s in SITES}
        )
    )
    acknowledged, sent = [], []
    end = service.kill if how == signal.SIGKILL else service.stop  # stop asserts an orderly exit

    def break_it():
        wait_until(lambda: len(acknowledged) >= 500, lambda: f"500 events acknowledged, {len(acknowledged)}")
        end()

    at_once(*(lambda s=s: post_until_it_breaks(service, s, acknowledged, sent) for s in SITES), break_it)
    service.start()
    client = service.client(service.admin_key)
    feed = {i["event"]["event_id"]: i["entry"] for i in client.feed("tern-bay")}
    assert all(
        feed.get(event_id) == entry for event_id, entry in acknowledged
    ), "an acknowledged event is not in the ledger"
    assert feed.keys() <= {e["event_id"] for e in sent}
    again = [r for n in range(0, len(sent), 1000) for r in client.post_many(sent[n : n + 1000])]
    assert {r["event_id"] for r in again if r["status"] == "duplicate"} == feed.keys()
    entries = [r["entry"] for r in again]
    assert sorted(entries) == list(range(1, len(sent) + 1))
    assert client.accounts("tern-bay")["with_customers(cup-300)"] == len(sent)
    client.assert_holds("tern-bay")


def test_connections_that_were_closed_while_idle(service):
    """If the database was restarted meanwhile, no client loses an answer, neither the next to post nor the next to
    read."""
    admin = service.admin
    admin.load(
        network.reference([network.scheme("tern-bay", DAY, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")})
    )
    for rounds in range(1, 6):
        admin.post(event("issue", "anchor", at(DAY), issued=cups(cup_300=1)))  # the next after the writer's
        ended = service.database.rows(
            "SELECT pid, pg_terminate_backend(pid, 120000) FROM pg_stat_activity"
            " WHERE usename = 'depositd_service' AND datname = current_database()"
        )
        assert len(ended) >= 2 and all(done for _, done in ended)
        admin.post(event("issue", "anchor", at(DAY), issued=cups(cup_300=1)))
        assert admin.accounts("tern-bay")["with_customers(cup-300)"] == 2 * rounds
