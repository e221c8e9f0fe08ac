# SPDX-License-Identifier: ISC
"""Arithmetic is checked: what would pass 64 bits is refused alone, and nothing wraps, is lost or holds up others."""
from datetime import date, timedelta

import network
from network import at, cups, event

DAY = date.today() - timedelta(days=3)


def test_balances_do_not_wrap(service):
    """A million cups at 10,000,000,000.00 are 1e18 minor units: nine such issues fit 64 bits, ten do not."""
    admin = service.admin
    admin.load(network.reference([network.scheme("tern-bay", DAY, {"cup-300": "10000000000.00", "cup-450": "3.50"})],
                                 {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller")}))
    vast = [event("issue", "anchor", at(DAY), issued=cups(cup_300=1_000_000)) for _ in range(12)]
    small = [event("issue", "brick", at(DAY), issued=cups(cup_450=1)) for _ in range(12)]
    results = admin.post_many([e for pair in zip(vast, small) for e in pair])
    assert [r["status"] for r in results[1::2]] == ["recorded"] * 12
    assert [r["status"] for r in results[::2]] == ["recorded"] * 9 + ["rejected"] * 3
    assert {r["problem"]["reason"] for r in results[::2] if "problem" in r} == {"out_of_range"}
    accounts = admin.accounts("tern-bay")
    assert accounts["site_clearing(anchor)"] == "90000000000000000.00" and accounts["site_clearing(brick)"] == "42.00"
    settlement = admin.close("tern-bay", DAY)
    assert {p["participant"]: p["amount"] for p in settlement["positions"]} == {
        "hearth": "90000000000000000.00", "miller": "42.00"}
    admin.assert_holds()


def test_large_requests(service):
    """A thousand events in one array, and a hundred lines in one event: the most that the contract allows."""
    admin = service.admin
    types = [{"cup_type": f"cup-{n}", "name": f"Cup {n}", "volume_ml": 300, "mass_g": 48} for n in range(100)]
    admin.load(network.reference([network.scheme("tern-bay", DAY, {t["cup_type"]: "2.50" for t in types})],
                                 {"anchor": ("tern-bay", "hearth")}, types))
    lines = [{"cup_type": t["cup_type"], "quantity": 1_000_000} for t in types]
    answer = admin.post(event("supply", "anchor", at(DAY), cups=lines))
    assert answer["exceptions"] == []
    answer = admin.post(event("issue", "anchor", at(DAY), issued=lines, amount="250000000.00"))
    assert answer["exceptions"] == []
    assert len(admin.get(f"/v1/events/{answer['event_id']}")["legs"]) == 100 * 3 + 1
    results = admin.post_many([event("return", "anchor", at(DAY), returned=[lines[n % 100]]) for n in range(1000)])
    assert {r["status"] for r in results} == {"recorded"}
    accounts = admin.accounts("tern-bay")
    assert accounts["with_customers(cup-7)"] == -9_000_000 and accounts["customer_deposits(cup-7)"] == "22500000.00"
