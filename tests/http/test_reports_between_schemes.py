# SPDX-License-Identifier: ISC
"""The report between-schemes, and what other reports say of cups that came back in another scheme. The figures follow
from the worked example of test_between_schemes.py."""
from datetime import timedelta

from between import HOME, HOST, followed
from network import business_day
from test_between_schemes import PAIR, posted


def test_the_report_says_what_both_books_have(service):
    """Both operators read the same rows. The page has lines for both to sign on."""
    admin, day = service.admin, business_day() - timedelta(days=1)
    posted(service, "host", "on_loan", day)
    followed(service)
    pair = {"home": HOME, "host": HOST}
    rows = [
        {**pair, "item": "cup-300", "visiting": 4, "on_the_way": 0, "abroad": 4, "to_follow": 0},
        {
            **pair,
            "item": "money",
            "agreed": "6.80",
            "agreed_currency": "EUR",
            "not_settled": "6.80",
            "settled": "0.00",
            "to_follow_amount": "0.00",
            "under_way": "0.00",
            "by_host": "6.80",
            "host_currency": "EUR",
            "by_home": "9.94",
            "home_currency": "CAD",
        },
    ]
    for scheme in (HOME, HOST):
        found = admin.items("/v1/reports/between-schemes", scheme=scheme)
        assert [{k: v for k, v in row.items() if v is not None} for row in found] == rows
    page = admin.send(
        "GET", f"/v1/reports/between-schemes?scheme={HOME}", headers={"Accept": "text/html"}
    ).body.decode()
    assert page.count('class="write"') == 2 and "<svg" in page
    # 6.80 was paid out for 10.00 of deposits: the liability says so, and the return rate counts the cups.
    [line] = admin.items("/v1/reports/liability", scheme=HOME, to=str(day), **{"from": str(day), "cup_type": "cup-300"})
    assert (line["issued"], line["refunded"], line["refunded_abroad"], line["closing"]) == (
        "25.00",
        "0.00",
        "10.00",
        "15.00",
    )
    rates = {
        scheme: [
            (r["issued"], r["returned"])
            for r in admin.items("/v1/reports/return-rate-daily", scheme=scheme, to=str(day), **{"from": str(day)})
            if r["cup_type"] == "cup-300"
        ]
        for scheme in (HOME, HOST)
    }
    assert rates == {HOME: [(10, 4)], HOST: [(10, 1)]}
    # The debt to the host can't be taken out of the pool.
    steps = {
        r["step"]: r for r in admin.items("/v1/reports/withdrawable", scheme=HOME) if r["step"].endswith("_schemes")
    }
    assert [(s, r["account"], r["counted"]) for s, r in steps.items()] == [("due_to_schemes", PAIR, "-9.94")]
    admin.assert_holds()
