# SPDX-License-Identifier: ISC
"""Pay days: on other days a close computes and shows the positions and posts nothing but fees. The expected figures
follow from the accounting contract ("The close, and netting", step 3) by hand."""
from datetime import date
from decimal import Decimal

import pytest

import network
from model import DAY
from network import at, cups, event
from test_payments import Office, do, end_today
from test_reports_payments import Books

SITES = {"anchor": "hearth", "brick": "miller", "copper": "hearth", "dock": "quay"}
# A month of the past with a Friday the 1st (`cal` agrees): the Fridays are 1, 8, 15, 22 and 29.
MAY = date(2026, 5, 1)
assert date.today() > date(2026, 6, 1), "the days of this test must have ended"


def day(n):
    return MAY + (n - 1) * DAY


def load(client, first=MAY, sites=(), terms=({"pay_days": ["fri"]},), **more):
    client.load(
        network.reference(
            [network.scheme("tern-bay", first, {"cup-300": "2.50"}, terms=list(terms), **more)],
            {**{s: ("tern-bay", p) for s, p in SITES.items()}, **dict(sites)},
        )
    )
    return client


def issue(site, n, on, **more):
    return event("issue", site, at(on), issued=cups(cup_300=n), **more)


def back(site, n, on, **more):
    return event("return", site, at(on, "11:00"), returned=cups(cup_300=n), **more)


def carried(settlement):
    return {c["participant"]: c["amount"] for c in settlement["carried_forward"]}


def payments(settlement):
    return {(p["from"], p["to"]): p["amount"] for p in settlement["payments"]}


def kinds(client, on):
    return [e["kind"] for e in client.feed("tern-bay") if e["business_date"] == str(on)]


def ageing_of(books, on):
    return {account: line for (account, _), line in books.ageing(on).items()}


def test_between_pay_days_all_positions_stay(service):
    """From Friday to Friday: nothing is settled on the days between, neither what is large nor what is zero."""
    admin = load(service.admin, terms=[{"pay_days": ["fri"], "service_fee": "0.10"}])
    admin.post_many([issue("anchor", 4, day(1)), back("brick", 3, day(1))])
    first = admin.close("tern-bay", day(1))
    assert "next_pay_day" not in first and not carried(first) and payments(first)[("hearth", "miller")] == "7.50"
    admin.post_many(
        [issue("anchor", 10, day(2)), back("brick", 20, day(2)), issue("dock", 1, day(2)), back("dock", 1, day(2))]
    )
    second = admin.close("tern-bay", day(2))
    expected = {"hearth": "26.00", "miller": "-50.00", "quay": "0.10"}
    assert second["next_pay_day"] == str(day(8)) and second["payments"] == []
    assert carried(second) == expected and second["totals"]["paid"] == "0.00"
    assert {p["participant"]: p["amount"] for p in second["positions"]} == expected
    assert all(p["carried_forward"] and "carried_since" not in p for p in second["positions"])
    assert set(kinds(admin, day(2))) == {"issue", "return", "fees"}
    for n in range(3, 8):
        assert carried(admin.close("tern-bay", day(n))) == expected
    accounts = admin.accounts("tern-bay")
    assert (accounts["site_clearing(anchor)"], accounts["site_clearing(brick)"]) == ("26.00", "-50.00")
    admin.assert_holds()
    admin.post(issue("copper", 2, day(8)))
    friday = admin.close("tern-bay", day(8))
    assert "next_pay_day" not in friday and not carried(friday)
    assert {p["participant"]: p["amount"] for p in friday["positions"]} == {**expected, "hearth": "31.20"}
    assert sum(Decimal(a) for (payer, _), a in payments(friday).items() if payer == "hearth") == Decimal("31.20")
    assert admin.accounts("tern-bay")["site_clearing(anchor)"] == "0.00"
    admin.assert_holds()


def test_a_settlement_between_pay_days_is_read_in_every_form(service):
    admin = load(service.admin)
    admin.post(issue("anchor", 4, day(1)))
    admin.close("tern-bay", day(1))
    admin.post(issue("anchor", 2, day(2)))
    admin.close("tern-bay", day(2))
    path = f"/v1/settlements/tern-bay/{day(2)}"
    page = admin.send("GET", path, headers={"Accept": "text/html"}).body.decode()
    assert "Next pay day" in page and str(day(8)) in page
    assert (
        "Next pay day"
        not in admin.send("GET", path.replace("-02", "-01"), headers={"Accept": "text/html"}).body.decode()
    )
    rows = admin.items("/v1/reports/settlement", scheme="tern-bay", date=day(2))
    hearth = next(r for r in rows if r["participant"] == "hearth" and not r["site"])
    assert (hearth["position"], hearth["carried"], hearth["next_pay_day"]) == ("5.00", "5.00", str(day(8)))
    rows = admin.items("/v1/reports/settlement", scheme="tern-bay", date=day(1))
    hearth = next(r for r in rows if r["participant"] == "hearth" and not r["site"])
    assert (hearth["position"], hearth["carried"], hearth["next_pay_day"]) == ("10.00", "0.00", None)
    lines = admin.items(
        "/v1/reports/participant-statement", scheme="tern-bay", participant="hearth", **{"from": day(2), "to": day(2)}
    )
    anchor = next(r for r in lines if r["site"] == "anchor")
    assert (anchor["collected"], anchor["settled"], anchor["closing"]) == ("5.00", "0.00", "5.00")


def test_carrying_counts_calendar_days_from_a_pay_day(service):
    """carry_days is 10: carried on Friday the 8th and the 15th, paid on the 22nd, for the 18th is no pay day. A change
    of sign and a large amount between pay days do not start the count again."""
    admin = load(service.admin, terms=[{"pay_days": ["fri"], "minimum_payment": "20.00"}], carry_days=10)
    admin.post(issue("brick", 2, day(2)))
    for n in range(1, 8):
        assert "carried_since" not in positions(admin.close("tern-bay", day(n)))["miller"]
    assert positions(admin.close("tern-bay", day(8)))["miller"]["carried_since"] == str(day(8))
    admin.post_many([issue("brick", 20, day(9)), back("brick", 23, day(11))])
    for n in range(9, 15):
        assert positions(admin.close("tern-bay", day(n)))["miller"]["carried_since"] == str(day(8))
    fifteenth = admin.close("tern-bay", day(15))
    assert carried(fifteenth) == {"miller": "-2.50"}
    assert positions(fifteenth)["miller"]["carried_since"] == str(day(8))
    for n in range(16, 22):
        assert "miller" in carried(admin.close("tern-bay", day(n)))
    assert payments(admin.close("tern-bay", day(22))) == {("pool", "miller"): "2.50"}
    admin.assert_holds()


def test_a_zero_between_pay_days_ends_carrying(service):
    admin = load(service.admin, terms=[{"pay_days": ["fri"], "minimum_payment": "20.00"}], carry_days=7)
    admin.post_many([issue("brick", 2, day(1)), back("brick", 2, day(4)), issue("brick", 1, day(5))])
    assert positions(admin.close("tern-bay", day(1)))["miller"]["carried_since"] == str(day(1))
    since = [positions(admin.close("tern-bay", day(n)))["miller"].get("carried_since") for n in range(2, 9)]
    assert since == [str(day(1))] * 2 + [None] * 4 + [str(day(8))]
    admin.assert_holds()


def positions(settlement):
    return {p["participant"]: p for p in settlement["positions"]}


def test_the_terms_of_the_day_decide(service):
    """Weekly until the 11th, then on the 13th and the 31st: June has no 31st."""
    admin = load(
        service.admin,
        terms=[
            {"pay_days": ["fri"]},
            {"effective_date": "2026-05-12", "pay_days": [31, 13]},
            {"effective_date": "2026-06-02", "pay_days": "daily"},
        ],
    )
    admin.post(issue("anchor", 1, day(2)))
    next_days = {n: admin.close("tern-bay", day(n)).get("next_pay_day") for n in range(1, 34)}
    pay_days = [n for n, next_day in next_days.items() if next_day is None]
    assert pay_days == [1, 8, 13, 31, 33]
    assert next_days[9] == "2026-05-13" and next_days[14] == "2026-05-31" and next_days[32] == "2026-06-02"
    assert payments(admin.get("/v1/settlements/tern-bay/2026-05-08")) == {("hearth", "pool"): "2.50"}


@pytest.mark.parametrize("on, pays", [("2026-02-28", True), ("2024-02-28", False), ("2024-02-29", True)])
def test_the_last_day_stands_for_a_day_that_the_month_lacks(service, on, pays):
    on = date.fromisoformat(on)
    admin = load(service.admin, first=on, terms=[{"pay_days": [30]}])
    admin.post(issue("anchor", 1, on))
    assert ("next_pay_day" not in admin.close("tern-bay", on)) == pays


def test_holidays_move_only_the_due_day(service):
    admin = load(service.admin, holidays=[str(day(8)), str(day(11))])
    admin.post(issue("anchor", 1, day(1)))
    for n in range(1, 8):
        admin.close("tern-bay", day(n))
    admin.post(issue("anchor", 2, day(8)))
    [payment] = admin.close("tern-bay", day(8))["payments"]
    assert (payment["amount"], payment["due_on"]) == ("5.00", str(day(12)))


def test_a_participant_without_an_open_site_is_settled_on_the_next_pay_day(service):
    """miller's last day is Monday the 4th. Its small position waits for Friday, and no longer."""
    admin = load(
        service.admin,
        terms=[{"pay_days": ["fri"], "minimum_payment": "20.00"}],
        sites={"brick": ("tern-bay", "miller", {"closed_on": str(day(4))})},
    )
    admin.post(issue("brick", 2, day(3)))
    for n in range(1, 8):
        assert not admin.close("tern-bay", day(n))["payments"]
    friday = admin.close("tern-bay", day(8))
    assert not carried(friday) and payments(friday) == {("miller", "pool"): "5.00"}


def test_a_payout_is_held_for_the_exceptions_since_the_last_pay_day(service):
    """Amounts off tariff on a Tuesday count on Friday. Those before the last pay day do not."""
    admin = load(service.admin, variance_limit="5.00")
    admin.post_many(
        [
            back("dock", 1, day(1), amount="12.50"),  # of the first pay day: 10.00 off
            back("brick", 1, day(5), amount="10.00"),  # 7.50 off
            back("dock", 1, day(5)),
        ]
    )
    settlements = [admin.close("tern-bay", day(n)) for n in range(1, 9)]
    held = [{p["to"]: p.get("held", {}).get("reason") for p in s["payments"]} for s in settlements]
    assert held[0] == {"quay": "variance_limit"}
    assert held[7] == {"miller": "variance_limit", "quay": None}


def test_arrears_wait_for_the_pay_day(service):
    """hearth's payment fails today, which is no pay day: its arrears stay, and the ageing tells them from what is
    merely carried."""
    office = Office(service)
    first = office.first_day
    pay_day = first.strftime("%a").lower()
    office.load([issue("anchor", 4, first), back("brick", 8, first)], pay_days=[pay_day])
    office.close()
    payment = office.payment("hearth", "miller")
    do(office.admin, payment, "fail", "refused")
    office.admin.post(issue("dock", 3, first + DAY))
    end_today(service)
    today = max(office.admin.items("/v1/schemes/tern-bay/days", limit=1000), key=lambda d: d["date"])["date"]
    on = first + DAY
    while str(on) <= today:
        last = office.closer.close("tern-bay", on)
        on += DAY
    assert positions(last)["hearth"]["arrears"] == positions(last)["hearth"]["amount"] == "10.00"
    assert last["payments"] == [] and "fail" not in kinds(office.admin, today)
    assert office.arrears() == {"arrears(hearth)": "10.00", "arrears(miller)": "-10.00"}
    next_pay_day = str(first + 7 * DAY)
    rows = {
        (r["participant"], r["account"]): r
        for r in office.admin.items("/v1/reports/ageing", scheme="tern-bay", as_of=today)
    }
    late = rows["hearth", "arrears(hearth)"]
    assert (late["first_due_on"], late["total"], late["carried"]) == (payment["due_on"], "10.00", "0.00")
    assert (late["waits_for"], late["next_pay_day"]) == ("pay_day", next_pay_day)
    waits = rows["quay", None]
    assert (waits["side"], waits["first_due_on"], waits["total"], waits["carried"]) == (
        "receivable",
        None,
        "7.50",
        "7.50",
    )
    assert (waits["waits_for"], waits["next_pay_day"]) == ("pay_day", next_pay_day)
    assert ("hearth", None) not in rows  # all of its position is in arrears
    assert rows["miller", "settlement_due(miller)"]["waits_for"] is None
    office.admin.assert_holds()


def test_arrears_are_taken_up_by_the_next_pay_day_and_stay_as_old(shared):
    """hearth's payment to miller of the 1st fails on the 5th. Friday the 8th takes it up with what is new."""
    admin = load(shared.admin)
    books = Books(shared)
    admin.post_many([issue("anchor", 4, day(1)), back("brick", 4, day(1))])
    first = books.close(day(1))["hearth", "miller"]
    for n in range(2, 5):
        books.close(day(n))
    books.change(first, "fail", day(5))
    admin.post(issue("copper", 2, day(5)))
    assert not books.close(day(5))
    due = first["due_on"]
    assert due == str(day(4))
    for n in range(6, 8):
        assert not books.close(day(n))
    ageing = ageing_of(books, day(7))
    assert ageing["arrears(hearth)"] == (due, {"days_1_7": "10.00"})
    assert ageing["arrears(miller)"] == (due, {"days_1_7": "-10.00"})
    friday = books.close(day(8))
    assert {pair: p["amount"] for pair, p in friday.items()} == {
        ("hearth", "miller"): "10.00",
        ("hearth", "pool"): "5.00",
    }
    ageing = ageing_of(books, day(8))
    assert not any(account.startswith("arrears") for account in ageing)
    assert ageing["settlement_due(hearth)"] == (due, {"current": "5.00", "days_1_7": "10.00"})


def test_terms_with_pay_days_are_put_read_and_recorded(service):
    admin = load(service.admin, terms=[{}, {"effective_date": "2026-05-09", "pay_days": ["sun", "mon"]}])
    path = "/v1/schemes/tern-bay/terms/"
    assert [t["pay_days"] for t in admin.items("/v1/schemes/tern-bay/terms")] == ["daily", ["mon", "sun"]]
    body = {k: v for k, v in network.TERMS.items()}
    for given, shown in (([31, 1, 15], [1, 15, 31]), (["wed"], ["wed"]), ("daily", "daily")):
        assert admin.put(path + "2026-06-01", {**body, "pay_days": given}).json["pay_days"] == shown
    assert admin.put(path + "2026-06-01", body).json["pay_days"] == "daily"
    assert admin.get("/v1/reference")["schemes"][0]["terms"][1]["pay_days"] == ["mon", "sun"]
    made = [c for c in admin.items("/v1/changes", scheme="tern-bay", of="terms", limit=1000)]
    assert [c["after"].get("pay_days") for c in made] == [None, ["mon", "sun"], [1, 15, 31], ["wed"], None]
    assert made[-1]["before"]["pay_days"] == ["wed"]
    admin.assert_holds()


@pytest.mark.parametrize(
    "pay_days, reason",
    [
        ([], "too_few"),
        ("weekly", "value_unknown"),
        (["friday"], "value_unknown"),
        (["fri", "fri"], "value_repeated"),
        ([1, 1], "value_repeated"),
        ([0], "out_of_range"),
        ([32], "out_of_range"),
        (["fri", 1], "wrong_type"),
        ({"weekly": "fri"}, "wrong_type"),
        (None, "wrong_type"),
        ([1] * 32, "too_many"),
    ],
)
def test_pay_days_that_make_no_sense_are_refused(service, pay_days, reason):
    load(service.admin)
    before = service.admin.get("/v1/reference")
    body = {**network.TERMS, "pay_days": pay_days}
    service.admin.refused("PUT", "/v1/schemes/tern-bay/terms/2026-06-01", body, 422, reason)
    assert service.admin.get("/v1/reference") == before


def test_the_database_and_the_service_agree_on_pay_days(service):
    """The check of positions asks the database which days are pay days. For each day of four years and a century's turn
    it must say what Python's calendar says."""
    from model import Model

    for given in ("daily", ["tue", "sat"], [1, 15], [29, 31], [28]):
        document = network.reference(
            [network.scheme("tern-bay", date(2023, 1, 1), {"cup-300": "2.50"}, terms=[{"pay_days": given}])],
            {"anchor": ("tern-bay", "hearth")},
        )
        service.admin.load(document)
        model = Model(document, "tern-bay")
        for first, last in ((date(2023, 1, 1), date(2027, 12, 31)), (date(2096, 1, 1), date(2101, 1, 1))):
            rows = service.database.rows(
                "SELECT d::date, pays_on(1, d::date) FROM generate_series(%s::date, %s::date, '1 day') d", first, last
            )
            assert len(rows) > 1800 and all(pays == model.pays_on(d) for d, pays in rows), given
        [(after,)] = service.database.rows("SELECT next_pay_day(1, '2026-02-03')")
        assert after == model.next_pay_day(date(2026, 2, 3))
