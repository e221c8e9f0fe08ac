# SPDX-License-Identifier: ISC
"""Refusals: a row per reason, and hostile input. Each gets its problem answer and leaves the ledger as it was."""
import base64
import json
from datetime import date, datetime, timedelta, timezone
from uuid import uuid4

import pytest

import network
from model import DAY
from network import at, cups, event

FIRST = date.today() - timedelta(days=4)
OPEN = FIRST + DAY  # the earliest open day: FIRST is closed
ONE = cups(cup_300=1)
ID = "3f1c9a54-27d0-4b6e-9a51-1c5d0e8a7b42"
PLACES = [{"place": "with_customers", "cup_type": "cup-300", "quantity": 1}]
DUE = [{"participant": "hearth", "amount": "1.00"}]


@pytest.fixture(scope="module")
def net(shared):
    service = shared
    admin = service.admin
    types = [*network.CUPS, {"cup_type": "cup-new", "name": "New", "volume_ml": 1, "mass_g": 1}]
    document = network.reference(
        [
            network.scheme("tern-bay", FIRST, {"cup-300": "2.50", "cup-450": "3.50"}),
            network.scheme(
                "eider-sound",
                FIRST,
                {"cup-300": "300"},
                currency="ISK",
                time_zone="Atlantic/Reykjavik",
                terms=[{"minimum_payment": "0", "service_fee": "0", "handling_fee": "0"}],
            ),
            {k: v for k, v in network.scheme("unborn", FIRST, {}).items() if k not in ("terms", "refund_values")},
        ],
        {
            "anchor": ("tern-bay", "hearth"),
            "brick": ("tern-bay", "miller"),
            "hub": ("tern-bay", "hearth", {"kind": "hub"}),
            "later": ("tern-bay", "miller", {"opened_on": str(date.today() + DAY)}),
            "holm": ("eider-sound", "hearth"),
            "egg": ("unborn", "hearth"),
        },
        types,
    )
    admin.load(document)
    service.posted = {
        "issue": event("issue", "anchor", at(FIRST), issued=cups(cup_300=9), amount="22.50"),
        "reversed": event("issue", "anchor", at(FIRST), issued=ONE),
        "sent": event("dispatch", "anchor", at(OPEN), cups=cups(cup_300=5), to="brick"),
        "arrived": event("dispatch", "anchor", at(OPEN), cups=cups(cup_300=5), to="brick"),
        "open issue": event("issue", "brick", at(OPEN), issued=ONE),
        "forfeit": event("forfeit", None, at(OPEN), scheme="tern-bay", cups=ONE),
        "reinstate": event("reinstate", None, at(OPEN), scheme="tern-bay", cups=ONE),
    }
    service.posted["reversal"] = event("reversal", "anchor", at(FIRST), reverses=service.posted["reversed"]["event_id"])
    service.posted["receipt"] = event(
        "receipt", "brick", at(OPEN), cups=ONE, dispatch=service.posted["arrived"]["event_id"]
    )
    assert {r["status"] for r in admin.post_many(list(service.posted.values()))} == {"recorded"}
    admin.close("tern-bay", FIRST)
    service.ids = {name: sent["event_id"] for name, sent in service.posted.items()}
    service.till = service.client(service.create_key("till", "pos", sites=["anchor"]))
    return service


def ledger(net):
    return [(net.admin.accounts(s), net.admin.feed(s)) for s in ("tern-bay", "eider-sound")]


@pytest.fixture(autouse=True)
def ledger_unchanged(net):
    before = ledger(net)
    yield
    assert ledger(net) == before


def issue(**changes):
    """A correct event with changes; a member given as None is left out."""
    changed = {**event("issue", "anchor", at(OPEN), issued=ONE), **changes}
    return {k: v for k, v in changed.items() if v is not None}


def line(**changes):
    return issue(issued=[{**ONE[0], **changes}])


def event_rows(ids):
    """(name, event, status, reason): the admin posts it."""
    soon = (datetime.now(timezone.utc) + timedelta(minutes=6)).isoformat()
    many = [{"cup_type": f"cup-{n}", "quantity": 1} for n in range(101)]

    def brick(kind, **members):
        return event(kind, "brick", at(OPEN), **members)

    def anchor(kind, **members):
        return event(kind, "anchor", at(OPEN), **members)

    def legs(*accounts):
        return [{"account": a, "amount": "-1.00" if n % 2 else "1.00"} for n, a in enumerate(accounts)]

    def word(kind, scheme="tern-bay", **members):
        return event(kind, None, at(OPEN), scheme=scheme, **members)

    def opening(scheme="tern-bay", **members):
        return event("opening", None, at(FIRST), scheme=scheme, **{"places": PLACES, "bank": "0.00", **members})

    return [
        ("a text is not an event", "issue", 422, "wrong_type"),
        ("null is not an event", b"null", 422, "wrong_type"),
        ("unknown member", issue(colour="blue"), 422, "member_unknown"),
        ("unknown member of a line", line(size=1), 422, "member_unknown"),
        ("amount of a supply", anchor("supply", cups=ONE, amount="1.00"), 422, "member_unknown"),
        ("condition of what is issued", line(condition="damaged"), 422, "member_unknown"),
        ("condition of what is damaged", anchor("damage", cups=cups(("cup-300", 1))), 422, "member_unknown"),
        ("scheme beside the site", issue(scheme="tern-bay"), 422, "member_unknown"),
        ("site of a forfeit", word("forfeit", cups=ONE, site="anchor"), 422, "member_unknown"),
        *[
            (f"no {m}", issue(**{m: None}), 422, "member_missing")
            for m in ("event_id", "kind", "site", "occurred_at", "issued")
        ],
        ("no cup type", issue(issued=[{"quantity": 1}]), 422, "member_missing"),
        *[(f"quantity {q!r}", line(quantity=q), 422, "wrong_type") for q in (2.0, 1.5, "2", True, None, [2])],
        ("amount as a number", issue(amount=2.5), 422, "wrong_type"),
        ("amount as an integer", issue(amount=2), 422, "wrong_type"),
        ("issued as an object", issue(issued=ONE[0]), 422, "wrong_type"),
        ("site as a number", issue(site=7), 422, "wrong_type"),
        *[
            (f"event_id {i}", issue(event_id=i), 422, "bad_format")
            for i in ("", "1", ID[:-1], ID + "0", ID.replace("-", "_"), ID.replace("-", ""), "g" + ID[1:])
        ],
        *[
            (f"occurred_at {t}", issue(occurred_at=t), 422, "bad_format")
            for t in (
                "",
                "yesterday",
                "2026-05-12",
                "2026-05-12T07:30:00",
                "2026-02-30T07:30:00Z",
                "2026-05-12T24:30:00Z",
                "2026-05-12T07:60:00Z",
                "2026-05-12T07:30:00+25:00",
                "2026-05-12 07:30:00",
                "20260512T073000Z",
                "2026-05-12T07:30:00Z ",
                "99999-05-12T07:30:00Z",
            )
        ],
        *[
            (f"amount {a!r}", issue(amount=a), 422, None)
            for a in (
                "",
                "2,50",
                "+2.50",
                "2.50 ",
                " 2.50",
                "2e2",
                "0x10",
                "NaN",
                "Infinity",
                "--2.50",
                ".50",
                "2.",
                "٢.50",
                "02.50",
                "-2.50",
            )
        ],
        *[
            (f"amount {a}", issue(amount=a), 422, "out_of_range")
            for a in (
                "10000000000.01",
                "12345678901234567.00",
                "-12345678901234567.00",
                "99999999999999999999.00",
                "9" * 400,
            )
        ],
        *[(f"amount {a}", issue(amount=a), 422, "amount_decimals") for a in ("2", "2.5", "2.500")],
        ("decimals of ISK", event("issue", "holm", at(OPEN), issued=ONE, amount="300.00"), 422, "amount_decimals"),
        ("a return that paid less than nothing", anchor("return", returned=ONE, amount="-2.50"), 422, "out_of_range"),
        ("unknown kind", issue(kind="lend"), 422, "value_unknown"),
        ("unknown tender", issue(tender="gold"), 422, "value_unknown"),
        ("unknown condition", anchor("return", returned=[{**ONE[0], "condition": "dirty"}]), 422, "value_unknown"),
        (
            "unknown bearer",
            anchor("transit_loss", cups=ONE, dispatch=ids["sent"], bearer="nobody"),
            422,
            "value_unknown",
        ),
        *[(f"quantity {q}", line(quantity=q), 422, "out_of_range") for q in (0, -1, 1_000_001, 2**31, 2**63 - 1)],
        ("counted -1", anchor("count", cups=[{"cup_type": "cup-300", "counted": -1}]), 422, "out_of_range"),
        ("long reference", issue(reference="x" * 65), 422, "too_long"),
        ("no lines", issue(issued=[]), 422, "too_few"),
        ("101 lines", issue(issued=many), 422, "too_many"),
        ("cup type twice", issue(issued=ONE * 2), 422, "cup_type_repeated"),
        ("damaged twice", anchor("return", returned=cups(("cup-300", 1), ("cup-300", 2))), 422, "cup_type_repeated"),
        ("code of a site", issue(site="Anchor"), 422, "bad_format"),
        ("code of a cup type", line(cup_type="cup 300"), 422, "bad_format"),
        ("dispatch to itself", anchor("dispatch", cups=ONE, to="anchor"), 422, "same_site"),
        ("unknown site", issue(site="nowhere"), 422, "site_unknown"),
        ("dispatch to nowhere", anchor("dispatch", cups=ONE, to="nowhere"), 422, "site_unknown"),
        ("unknown scheme", word("forfeit", "nowhere", cups=ONE), 422, "scheme_unknown"),
        ("unknown cup type", line(cup_type="cup-999"), 422, "cup_type_unknown"),
        ("unknown dispatch", brick("receipt", cups=ONE, dispatch=str(uuid4())), 422, "event_unknown"),
        ("unknown original", anchor("reversal", reverses=str(uuid4())), 422, "event_unknown"),
        ("receipt of an issue", brick("receipt", cups=ONE, dispatch=ids["issue"]), 422, "not_a_dispatch"),
        ("dispatch to another scheme", anchor("dispatch", cups=ONE, to="holm"), 422, "site_in_other_scheme"),
        ("receipt in another scheme", event("receipt", "holm", at(OPEN), cups=ONE, dispatch=ids["sent"]), 422, None),
        ("site that opens tomorrow", issue(site="later"), 422, "site_not_open"),
        ("scheme without terms", issue(site="egg"), 422, "scheme_not_open"),
        ("before the first day", issue(occurred_at=at(FIRST - DAY)), 422, "before_first_day"),
        ("long before", issue(occurred_at="0001-01-01T00:00:00Z"), 422, None),
        ("no refund value", line(cup_type="cup-new"), 422, "no_refund_value"),
        *[
            (f"home {home}", anchor("return", returned=[{**ONE[0], "home": home}]), 422, "not_agreed")
            for home in ("eider-sound", "no-such-scheme")
        ],
        (
            "no refund value in this scheme",
            event("issue", "holm", at(OPEN), issued=cups(cup_450=1)),
            422,
            "no_refund_value",
        ),
        ("six minutes ahead", issue(occurred_at=soon), 422, "occurred_in_future"),
        ("far future", issue(occurred_at="9999-12-31T23:59:59Z"), 422, "occurred_in_future"),
        ("reversed twice", anchor("reversal", reverses=ids["reversed"]), 422, "already_reversed"),
        ("reversal of a reversal", anchor("reversal", reverses=ids["reversal"]), 422, "reversal_of_reversal"),
        ("reversal of itself", {**anchor("reversal", reverses=ID), "event_id": ID}, 422, "event_unknown"),
        ("reversal of an arrived dispatch", anchor("reversal", reverses=ids["arrived"]), 422, "dispatch_arrived"),
        ("reversal at another site", brick("reversal", reverses=ids["issue"]), 422, "site_differs"),
        (
            "loss at another site",
            brick("transit_loss", cups=ONE, dispatch=ids["sent"], bearer="sender"),
            422,
            "site_differs",
        ),
        ("more forfeited than out", word("forfeit", cups=cups(cup_300=1000)), 422, "more_than_out"),
        ("more reinstated than forfeited", word("reinstate", cups=ONE), 422, "more_than_forfeited"),
        ("reversal of a reinstated forfeit", word("reversal", reverses=ids["forfeit"]), 422, "more_than_forfeited"),
        ("reversal of a forfeit at a site", anchor("reversal", reverses=ids["reinstate"]), 422, "site_differs"),
        ("unknown account", word("journal", reason="r", legs=legs("cash", "bank")), 422, "account_unknown"),
        (
            "journal of deposits",
            word("journal", reason="r", legs=legs("customer_deposits(cup-300)", "bank")),
            422,
            "not_for_journals",
        ),
        (
            "journal that does not balance",
            word("journal", reason="r", legs=legs("bank", "tax", "tax")),
            422,
            "unbalanced",
        ),
        ("journal of one leg", word("journal", reason="r", legs=legs("bank")), 422, "too_few"),
        ("journal without a reason", word("journal", legs=legs("bank", "tax")), 422, "member_missing"),
        (
            "journal that says who approved it",
            word("journal", reason="r", legs=legs("bank", "tax"), approved_by="x"),
            422,
            "member_unknown",
        ),
        ("opening of a scheme that trades", opening(), 409, "opening_too_late"),
        ("opening of a cup type twice", opening(places=PLACES * 2), 422, "cup_type_repeated"),
        ("opening with a participant twice", opening(due=DUE * 2), 422, "participant_repeated"),
        (
            "opening with a participant of another scheme",
            opening("eider-sound", bank="0", due=[{"participant": "miller", "amount": "5"}]),
            422,
            "participant_elsewhere",
        ),
        (
            "opening after the first day",
            {**opening("eider-sound", bank="0"), "occurred_at": at(OPEN, zone="Atlantic/Reykjavik")},
            422,
            "opening_not_on_first_day",
        ),
        (
            "same id, other amount",
            {**event("issue", "anchor", at(FIRST), issued=cups(cup_300=9), amount="22.00"), "event_id": ids["issue"]},
            409,
            "event_id_conflict",
        ),
        (
            "same id, no amount",
            {**event("issue", "anchor", at(FIRST), issued=cups(cup_300=9)), "event_id": ids["issue"]},
            409,
            "event_id_conflict",
        ),
    ]


EVENT_NAMES = [
    row[0]
    for row in event_rows(
        dict.fromkeys(
            ("issue", "reversed", "sent", "arrived", "open issue", "reversal", "receipt", "forfeit", "reinstate"), ""
        )
    )
]


@pytest.mark.parametrize("name", EVENT_NAMES)
def test_events(net, name):
    _, sent, status, reason = next(row for row in event_rows(net.ids) if row[0] == name)
    answer = net.admin.send("POST", "/v1/events", sent)
    assert answer.status == status and (reason is None or reason in answer.reasons), answer.body
    if isinstance(sent, dict):  # the same within an array: rejected alone, with the same problem
        (result,) = net.admin.post_many([sent])
        assert result["status"] == "rejected" and result["problem"]["status"] == status
        assert result["problem"]["reason"] == answer.json["reason"]


def test_a_refused_id_stays_free(net):
    """After a refusal for its content, the id may be used again. Here only a dry run uses it."""
    refused = issue(issued=[{"cup_type": "cup-999", "quantity": 1}])
    net.admin.refused("POST", "/v1/events", refused, 422, "cup_type_unknown")
    assert net.admin.send("POST", "/v1/events?dry_run=true", {**refused, "issued": ONE}).json["status"] == "recorded"


def test_one_bad_event_does_not_hold_up_the_others(net):
    batch = [issue(), issue(colour="blue"), "nonsense", issue(event_id="x"), issue()]
    answer = net.admin.send("POST", "/v1/events?dry_run=true", batch).json
    assert [r["status"] for r in answer["results"]] == ["recorded", "rejected", "rejected", "rejected", "recorded"]
    assert (answer["recorded"], answer["duplicate"], answer["rejected"]) == (2, 0, 3)
    assert answer["results"][1]["event_id"] == batch[1]["event_id"] and "event_id" not in answer["results"][2]


def test_all_faults_of_an_event_at_once(net):
    bad = {**line(quantity=0, size=1), "tender": "gold", "amount": 5, "kolor": "x"}
    faults = {
        (e["pointer"], e["reason"])
        for e in net.admin.refused("POST", "/v1/events", bad, 422, "out_of_range").json["errors"]
    }
    assert faults == {
        ("/issued/0/quantity", "out_of_range"),
        ("/issued/0/size", "member_unknown"),
        ("/amount", "wrong_type"),
        ("/tender", "value_unknown"),
        ("/kolor", "member_unknown"),
    }


# Bodies that are hardly JSON. The service may answer 400 not_json or 422. It may not crash, hang or record.
GOOD = json.dumps(
    {
        "event_id": ID,
        "kind": "issue",
        "site": "anchor",
        "occurred_at": "2026-05-12T07:30:00Z",
        "issued": [{"cup_type": "cup-300", "quantity": 1}],
        "reference": "r",
    }
).encode()


def text(value):
    """The good body as JSON text, with another value for its reference."""
    return GOOD.replace(b'"r"', value)


def number(value):
    return GOOD.replace(b'y": 1', b'y": ' + value)


BODIES = {
    "nothing": (b"", 400),
    "white space": (b" \n", 400),
    "cut short": (GOOD[:-1], 400),
    "two texts": (GOOD * 2, 400),
    "trailing comma": (GOOD.replace(b"}]", b"},]"), 400),
    "single quotes": (GOOD.replace(b'"', b"'"), 400),
    "byte order mark": (b"\xef\xbb\xbf" + GOOD, 400),
    "UTF-16": (GOOD.decode().encode("utf-16"), 400),
    "bad UTF-8": (text(b'"\xff\xfe"'), 400),
    "overlong UTF-8": (text(b'"\xc0\xaf"'), 400),
    "surrogate in UTF-8": (text(b'"\xed\xa0\x80"'), 400),
    "lone surrogate": (text(b'"\\ud800"'), None),
    "NUL byte": (text(b'"a\0b"'), 400),
    "control character": (text(b'"a\nb"'), 400),
    "escaped NUL": (text(b'"a\\u0000b"'), None),
    "NUL in a name": (GOOD.replace(b'"reference"', b'"refer\\u0000ence"'), None),
    "member twice": (GOOD.replace(b'"reference"', b'"kind"'), None),
    "NaN": (number(b"NaN"), 400),
    "1e400": (number(b"1e400"), None),
    "-0": (number(b"-0"), None),
    "1e0": (number(b"1e0"), None),
    "leading zero": (number(b"01"), 400),
    "huge integer": (number(b"9" * 400), None),
    "2^63": (number(b"9223372036854775808"), None),
    "2^64+1": (number(b"18446744073709551617"), None),
    "deep arrays": (b"[" * 100_000 + b"]" * 100_000, None),
    "deep objects": (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, None),
    "open brackets": (b"[" * 100_000, 400),
    "deep inside": (text(b"[" * 1000 + b"]" * 1000), None),
    "many members": (b'{"a":1' + b"".join(b',"m%d":1' % n for n in range(50_000)) + b"}", 422),
    "a long text": (text(b'"' + b"x" * 500_000 + b'"'), 422),
}


@pytest.mark.parametrize("name", BODIES)
def test_bodies(net, name):
    body, status = BODIES[name]
    answer = net.admin.send("POST", "/v1/events", body)
    assert answer.status in ((status,) if status else (400, 422)), answer.body[:500]
    if answer.status == 400:
        assert answer.json["reason"] == "not_json"
    assert net.admin.send("GET", "/healthz").status == 200


def test_too_few_and_too_many(net):
    net.admin.refused("POST", "/v1/events", [], 422, "too_few")
    net.admin.refused("POST", "/v1/events", [issue(event_id="x")] * 1001, 422, "too_many")
    results = net.admin.post_many([issue(event_id="x")] * 1000)
    assert {r["status"] for r in results} == {"rejected"}


def test_requests(net):
    """Refusals of HTTP itself, and of queries."""
    admin, good = net.admin, GOOD
    admin.refused("POST", "/v1/events", good, 415, "unsupported_media_type", {"Content-Type": "text/plain"})
    admin.refused("POST", "/v1/events", b"", 413, "body_too_large", {"Content-Length": "1000000000"})
    admin.refused("GET", "/v1/nothing", None, 404, "not_found")
    admin.refused("GET", "/v1/events/" + str(uuid4()), None, 404, "not_found")
    admin.refused("GET", "/v1/events/x", None, 404, "not_found")
    allow = admin.refused("DELETE", "/v1/events", None, 405, "method_not_allowed").headers["Allow"]
    assert set(allow.replace(" ", "").split(",")) >= {"GET", "POST"}
    admin.refused("GET", f"/v1/settlements/tern-bay/{FIRST}", None, 406, "not_acceptable", {"Accept": "image/png"})
    net.client().refused("GET", "/v1/me", None, 401, "unauthenticated")
    for header in ("Bearer", "Bearer ", "Bearer \xff", "Basic !!!", "Basic YQ==", "Digest x", "Bearer " + "x" * 5000):
        assert net.client().send("GET", "/v1/me", headers={"Authorization": header}).status in (400, 401)
    net.till.refused("PUT", "/v1/cup-types/cup-300", {}, 403, "role_not_allowed")
    net.till.refused("POST", "/v1/events", issue(site="brick"), 403, "site_not_allowed")
    net.till.refused("POST", "/v1/events", event("retire", "anchor", at(OPEN), cups=ONE), 403, "retire_needs_hub")
    net.till.refused(
        "POST",
        "/v1/events",
        event("reversal", "anchor", at(OPEN), reverses=net.ids["issue"]),
        403,
        "reversal_needs_accountant",
    )


def test_pages_of_other_sites(net):
    """A form on another site can make a browser post without a body, and the browser adds its credentials for HTTP
    Basic. It says so in headers that no page can set: Sec-Fetch-Site (W3C, Fetch Metadata Request Headers), or Origin
    (RFC 6454, section 7)."""
    basic = "Basic " + base64.b64encode(f"first-admin:{net.admin_key}".encode()).decode()
    target, browser = f"/v1/schemes/tern-bay/days/{FIRST}/close", net.client()
    own = f"http://127.0.0.1:{net.port}"
    for headers in (
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Origin": own},
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": f"{own}0"},
    ):
        browser.refused("POST", target, None, 403, "cross_site", {"Authorization": basic, **headers})
        browser.refused("POST", target + "?dry_run=true", None, 403, "cross_site", {"Authorization": basic, **headers})
        browser.refused("DELETE", "/v1/keys/nobody", None, 403, "cross_site", {"Authorization": basic, **headers})
        # a link does no harm
        assert browser.send("GET", "/v1/me", headers={"Authorization": basic, **headers}).status == 200
        assert net.admin.send("POST", target, headers=headers).status == 200  # no browser adds a Bearer token
    for headers in ({}, {"Sec-Fetch-Site": "same-origin"}, {"Sec-Fetch-Site": "none"}, {"Origin": own}):
        assert browser.send("POST", target, headers={"Authorization": basic, **headers}).status == 200, headers


@pytest.mark.parametrize(
    "target, reason",
    ids=lambda v: str(v)[:60],
    argvalues=[
        ("/v1/accounts", "parameter_missing"),
        ("/v1/settlements", "parameter_missing"),
        ("/v1/reports/trial-balance", "parameter_missing"),
        ("/v1/accounts?scheme=tern-bay&colour=blue", "parameter_unknown"),
        ("/v1/events?scheme=tern-bay&scheme=tern-bay", None),
        *[
            (f"/v1/events?scheme=tern-bay&{q}", "parameter_invalid")
            for q in (
                "limit=0",
                "limit=1001",
                "limit=-1",
                "limit=ten",
                "limit=",
                "limit=99999999999999999999",
                "cursor=nonsense",
                "cursor=",
                "from=2026-02-30",
                "to=tomorrow",
                "business_date=1",
                "kind=lend",
            )
        ],
        ("/v1/accounts?scheme=tern-bay&as_of=2026-5-12", "parameter_invalid"),
        ("/v1/accounts?scheme=tern-bay&account_kind=till", "parameter_invalid"),
        ("/v1/accounts?scheme=Tern%20Bay", None),
        ("/v1/accounts?scheme=%00", None),
        ("/v1/accounts?scheme=%ff%fe", None),
        ("/v1/accounts?scheme=" + "x" * 3000, None),
    ],
)
def test_queries(net, target, reason):
    answer = net.admin.send("GET", target)
    assert answer.status in ((422,) if reason else (400, 404, 414, 422)), answer.body
    assert reason is None or reason in answer.reasons
    if reason:
        assert all("parameter" in fault for fault in answer.json["errors"])


@pytest.mark.parametrize(
    "path",
    ids=lambda v: v[:60],
    argvalues=[
        "/v1/sites/%2e%2e%2f",
        "/v1/sites/..",
        "/v1/sites/%00",
        "/v1/sites/%zz",
        "//v1//sites",
        "/v1/sites/",
        "/v1/sites/" + "a" * 3000,
        "/v1/settlements/tern-bay/2026-02-30",
        "/V1/SITES",
        "/v1/sites/a%2Fb",
        "/v1/schemes/tern-bay/days/x/close",
        "/v1/reports/nothing?scheme=tern-bay",
    ],
)
def test_paths(net, path):
    answer = net.admin.send("GET", path)
    assert 400 <= answer.status < 500, answer.body


def test_request_ids(net):
    assert (
        net.admin.send("GET", "/healthz", headers={"X-Request-Id": "till-2.1187"}).headers["X-Request-Id"]
        == "till-2.1187"
    )
    first, second = (net.admin.send("GET", "/healthz").headers["X-Request-Id"] for _ in range(2))
    assert first != second
    for hostile in ("x" * 4000, "a b\tc", "<script>"):
        echoed = net.admin.send("GET", "/healthz", headers={"X-Request-Id": hostile}).headers["X-Request-Id"]
        assert "\n" not in echoed and len(echoed) < 1000


# Reasons that other files test (reference, close, keys, stream, oversight), or that no client can provoke.
ELSEWHERE = {
    # test_pool_payments.py
    "signer_needed",
    "day_not_ended",
    "earlier_day_open",
    "fixed_once_posted",
    "starts_too_soon",
    "name_taken",
    # test_fee_rows.py
    "fee_row_repeated",
    "precondition_failed",
    "currency_unknown",
    "time_zone_unknown",
    "participant_unknown",
    "value_repeated",  # test_pay_days.py
    "scheme_ended",  # test_reports_winding_up.py
    "overloaded",
    "outcome_unknown",
    "internal_error",
    "too_many_requests",
    "already_resolved",
    "exception_unknown",  # test_several_at_once.py
    *("batch_unknown", "batch_conflict", "more_than_retired"),  # test_reports_remaking.py
    *("batch_withdrawn", "batch_supplied", "retired_in_batch"),  # the same
    "day_not_sealed",
    "seal_broken",
    # test_framing.py, and of slow requests tests/faults/test_clients.py
    "bad_framing",
    "target_too_long",
    "head_too_large",
    "not_implemented",
    "version_not_supported",
    "request_timeout",
    "too_slow",  # test_waits.py
    # test_payments.py and test_journals.py
    "payment_state",
    "payment_held",
    "payment_not_held",
    "approver_closed_day",
    "second_key_needed",
    "proposal_decided",
    "payment_direct",
    "reversal_of_journal",
    "not_csv",  # test_csv.py
    "two_people_needed",  # test_reference_lines.py
    # test_opening.py
    "opening_pending",
    "opening_stands",
    "first_day_closed",
    # test_bank.py
    "nothing_approved",
    "bank_details_missing",
    "bank_account_changed",
    "not_xml",
    "not_camt053",
    "statement_invalid",
    "statement_currency",
    "statement_account",
    "statement_conflict",
    "line_not_open",
    "bank_by_statement",  # test_journals.py
    "bank_account_shared",  # test_reference.py
    "payment_unknown",
    # test_months.py
    "month_not_ended",
    "month_closed",
    "month_open",
    "bearer_in_other_scheme",  # test_sent_home.py
    # test_shipments.py
    "shipment_conflict",
    "shipment_done",
}


def test_every_reason_has_a_row(net):
    here = {row[3] for row in event_rows(net.ids)} | {
        "not_json",
        "unsupported_media_type",
        "body_too_large",
        "not_found",
        "method_not_allowed",
        "not_acceptable",
        "unauthenticated",
        "role_not_allowed",
        "site_not_allowed",
        "retire_needs_hub",
        "reversal_needs_accountant",
        "parameter_missing",
        "parameter_unknown",
        "parameter_invalid",
        "cross_site",
    }
    assert net.contract.reasons - here - ELSEWHERE == set(), "reasons of /openapi.json that no test provokes"
    assert (here | ELSEWHERE) - {None} - net.contract.reasons == set(), "reasons that /openapi.json does not list"
