# SPDX-License-Identifier: ISC
"""The movements of a batch are kept beside the balances until they are folded into them. No reader sees a
difference."""
from datetime import date, timedelta

import network
from network import at, cups, event

DAY = date.today() - timedelta(days=3)
SITES = [f"cafe-{n}" for n in range(40)]


def test_balances_are_the_same_before_and_after_a_fold(service):
    """Posts batches with an issue at each of forty sites, until the writer has folded twice."""
    admin = service.admin
    admin.load(
        network.reference(
            [network.scheme("tern-bay", DAY, {"cup-300": "2.50"})],
            {site: ("tern-bay", f"owner-{n % 3}") for n, site in enumerate(SITES)},
        )
    )
    waiting, folds, rounds = 0, 0, 0
    while folds < 2:
        assert rounds < 500, "it is never folded"
        day = DAY + timedelta(days=rounds % 2)
        admin.post_many([event("issue", site, at(day), issued=cups(cup_300=1)) for site in SITES])
        rounds += 1
        before, waiting = waiting, unfolded(service)
        folds += waiting < before
        if waiting < before or rounds % 20 == 0:
            assert_all_read_the_same(admin, rounds)
    admin.post_many([event("issue", site, at(DAY), issued=cups(cup_300=1)) for site in SITES])
    assert unfolded(service) > 0
    settlement = admin.close("tern-bay", DAY)
    assert unfolded(service) == 0
    first_day = (rounds + 1) // 2 + 1
    assert sum(float(p["amount"]) for p in settlement["positions"]) == first_day * len(SITES) * 2.5
    assert_all_read_the_same(admin, rounds + 1, settled=first_day)


def unfolded(service):
    [(head, rows)] = service.database.rows("SELECT unfolded, (SELECT count(*) FROM recent_balance) FROM scheme_head")
    assert head == rows
    return head


def assert_all_read_the_same(admin, rounds, settled=0):
    accounts = admin.accounts("tern-bay")
    assert accounts["with_customers(cup-300)"] == rounds * len(SITES)
    assert {accounts[f"site_stock({site},cup-300)"] for site in SITES} == {-rounds}
    assert {accounts[f"site_clearing({site})"] for site in SITES} == {f"{(rounds - settled) * 2.5:.2f}"}
    of_first_day = (rounds + 1) // 2 if not settled else settled
    assert admin.accounts("tern-bay", as_of=str(DAY))["with_customers(cup-300)"] == of_first_day * len(SITES)
    admin.assert_holds()
