# SPDX-License-Identifier: ISC
"""Fees by participant, kind of site and cup type, the standing fee of a month, and dates for what fees depend on.
Expected figures follow by hand from the accounting contract ("Opening, fees by row"); there is no published source."""
from datetime import date, timedelta

import pytest

import network
from network import WORKED_DAY, at, cups, event

DAY = timedelta(days=1)
ROWS = [
    {"cup_type": "cup-450", "service_fee": "0.20", "handling_fee": "0.05"},  # 1
    {"site_kind": "return_point", "handling_fee": "0.06"},  # 2
    {"participant": "hearth", "service_fee": "0.07"},  # 3
    {"participant": "hearth", "cup_type": "cup-450", "service_fee": "0.15"},  # 4
]
# The worked example with these rows; dock is a return point. service fee, its tax, handling fee, its tax
CHARGED = {
    "anchor": ("3.60", "0.54", "0.00", "0.00"),  # 30 at 0.07 and 10 at 0.15
    "brick": ("0.00", "0.00", "0.88", "0.13"),  # 22 at 0.04
    "copper": ("0.28", "0.04", "0.30", "0.04"),  # 4 at 0.07; 6 cup-450 at 0.05, tax 0.045
    "dock": ("0.40", "0.06", "0.18", "0.03"),  # 2 cup-450 at 0.20; 3 at 0.06, tax 0.027
}
APPLIED = {  # fee, row (None: the terms' own), cups, each
    "anchor": [("service", 3, 30, "0.07"), ("service", 4, 10, "0.15")],
    "brick": [("handling", None, 22, "0.04")],
    "copper": [("service", 3, 4, "0.07"), ("handling", 1, 6, "0.05")],
    "dock": [("service", 1, 2, "0.20"), ("handling", 2, 3, "0.06")],
}
WHEN = {"from": WORKED_DAY, "to": WORKED_DAY}
FEES = ("service_fee", "service_tax", "handling_fee", "handling_tax", "standing_fee", "standing_tax")


def sites_of(settlement):
    return {s["site"]: s for p in settlement["positions"] for s in p["sites"]}


def applied(site):
    return [(r["fee"], r.get("row"), r["quantity"], r["each"]) for r in site.get("fee_rows", [])]


def with_dock(document, **members):
    for site in document["sites"]:
        if site["site"] == "dock":
            site.update(members)
    return document


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_the_worked_example_with_rows(service, stock_terms):
    document = with_dock(network.worked_reference(stock_terms, fees=ROWS), kind="return_point")
    admin = service.admin
    admin.load(document)
    given = [{**terms, "pay_days": "daily"} for terms in document["schemes"][0]["terms"]]
    assert admin.get("/v1/reference")["schemes"][0]["terms"] == given
    admin.post_many(network.worked_events())
    sites = sites_of(admin.close("tern-bay", WORKED_DAY))
    for site, figures in CHARGED.items():
        assert tuple(sites[site][fee] for fee in FEES) == (*figures, "0.00", "0.00"), site
        assert applied(sites[site]) == APPLIED[site]
        assert {r["terms"] for r in sites[site]["fee_rows"]} == {str(WORKED_DAY)}
    rows = admin.items("/v1/reports/fees", scheme="tern-bay", **WHEN)
    assert {
        s: [(r["fee"], r["row"] or None, r["quantity"], r["each"]) for r in rows if r["site"] == s] for s in APPLIED
    } == APPLIED
    taxes = {
        (s, fee): tax
        for s, (_, service, _, handling) in CHARGED.items()
        for fee, tax in (("service", service), ("handling", handling))
    }
    assert {(r["site"], r["fee"]): r["tax"] for r in rows if r["tax"]} == {
        k: tax for k, tax in taxes.items() if tax != "0.00"
    }
    assert admin.items("/v1/reports/fees", scheme="tern-bay", participant="quay", **WHEN) == [
        r for r in rows if r["participant"] == "quay"
    ]
    statement = admin.items("/v1/reports/participant-statement", scheme="tern-bay", **WHEN)
    for site, figures in CHARGED.items():
        [line] = [r for r in statement if r["site"] == site]
        assert tuple(line[fee] for fee in FEES) == (*figures, "0.00", "0.00")
    report = admin.items("/v1/reports/settlement", scheme="tern-bay", date=WORKED_DAY)
    assert {r["site"]: tuple(r[f] for f in FEES[:4]) for r in report if r["site"]} == CHARGED
    admin.assert_holds()


FIRST = date(WORKED_DAY.year, WORKED_DAY.month, 1) - 2 * DAY  # the 1st is the third day


def monthly(service, terms, sites, **more):
    scheme = network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}, terms=[terms], **more)
    service.admin.load(network.reference([scheme], sites))
    return [sites_of(service.admin.close("tern-bay", FIRST + n * DAY)) for n in range(4)]


def test_a_standing_fee_is_due_on_the_first(service):
    """For sites opened by then whose last day is later, whole, and with a tax of its own: of 9.90 at 15 % 1.48(5), half
    to even."""
    due = FIRST + 2 * DAY
    days = monthly(
        service,
        {
            "tax_rate": "0.15",
            "monthly_fee": "9.90",
            "fees": [
                {"site_kind": "hub", "monthly_fee": "0.00"},
                {"participant": "miller", "monthly_fee": "4.00"},
            ],
        },
        {
            "anchor": ("tern-bay", "hearth"),
            "hub": ("tern-bay", "hearth", {"kind": "hub"}),
            "brick": ("tern-bay", "miller"),
            "mill": ("tern-bay", "miller", {"kind": "hub"}),
            "new": ("tern-bay", "hearth", {"opened_on": str(due)}),
            "later": ("tern-bay", "hearth", {"opened_on": str(due + DAY)}),
            "last": ("tern-bay", "hearth", {"closed_on": str(due)}),
            "after": ("tern-bay", "hearth", {"closed_on": str(due + DAY)}),
        },
    )
    for n in (0, 1, 3):
        assert {(s["standing_fee"], s["fees"]) for s in days[n].values()} == {("0.00", "0.00")}
    whole, none = ("9.90", "1.48"), ("0.00", "0.00")
    assert {s: (line["standing_fee"], line["standing_tax"]) for s, line in days[2].items()} == {
        "anchor": whole,
        "hub": none,
        "brick": ("4.00", "0.60"),
        "mill": ("4.00", "0.60"),  # the participant beats the kind
        "new": whole,
        "later": none,
        "last": none,
        "after": whole,
    }
    assert days[2]["anchor"]["net"] == "11.38"
    assert applied(days[2]["hub"]) == [("standing", 1, 1, "0.00")]
    assert applied(days[2]["anchor"]) == [("standing", None, 1, "9.90")]
    accounts = service.admin.accounts("tern-bay", as_of=due)
    assert accounts["service_fees"] == "-37.70" and accounts["tax"] == "-5.64"
    service.admin.assert_holds()


def test_terms_without_a_standing_fee_charge_none(service):
    days = monthly(service, {}, {"anchor": ("tern-bay", "hearth")})
    assert all(day["anchor"]["fees"] == "0.00" for day in days)
    assert all("fee_rows" not in day["anchor"] for day in days)
    service.admin.assert_holds()


@pytest.mark.parametrize("last, owed", [(FIRST + 2 * DAY, "0.00"), (FIRST + 3 * DAY, "9.90")])
def test_a_scheme_that_ends_owes_no_further_month(service, last, owed):
    """The third day is the 1st: a scheme whose last day it is has no site that stays open."""
    days = monthly(service, {"monthly_fee": "9.90"}, {"anchor": ("tern-bay", "hearth")}, closed_on=str(last))
    assert [day["anchor"]["standing_fee"] for day in days] == ["0.00", "0.00", owed, "0.00"]
    service.admin.assert_holds()


D0, D1 = WORKED_DAY, WORKED_DAY + DAY


def test_a_reversal_goes_by_the_row_kind_and_registration_of_its_original_s_day(service):
    """On D0 the dock is a return point and quay is registered; from D1 on it is a hub, and quay is not."""
    admin = service.admin
    terms = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}
    old = [{"site_kind": "return_point", "cup_type": "cup-300", "handling_fee": "0.20", "service_fee": "0.50"}]
    new = [{"site_kind": "hub", "handling_fee": "0.30", "service_fee": "0.70"}]
    scheme = network.scheme(
        "tern-bay",
        D0,
        {"cup-300": "2.50"},
        terms=[{**terms, "fees": old}, {**terms, "effective_date": str(D1), "tax_rate": "0.10", "fees": new}],
    )
    document = network.reference([scheme], {"dock": ("tern-bay", "quay", {"kind": "return_point"})})
    document["site_kinds"] = [{"site": "dock", "effective_date": str(D1), "kind": "hub"}]
    document["tax_registrations"] = [{"participant": "quay", "effective_date": str(D1), "tax_registered": False}]
    admin.load(document)
    read = admin.get("/v1/reference")
    assert {k: read[k] for k in ("site_kinds", "tax_registrations")} == {
        k: document[k] for k in ("site_kinds", "tax_registrations")
    }
    issue = event("issue", "dock", at(D0), issued=cups(cup_300=10))
    back = event("return", "dock", at(D0), returned=cups(cup_300=6))
    admin.post_many([issue, back])
    before = sites_of(admin.close("tern-bay", D0))["dock"]
    assert [before[f] for f in FEES[:4]] == ["5.00", "0.75", "1.20", "0.18"]
    admin.post_many(
        [
            event("reversal", "dock", at(D1), reverses=issue["event_id"]),
            event("reversal", "dock", at(D1), reverses=back["event_id"]),
            event("issue", "dock", at(D1), issued=cups(cup_300=1)),
            event("return", "dock", at(D1), returned=cups(cup_300=2)),
        ]
    )
    after = sites_of(admin.close("tern-bay", D1))["dock"]
    # 0.70 - 5.00, tax 0.07 - 0.75; 0.60 - 1.20, tax 0 - 0.18
    assert [after[f] for f in FEES[:4]] == ["-4.30", "-0.68", "-0.60", "-0.18"]
    assert [(r["terms"], *row, r["tax_rate"]) for r, row in zip(after["fee_rows"], applied(after))] == [
        (str(D1), "service", 1, 1, "0.70", "0.10"),
        (str(D0), "service", 1, -10, "0.50", "0.15"),
        (str(D1), "handling", 1, 2, "0.30", "0.00"),
        (str(D0), "handling", 1, -6, "0.20", "0.15"),
    ]
    admin.assert_holds()


def test_what_all_reversed_leaves_no_line(service):
    admin = service.admin
    admin.load(network.worked_reference("on_loan", fees=ROWS))
    issue = event("issue", "anchor", at(WORKED_DAY), issued=cups(cup_300=3, cup_450=1))
    admin.post_many([issue, event("reversal", "anchor", at(WORKED_DAY, "11:00"), reverses=issue["event_id"])])
    anchor = sites_of(admin.close("tern-bay", WORKED_DAY))["anchor"]
    assert "fee_rows" not in anchor and anchor["fees"] == "0.00"
    admin.assert_holds()


# Changes, and their dates --------------------------------------------------------------------------------------


@pytest.fixture
def trading(service):
    """A network with an event of today; brick is without one, and in a scheme where nothing is posted."""
    today = network.business_day()
    schemes = [network.scheme(code, today - 3 * DAY, {"cup-300": "2.50"}) for code in ("tern-bay", "skerry")]
    sites = {"anchor": ("tern-bay", "hearth"), "brick": ("skerry", "miller"), "both": ("skerry", "hearth")}
    service.admin.load(network.reference(schemes, sites))
    service.admin.post(event("issue", "anchor", at(today - 3 * DAY), issued=cups(cup_300=1)))
    return service.admin, today


def dated(path, day, **body):
    return "PUT", f"{path}/{day}", body


@pytest.mark.parametrize(
    "path, body, shown",
    [
        ("/v1/sites/anchor/kind", {"kind": "hub"}, {"site": "anchor", "kind": "hub"}),
        (
            "/v1/participants/hearth/tax-registration",
            {"tax_registered": False},
            {"participant": "hearth", "tax_registered": False},
        ),
    ],
)
def test_a_dated_value_starts_on_a_day_that_has_not_begun(trading, path, body, shown):
    admin, today = trading
    for day in (today - 3 * DAY, today - DAY, today):
        answer = admin.send(*dated(path, day, **body))
        assert answer.status == 422 and answer.json["errors"][0]["reason"] == "starts_too_soon"
        assert "effective_date" in str(answer.json["errors"][0])
    later = today + 2 * DAY
    assert admin.send("PUT", f"{path}/{later}?dry_run=true", body).status == 201
    assert admin.items(path) == []
    made = admin.send("PUT", f"{path}/{later}?why=as+agreed", body)
    assert made.status == 201 and made.json == {**shown, "effective_date": str(later)}
    assert admin.send("PUT", f"{path}/{later}", body).status == 200
    assert admin.get(f"{path}/{later}") == made.json and admin.items(path) == [made.json]
    assert admin.send("GET", f"{path}/{today}").status == 404
    of = "site_kind" if "sites" in path else "tax_registration"
    [change] = admin.items("/v1/changes", of=of)
    assert change["name"] == f"{path.split('/')[3]}/{later}" and change["why"] == "as agreed"
    assert change["after"] == body and "before" not in change
    assert (
        admin.send("PUT", f"{path.replace('anchor', 'nobody').replace('hearth', 'nobody')}/{later}", body).status == 404
    )
    assert admin.send("GET", path.replace("anchor", "nobody").replace("hearth", "nobody")).status == 404
    admin.assert_holds()


def test_the_first_values_stand_once_something_depends_on_them(trading):
    admin, today = trading
    site = {"scheme": "tern-bay", "participant": "hearth", "name": "Anchor", "opened_on": "2000-01-01"}
    answer = admin.send("PUT", "/v1/sites/anchor", {**site, "kind": "hub"})
    assert answer.status == 409 and answer.json["errors"] == [
        {"pointer": "/kind", "reason": "fixed_once_posted", "detail": answer.json["errors"][0]["detail"]}
    ]
    assert "/v1/sites/{site}/kind/{effective_date}" in answer.json["errors"][0]["detail"]
    assert admin.send("PUT", "/v1/sites/anchor", {**site, "name": "Anchor Bar", "kind": "cafe"}).status == 200
    answer = admin.send("PUT", "/v1/participants/hearth", {"name": "Hearth", "tax_registered": False})
    assert answer.status == 409 and answer.json["errors"][0]["reason"] == "fixed_once_posted"
    assert "/v1/participants/{participant}/tax-registration/{effective_date}" in answer.json["errors"][0]["detail"]
    # Where nothing is posted and no day is closed they may be put right, and dated at will.
    other = {"scheme": "skerry", "participant": "miller", "name": "Brick", "opened_on": "2000-01-01", "kind": "hub"}
    assert admin.send("PUT", "/v1/sites/brick", other).status == 200
    assert admin.send("PUT", "/v1/participants/miller", {"name": "Miller", "tax_registered": False}).status == 200
    assert admin.send(*dated("/v1/sites/brick/kind", today - DAY, kind="cafe")).status == 201
    # A closed day may have fees that depend on them, also without an event.
    admin.close("skerry", today - 3 * DAY)
    assert admin.send("PUT", "/v1/sites/brick", {**other, "kind": "cafe"}).status == 409
    assert admin.send(*dated("/v1/sites/brick/kind", today - 3 * DAY, kind="hub")).status == 422
    # A participant has sites in two schemes: the day must not have begun in either.
    assert admin.send(*dated("/v1/participants/hearth/tax-registration", today, tax_registered=False)).status == 422
    admin.assert_holds()


def test_a_key_at_a_hub_retires_by_the_kind_of_the_day(trading, service):
    """A till retires cups at a hub only; the kind is the one of the day on which the cups were retired."""
    admin, today = trading
    till = service.client(service.create_key("till", "pos", sites=["brick"]))
    assert admin.send(*dated("/v1/sites/brick/kind", today - DAY, kind="hub")).status == 201

    def retire(day):
        return till.send("POST", "/v1/events", event("retire", "brick", at(day, "12:00"), cups=cups(cup_300=1)))

    assert retire(today - 3 * DAY).json["reason"] == "retire_needs_hub"
    assert retire(today - DAY).status == 201


# Refusals ----------------------------------------------------------------------------------------------------------

REFUSED = {
    "two rows for the same cups": (
        [
            {"site_kind": "hub", "service_fee": "0.10"},
            {"handling_fee": "0.01"},
            {"site_kind": "hub", "handling_fee": "1.00"},
        ],
        ("/fees/2", "fee_row_repeated"),
    ),
    "two rows that name nothing": (
        [{"service_fee": "0.10"}, {"handling_fee": "0.01"}],
        ("/fees/1", "fee_row_repeated"),
    ),
    "a row without a fee": ([{"participant": "hearth"}], ("/fees/0", "member_missing")),
    "a standing fee by cup type": (
        [{"cup_type": "cup-300", "monthly_fee": "1.00"}],
        ("/fees/0/monthly_fee", "member_unknown"),
    ),
    "an unknown participant": (
        [{"participant": "nobody", "service_fee": "0.10"}],
        ("/fees/0/participant", "participant_unknown"),
    ),
    "an unknown cup type": ([{"cup_type": "cup-9", "service_fee": "0.10"}], ("/fees/0/cup_type", "cup_type_unknown")),
    "an unknown kind": ([{"site_kind": "bar", "service_fee": "0.10"}], ("/fees/0/site_kind", "value_unknown")),
    "too few decimals": ([{"service_fee": "0.1"}], ("/fees/0/service_fee", "amount_decimals")),
    "too many decimals": ([{"monthly_fee": "0.100"}], ("/fees/0/monthly_fee", "amount_decimals")),
    "a negative fee": ([{"handling_fee": "-0.10"}], ("/fees/0/handling_fee", "out_of_range")),
    "a typo": ([{"handling_fees": "0.10"}], ("/fees/0/handling_fees", "member_unknown")),
    "too many rows": ([{"service_fee": "0.10"}] * 1001, ("/fees", "too_many")),
}


@pytest.fixture(scope="module")
def still(shared):
    shared.admin.load(network.worked_reference("on_loan"))
    return shared.admin


@pytest.mark.parametrize("name", REFUSED)
def test_refused_rows(still, name):
    fees, fault = REFUSED[name]
    path = f"/v1/schemes/tern-bay/terms/{WORKED_DAY}"
    before = still.get(path)
    answer = still.send("PUT", path, {**network.TERMS, "fees": fees})
    assert answer.status == 422
    assert fault in [(e["pointer"], e["reason"]) for e in answer.json["errors"]]
    assert still.get(path) == before
    document = {"schemes": [network.scheme("tern-bay", WORKED_DAY, {}, terms=[{"fees": fees}])]}
    answer = still.send("POST", "/v1/reference", document)
    assert answer.status == 422 and [e["pointer"] for e in answer.json["errors"]] == [f"/schemes/0/terms/0{fault[0]}"]


def test_a_dated_value_is_in_a_list_once(still):
    value = {"site": "dock", "effective_date": "2999-01-01", "kind": "hub"}
    answer = still.send("POST", "/v1/reference", {"site_kinds": [value, {**value, "kind": "cafe"}]})
    assert answer.status == 409 and answer.json["errors"][0]["pointer"] == "/site_kinds/1"
    answer = still.send("POST", "/v1/reference", {"site_kinds": [{**value, "site": "nobody"}]})
    assert answer.json["errors"][0]["reason"] == "site_unknown"
    unknown = {"participant": "nobody", "effective_date": "2999-01-01", "tax_registered": False}
    answer = still.send("POST", "/v1/reference", {"tax_registrations": [unknown]})
    assert answer.json["errors"][0]["reason"] == "participant_unknown"


def test_terms_keep_their_members(still):
    """A document without the new members is answered as before; rows and the standing fee go and come whole."""
    path = "/v1/schemes/tern-bay/terms/2999-01-01"
    told = {"effective_date": "2999-01-01", "pay_days": "daily"}
    assert still.send("PUT", path, network.TERMS).json == {**network.TERMS, **told}
    rows = {**network.TERMS, "monthly_fee": "12.00", "fees": ROWS}
    assert still.send("PUT", path, rows).json == {**rows, **told}
    assert [c["after"].get("fees") for c in still.items("/v1/changes", of="terms", scheme="tern-bay")][-2:] == [
        None,
        ROWS,
    ]
    assert still.send("PUT", path, {**network.TERMS, "fees": []}).json == {**network.TERMS, **told}
    still.assert_holds()
