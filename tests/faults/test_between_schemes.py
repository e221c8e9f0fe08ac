# SPDX-License-Identifier: ISC
"""The service is killed while cups come back in another scheme than their own, and while their home follows. In the
end each return, and each reversal of one, was followed exactly once and in the host's order, and both ledgers agree.
The two schemes are of two groups, so that each has a writer of its own."""
import http.client
import time
from datetime import timedelta
from threading import Thread

from between import HOME, HOST, agree, at_host, followed, two_schemes
from network import at, business_day, cups, event

IN_ORDER = """
    SELECT array_agg(a.entry ORDER BY a.entry) = array_agg(f.host_entry ORDER BY f.entry), count(*), count(f.entry),
           count(DISTINCT f.host_entry)
      FROM agreed_amount a
      LEFT JOIN followed_entry f ON (f.scheme, f.host, f.host_entry) = (a.home, a.host, a.entry)
     WHERE a.scheme = a.host"""


class Posting(Thread):
    """Posts events again and again until all are answered."""

    def __init__(self, service, events):
        super().__init__()
        self.service, self.events, self.answers = service, events, None

    def run(self):
        while self.answers is None:
            try:
                self.answers = self.service.client(self.service.admin_key, checked=False).post_many(self.events)
            except (OSError, http.client.HTTPException, AssertionError, ValueError):
                time.sleep(0.05)  # it is down


def returns_of(rng, day, turn, before):
    """Returns of one or two homes' cups, exchanges, and reversals of returns of an earlier turn."""
    stated = []
    for n in range(rng.randint(20, 60)):
        when = at_host(day, f"{6 + turn % 12:02}:{n:02}")
        line = {"cup_type": "cup-300", "quantity": rng.randint(1, 3), "home": HOME}
        if rng.random() < 0.7:
            stated.append(event("return", "ferry", when, returned=[line]))
        else:
            stated.append(event("exchange", "ferry", when, returned=[line], issued=cups(cup_450=1)))
        stated.append(event("issue", "anchor", at(day, f"{6 + turn % 12:02}:{n:02}"), issued=cups(cup_300=1)))
    for one in rng.sample(before, min(5, len(before))):
        before.remove(one)
        stated.append(event("reversal", "ferry", at_host(day, "20:00"), reverses=one["event_id"]))
    before += [one for one in stated if one["kind"] in ("return", "exchange")]
    return stated


def test_killed_while_a_home_follows(service, rng, rounds):
    day = business_day() - timedelta(days=1)
    document = two_schemes(day, "on_loan", "on_deposit")
    for scheme, group in zip(document["schemes"], (1, 2)):
        scheme["group"] = group
    service.admin.load(document)
    agree(service, day, {"cup-300": 170}, rate="1.4625")
    before, wanted = [], 0
    for turn in rounds(20):
        posting = Posting(service, returns_of(rng, day, turn, before))
        posting.start()
        time.sleep(rng.uniform(0, 1.5))
        service.kill()
        service.start()
        posting.join()
        assert {a["status"] for a in posting.answers} <= {"recorded", "duplicate"}, posting.answers
        wanted += sum(e["site"] == "ferry" for e in posting.events)
    followed(service)
    assert service.database.rows(IN_ORDER) == [(True, wanted, wanted, wanted)]
    kinds = [e["kind"] for e in service.admin.feed(HOME)]
    assert kinds.count("return_abroad") + kinds.count("reversal_abroad") == wanted
    assert (
        service.admin.accounts(HOST)[f"visiting({HOME},cup-300)"]
        == -service.admin.accounts(HOME)[f"abroad({HOST},cup-300)"]
    )
    service.admin.assert_holds()


def sent_home_of(rng, day, turn):
    """Dispatches home and the receipts of those of the turn before."""
    when = at_host(day, f"{6 + turn % 12:02}:30")
    return [event("dispatch", "ferry", when, cups=cups(cup_300=rng.randint(1, 3)), to="anchor") for _ in range(30)]


def test_killed_while_a_home_receives(service, rng, rounds):
    """The service is killed while cups go home and are received there. Each receipt is counted exactly once in the
    dispatch of the other scheme."""
    day = business_day() - timedelta(days=1)
    document = two_schemes(day, "on_deposit", "on_loan")
    for scheme, group in zip(document["schemes"], (1, 2)):
        scheme["group"] = group
    service.admin.load(document)
    agree(service, day, {"cup-300": 170}, rate="1.4625")
    before = []
    for turn in rounds(10):
        sent = sent_home_of(rng, day, turn)
        came = [
            event("receipt", "anchor", at(day, "21:00"), cups=one["cups"], dispatch=one["event_id"], host=HOST)
            for one in before
        ]
        came += [event("reversal", "anchor", at(day, "22:00"), reverses=one["event_id"]) for one in came[:5]]
        posting = Posting(service, sent + came)
        posting.start()
        time.sleep(rng.uniform(0, 1))
        service.kill()
        service.start()
        posting.join()
        assert {a["status"] for a in posting.answers} <= {"recorded", "duplicate"}, posting.answers
        before = sent
    service.admin.assert_holds()
