# SPDX-License-Identifier: ISC
"""Amounts are bounded, so that no sum overflows. A request beyond the bound is refused alone and holds up nobody
else."""
from datetime import date, timedelta

import network
from network import at, cups, event

DAY = date.today() - timedelta(days=3)


def test_no_event_is_too_large_for_the_books(service):
    """A leg is at most 10,000,000,000.00, so that only millions of legs could leave 64 bits. A thousand cups at
    10,000,000.00 are just within the bound. One cup more is refused, alone and beside other events."""
    admin = service.admin
    admin.load(
        network.reference(
            [network.scheme("tern-bay", DAY, {"cup-300": "10000000.00", "cup-450": "3.50"})],
            {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller")},
        )
    )
    issues = [event("issue", "anchor", at(DAY), issued=cups(cup_300=n)) for n in (1000, 1001, 1_000_000)]
    small = [event("issue", "brick", at(DAY), issued=cups(cup_450=1)) for _ in issues]
    results = admin.post_many([e for pair in zip(issues, small) for e in pair])
    assert [r["status"] for r in results] == ["recorded", "recorded", "rejected", "recorded", "rejected", "recorded"]
    assert {r["problem"]["reason"] for r in results if "problem" in r} == {"out_of_range"}
    admin.refused("POST", "/v1/events", issues[1], 422, "out_of_range")
    settlement = admin.close("tern-bay", DAY)
    assert {p["participant"]: p["amount"] for p in settlement["positions"]} == {
        "hearth": "10000000000.00",
        "miller": "10.50",
    }
    admin.assert_holds()


def test_large_requests(service):
    """The most that the contract allows: a thousand events in one array, and a hundred lines in one event."""
    admin = service.admin
    types = [{"cup_type": f"cup-{n}", "name": f"Cup {n}", "volume_ml": 300, "mass_g": 48} for n in range(100)]
    admin.load(
        network.reference(
            [network.scheme("tern-bay", DAY, {t["cup_type"]: "2.50" for t in types})],
            {"anchor": ("tern-bay", "hearth")},
            types,
        )
    )
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


def test_one_array_for_many_schemes(service):
    """One transaction posts to more schemes than any network has, each with its own head, ledger and day."""
    admin = service.admin
    codes = [f"bay-{n}" for n in range(40)]
    admin.load(
        network.reference(
            [network.scheme(code, DAY, {"cup-300": "2.50"}) for code in codes],
            {f"cafe-{code}": (code, "hearth") for code in codes},
        )
    )
    for rounds in (1, 2, 3):
        results = admin.post_many([event("issue", f"cafe-{code}", at(DAY), issued=cups(cup_300=1)) for code in codes])
        assert {(r["status"], r["entry"]) for r in results} == {("recorded", rounds)}
    for code in codes[::13]:
        assert admin.accounts(code)["with_customers(cup-300)"] == 3
    admin.assert_holds()
