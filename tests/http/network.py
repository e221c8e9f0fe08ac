# SPDX-License-Identifier: ISC
"""Reference documents and events of invented networks, and the contract's worked example as data."""
from datetime import date, datetime, time, timedelta, timezone
from uuid import uuid4
from zoneinfo import ZoneInfo

CUPS = [
    {"cup_type": "cup-300", "name": "Cup 300 ml", "volume_ml": 300, "mass_g": 48},
    {"cup_type": "cup-450", "name": "Cup 450 ml", "volume_ml": 450, "mass_g": 62},
]
TERMS = {
    "netting": "direct",
    "minimum_payment": "0.00",
    "service_fee": "0.00",
    "handling_fee": "0.00",
    "tax_rate": "0.00",
    "shortage_terms": "absorb",
    "variance_terms": "absorb",
}


def scheme(
    code,
    first_day,
    values,
    *,
    currency="CAD",
    time_zone="America/St_Johns",
    cut_off="03:00",
    stock_terms="on_loan",
    terms=(),
    more_values=(),
    **more,
):
    """`values` {cup type: amount} hold from `first_day`; `terms` change TERMS, each from its effective_date
    (first_day)."""
    return {
        "scheme": code,
        "currency": currency,
        "time_zone": time_zone,
        "cut_off": cut_off,
        "stock_terms": stock_terms,
        "terms": [{**TERMS, "effective_date": str(first_day), **t} for t in (terms or [{}])],
        "refund_values": [{"cup_type": c, "effective_date": str(first_day), "amount": a} for c, a in values.items()]
        + [{"cup_type": c, "effective_date": str(d), "amount": a} for c, d, a in more_values],
        **more,
    }


def reference(schemes, sites, cup_types=CUPS, **participants):
    """`sites` {code: (scheme, participant) or (scheme, participant, {more})}; participants may be given members by
    name."""
    rows = []
    for code, (in_scheme, participant, *more) in sites.items():
        rows.append(
            {
                "site": code,
                "scheme": in_scheme,
                "participant": participant,
                "name": code.title(),
                "kind": "cafe",
                "opened_on": "2000-01-01",
                **(more[0] if more else {}),
            }
        )
    codes = sorted({r["participant"] for r in rows} | set(participants))
    return {
        "cup_types": [dict(c) for c in cup_types],
        "schemes": list(schemes),
        "sites": rows,
        "participants": [{"participant": p, "name": p.title(), **participants.get(p, {})} for p in codes],
    }


def at(day, clock="10:00", zone="America/St_Johns"):
    """RFC 3339 of a wall clock time; "27:30" is half past three of the morning after."""
    hours, minutes = map(int, clock.split(":"))
    local = datetime.combine(day + timedelta(days=hours // 24), time(hours % 24, minutes), ZoneInfo(zone))
    return local.isoformat()


def business_day(cut_off="03:00", zone="America/St_Johns"):
    """The business day that contains now, except near a change of the clock. Ask for it when it is needed, because the
    tests run for a long time."""
    hours, minutes = map(int, cut_off.split(":"))
    return (datetime.now(ZoneInfo(zone)) - timedelta(hours=hours, minutes=minutes)).date()


def utc(when):
    return when.astimezone(timezone.utc).isoformat().replace("+00:00", "Z")


def event(kind, site=None, when=None, /, **members):
    """An event with a fresh id; site None: the event names a scheme among its members."""
    return {"event_id": str(uuid4()), "kind": kind, **({"site": site} if site else {}), "occurred_at": when, **members}


def cups(*lines, **sound):
    """cups("damaged", 2, "cup-300") style is avoided: cups(cup_300=5) names sound cups, lines are (cup type, n)
    damaged."""
    return [{"cup_type": c.replace("_", "-"), "quantity": n} for c, n in sound.items()] + [
        {"cup_type": c, "quantity": n, "condition": "damaged"} for c, n in lines
    ]


# The worked example of the accounting contract. Its day is 2026-05-12; on a clock that is not there yet, the year
# before.
WORKED_DAY = date(2026, 5, 12) if date.today() > date(2026, 5, 14) else date(2025, 5, 12)
WORKED_SITES = {"anchor": "hearth", "brick": "miller", "copper": "hearth", "dock": "quay"}


def worked_reference(stock_terms, day=WORKED_DAY, **more_terms):
    terms = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15", **more_terms}
    tern_bay = scheme("tern-bay", day, {"cup-300": "2.50", "cup-450": "3.50"}, stock_terms=stock_terms, terms=[terms])
    return reference([tern_bay], {s: ("tern-bay", p) for s, p in WORKED_SITES.items()})


def worked_events(day=WORKED_DAY):
    issue_at_brick = event("issue", "brick", at(day, "09:10"), issued=cups(cup_300=5), amount="12.50")
    dispatch = event("dispatch", "brick", at(day, "14:00"), cups=cups(cup_300=20), to="dock")
    return [
        event("supply", "anchor", at(day, "06:00"), cups=cups(cup_300=100, cup_450=40)),
        event("supply", "brick", at(day, "06:10"), cups=cups(cup_300=60)),
        event("supply", "copper", at(day, "06:20"), cups=cups(cup_300=40, cup_450=20)),
        event("issue", "anchor", at(day, "09:00"), issued=cups(cup_300=30, cup_450=10), amount="110.00", tender="card"),
        issue_at_brick,
        event(
            "return",
            "brick",
            at(day, "11:00"),
            returned=cups(("cup-300", 1), cup_300=21),
            amount="55.00",
            tender="cash",
        ),
        event("return", "copper", at(day, "11:30"), returned=cups(cup_450=6), amount="21.00"),
        event("exchange", "dock", at(day, "12:00"), returned=cups(cup_300=3), issued=cups(cup_450=2), amount="-0.50"),
        event("issue", "copper", at(day, "12:30"), issued=cups(cup_300=4), amount="8.00", reference="till 2/1187"),
        dispatch,
        event("receipt", "dock", at(day, "15:00"), cups=cups(cup_300=19), dispatch=dispatch["event_id"]),
        event("count", "copper", at(day, "20:00"), cups=[{"cup_type": "cup-300", "counted": 34}]),
        event("retire", "brick", at(day, "21:00"), cups=cups(cup_300=1), mass_g=47),
        event("reversal", "brick", at(day, "25:30"), reverses=issue_at_brick["event_id"]),
    ]


# The contract's table: account -> (on_loan, on_deposit); None if the account is in only one of the two.
WORKED_BEFORE_CLOSE = {
    "customer_deposits(cup-300)": ("-22.50", "-22.50"),
    "customer_deposits(cup-450)": ("-21.00", "-21.00"),
    "site_clearing(anchor)": ("110.00", "390.00"),
    "site_clearing(brick)": ("-55.00", "100.00"),
    "site_clearing(copper)": ("-13.00", "168.00"),
    "site_clearing(dock)": ("-0.50", "47.50"),
    "refund_variance": ("2.00", "2.00"),
    "loss_charges": ("0.00", "-5.00"),
    "stock_deposits(anchor,cup-300)": ("0.00", "-175.00"),
    "stock_deposits(anchor,cup-450)": ("0.00", "-105.00"),
    "stock_deposits(brick,cup-300)": ("0.00", "-152.50"),
    "stock_deposits(copper,cup-300)": ("0.00", "-85.00"),
    "stock_deposits(copper,cup-450)": ("0.00", "-91.00"),
    "stock_deposits(dock,cup-300)": ("0.00", "-55.00"),
    "stock_deposits(dock,cup-450)": ("0.00", "7.00"),
    "transit_deposits(cup-300)": ("0.00", "-2.50"),
}
WORKED_CUPS = {
    "site_stock(anchor,cup-300)": 70,
    "site_stock(brick,cup-300)": 61,
    "site_stock(copper,cup-300)": 34,
    "site_stock(dock,cup-300)": 22,
    "in_transit(cup-300)": 1,
    "with_customers(cup-300)": 9,
    "retired(cup-300)": 1,
    "unaccounted(cup-300)": 2,
    "supply(cup-300)": -200,
    "damaged(brick,cup-300)": 0,
    "site_stock(anchor,cup-450)": 30,
    "site_stock(copper,cup-450)": 26,
    "site_stock(dock,cup-450)": -2,
    "with_customers(cup-450)": 6,
    "supply(cup-450)": -60,
}
# service fee - handling fee, and the difference of their taxes, per site
WORKED_FEES = {
    "anchor": ("4.00", "0.60"),
    "brick": ("-0.88", "-0.13"),
    "copper": ("0.16", "0.02"),
    "dock": ("0.08", "0.01"),
}
WORKED_POSITIONS = {"hearth": ("101.78", "562.78"), "miller": ("-56.01", "98.99"), "quay": ("-0.41", "47.59")}
WORKED_PAYMENTS = (
    {("hearth", "miller"): "56.01", ("hearth", "quay"): "0.41", ("hearth", "pool"): "45.36"},
    {("hearth", "pool"): "562.78", ("miller", "pool"): "98.99", ("quay", "pool"): "47.59"},
)
WORKED_EXCEPTIONS = {
    ("exchange", "dock"): [{"exception": "negative_stock", "cup_type": "cup-450", "quantity": -2}],
    ("issue", "copper"): [{"exception": "off_tariff", "amount": "-2.00"}],
    ("receipt", "dock"): [{"exception": "receipt_short", "cup_type": "cup-300", "quantity": 1}],
    ("count", "copper"): [{"exception": "count_off", "cup_type": "cup-300", "quantity": -2}],
}


# The contract's "more cases": (what, stock terms, events of (day offset, clock, kind, site, members), balances after).
# cup-300 is 3.00 on day 0 and 4.00 from day 1; "close" closes the earliest open day.
def more_cases():
    ten = {"issued": cups(cup_300=10)}
    out = event("issue", "anchor", None, **ten)
    sent = event("dispatch", "anchor", None, cups=cups(cup_300=20), to="dock")
    return {
        "reversed after a change of value": (
            "on_loan",
            [
                (0, "06:00", event("supply", "anchor", cups=cups(cup_300=50))),
                (0, "09:00", out),
                "close",
                (1, "09:00", event("reversal", "anchor", reverses=out["event_id"])),
            ],
            {
                "customer_deposits(cup-300)": "0.00",
                "with_customers(cup-300)": 0,
                "site_stock(anchor,cup-300)": 50,
                "site_clearing(anchor)": "-30.00",
                "settlement_due(hearth)": "30.00",
                "refund_variance": "0.00",
            },
        ),
        "issued late without an amount": (
            "on_loan",
            [
                (0, "06:00", event("supply", "anchor", cups=cups(cup_300=50))),
                "close",
                (0, "09:00", event("issue", "anchor", **ten)),
            ],
            {"site_clearing(anchor)": "30.00", "customer_deposits(cup-300)": "-40.00", "refund_variance": "10.00"},
        ),
        "received at a new value": (
            "on_deposit",
            [
                (0, "06:00", event("supply", "anchor", cups=cups(cup_300=20))),
                (0, "09:00", sent),
                "close",
                (1, "09:00", event("receipt", "dock", cups=cups(cup_300=20), dispatch=sent["event_id"])),
            ],
            {
                "site_clearing(anchor)": "-60.00",
                "site_clearing(dock)": "80.00",
                "stock_deposits(dock,cup-300)": "-80.00",
                "transit_deposits(cup-300)": "0.00",
                "refund_variance": "0.00",
            },
        ),
        "two sites of one participant": (
            "on_loan",
            [
                (0, "09:00", event("issue", "anchor", issued=cups(cup_300=2))),
                (0, "09:30", event("return", "copper", returned=cups(cup_300=2))),
                "close",
            ],
            {"site_clearing(anchor)": "0.00", "site_clearing(copper)": "0.00", "settlement_due(hearth)": "0.00"},
        ),
    }


def more_cases_reference(stock_terms):
    day = WORKED_DAY
    return reference(
        [
            scheme(
                "tern-bay",
                day,
                {"cup-300": "3.00", "cup-450": "3.50"},
                stock_terms=stock_terms,
                more_values=[("cup-300", day + timedelta(days=1), "4.00")],
            )
        ],
        {s: ("tern-bay", p) for s, p in WORKED_SITES.items()},
    )


def timed(case_event, offset, clock):
    return {**case_event, "occurred_at": at(WORKED_DAY + timedelta(days=offset), clock)}
