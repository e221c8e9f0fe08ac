# SPDX-License-Identifier: ISC
"""Reference data: PUT and GET, ETag and If-Match, dry_run, effective dating, data that is fixed once events are
posted, loading, keys."""
import base64
import subprocess
from datetime import timedelta

import pytest

import network
from harness import Database, new_service
from model import DAY
from network import at, business_day, cups, event

FIRST = business_day() - timedelta(days=3)
CUP = {"name": "Cup 300 ml", "volume_ml": 300, "mass_g": 48}
# an IBAN of the check values, section 3
PARTICIPANT = {"name": "Hearth", "bank_account": {"iban": "DE89370400440532013000"}}
SITE = {"scheme": "tern-bay", "participant": "hearth", "name": "Anchor", "kind": "cafe", "opened_on": "2020-01-01"}
SCHEME = {"currency": "CAD", "time_zone": "America/St_Johns", "cut_off": "03:00", "stock_terms": "on_loan"}
TERMS = dict(network.TERMS)


def document(**more):
    return network.reference(
        [network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}, **more)],
        {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller")},
    )


def issue(**more):
    return event("issue", "anchor", at(FIRST), issued=cups(cup_300=1), **more)


def test_each_thing_by_put(service):
    """The smallest network made by hand takes an event. Each PUT is 201, then 200, and GET gives the thing with its
    code."""
    admin = service.admin
    things = [
        ("/v1/cup-types/cup-300", CUP, {"cup_type": "cup-300"}),
        ("/v1/participants/hearth", PARTICIPANT, {"participant": "hearth"}),
        ("/v1/schemes/tern-bay", SCHEME, {"scheme": "tern-bay"}),
        (f"/v1/schemes/tern-bay/terms/{FIRST}", TERMS, {"effective_date": str(FIRST)}),
        (f"/v1/schemes/tern-bay/refund-values/cup-300/{FIRST}", {"amount": "2.50"}, {"cup_type": "cup-300"}),
        ("/v1/sites/anchor", SITE, {"site": "anchor"}),
    ]
    for path, body, code in things:
        created = admin.send("PUT", path, body)
        assert created.status == 201 and created.headers["ETag"], path
        again = admin.send("PUT", path, body)
        assert again.status == 200 and again.headers["ETag"] == created.headers["ETag"], path
        shown = admin.send("GET", path)
        assert shown.headers["ETag"] == created.headers["ETag"]
        assert shown.json.items() >= {**body, **code}.items(), path
    assert admin.post(issue())["status"] == "recorded"
    listed = {"cup-types": "cup_type", "participants": "participant", "schemes": "scheme", "sites": "site"}
    for collection, code in listed.items():
        assert [i[code] for i in admin.items(f"/v1/{collection}")] == [
            {"cup_type": "cup-300", "participant": "hearth", "scheme": "tern-bay", "site": "anchor"}[code]
        ]
    assert [t["effective_date"] for t in admin.items("/v1/schemes/tern-bay/terms")] == [str(FIRST)]
    assert [v["amount"] for v in admin.items("/v1/schemes/tern-bay/refund-values")] == ["2.50"]


def test_defaults(service):
    """A thing that a short PUT created has the contract's defaults."""
    admin = service.admin
    admin.put("/v1/schemes/tern-bay", SCHEME)
    admin.put("/v1/participants/hearth", {"name": "Hearth"})
    scheme = admin.get("/v1/schemes/tern-bay")
    assert {
        k: scheme[k]
        for k in (
            "close_after_minutes",
            "return_target",
            "carry_days",
            "loss_bearer",
            "count_tolerance",
        )
    } == {
        "close_after_minutes": 60,
        "return_target": "0.90",
        "carry_days": 30,
        "loss_bearer": "receiver",
        "count_tolerance": 0,
    }
    assert admin.get("/v1/participants/hearth")["tax_registered"] is True


def test_if_match(service):
    admin, path = service.admin, "/v1/cup-types/cup-300"
    admin.refused("PUT", path, CUP, 412, "precondition_failed", headers={"If-Match": '"nothing"'})
    admin.refused("PUT", path, CUP, 412, "precondition_failed", headers={"If-Match": "*"})
    tag = admin.put(path, CUP).headers["ETag"]
    lighter = {**CUP, "mass_g": 40}
    admin.refused("PUT", path, lighter, 412, "precondition_failed", headers={"If-Match": '"nothing"'})
    assert admin.get(path)["mass_g"] == 48
    changed = admin.put(path, lighter, headers={"If-Match": f'"nothing", {tag}'})
    assert changed.status == 200 and changed.headers["ETag"] != tag
    admin.refused("PUT", path, CUP, 412, "precondition_failed", headers={"If-Match": tag})
    assert admin.put(path, CUP, headers={"If-Match": "*"}).status == 200


def test_dry_run_writes_nothing(service):
    admin = service.admin
    assert admin.send("PUT", "/v1/cup-types/cup-300?dry_run=true", CUP).status in (200, 201)
    admin.refused("GET", "/v1/cup-types/cup-300", None, 404, "not_found")
    assert admin.send("POST", "/v1/reference?dry_run=true", document()).status == 200
    assert admin.items("/v1/schemes") == []
    admin.refused("PUT", "/v1/cup-types/cup-300?dry_run=true", {**CUP, "volume_ml": 0}, 422, "out_of_range")
    admin.load(document())
    admin.send("DELETE", "/v1/keys/first-admin?dry_run=true")
    assert admin.send("GET", "/v1/me").status == 200
    dry = admin.send("POST", "/v1/events?dry_run=true", [issue(), issue(amount="2.00")])
    assert dry.json["dry_run"] is True and dry.json["recorded"] == 2
    assert {"exception": "off_tariff", "amount": "-0.50"} in dry.json["results"][1]["exceptions"]
    one = issue()
    assert admin.send("POST", "/v1/events?dry_run=true", one).json["dry_run"] is True
    assert admin.feed("tern-bay") == [] and admin.post(one)["entry"] == 1


def test_a_document_is_all_or_nothing(service):
    admin = service.admin
    bad = document()
    bad["sites"].append({**bad["sites"][0], "site": "cairn", "participant": "nobody"})
    refused = admin.refused("POST", "/v1/reference", bad, 422, "participant_unknown")
    assert any(e["pointer"] == "/sites/2/participant" for e in refused.json["errors"])
    assert admin.items("/v1/sites") == [] and admin.items("/v1/schemes") == []
    assert admin.load(document()) == {
        "schemes": 1,
        "participants": 2,
        "sites": 2,
        "cup_types": 2,
        "terms": 1,
        "refund_values": 1,
        "office_accounts": 0,
        "tax_registrations": 0,
        "site_kinds": 0,
        "agreements": 0,
    }
    assert admin.load({"sites": []})["sites"] == 0


def test_all_faults_at_once(service):
    bad = document()
    bad["cup_types"][0]["volume_ml"] = "300"
    bad["schemes"][0]["terms"][0]["netting"] = "sideways"
    bad["sites"][1].pop("name")
    bad["sites"][0]["colour"] = "blue"
    faults = {
        (e["pointer"], e["reason"])
        for e in service.admin.refused("POST", "/v1/reference", bad, 422, "wrong_type").json["errors"]
    }
    assert faults >= {
        ("/cup_types/0/volume_ml", "wrong_type"),
        ("/schemes/0/terms/0/netting", "value_unknown"),
        ("/sites/1/name", "member_missing"),
        ("/sites/0/colour", "member_unknown"),
    }


def test_a_network_can_be_carried_elsewhere(service):
    """POST /v1/reference takes the document that GET /v1/reference gives, and GET then gives it again."""
    full = document(
        count_tolerance=2,
        variance_limit="50.00",
        carry_days=9,
        loss_bearer="operator",
        return_target="0.95",
        dual_control=True,
        close_after_minutes=90,
        holidays=["2026-07-01"],
        more_values=[("cup-450", FIRST, "3.50")],
        operator={"name": "Tern Bay Cups", "bank_account": {"account": "000123456", "bank_code": "000199999"}},
    )
    full["participants"][0] |= {
        "bank_account": {"iban": "GB29NWBK60161331926819"},
        "tax_registered": False,
        "mandate": {"id": "M-1", "signed_on": "2026-01-31"},
    }
    full["sites"][0] |= {
        "latitude": 47.57,
        "longitude": -52.71,
        "gln": "9506000134307",  # GLN: check values, section 4
        "par_stock": [{"cup_type": "cup-300", "quantity": 80}],
        "closed_on": "2030-12-31",
    }
    full["cup_types"][0]["grai"] = "07300015200154"  # GRAI: check values, section 4
    service.admin.load(full)
    given = service.admin.get("/v1/reference")
    elsewhere = Database()
    try:
        other = new_service(elsewhere)
        try:
            other.admin.load(given)
            assert other.admin.get("/v1/reference") == given
        finally:
            other.stop()
    finally:
        elsewhere.drop()
    for rows, code in (
        ("cup_types", "cup_type"),
        ("participants", "participant"),
        ("schemes", "scheme"),
        ("sites", "site"),
    ):
        have = {row[code]: row for row in given[rows]}
        for row in full[rows]:
            flat = {k: v for k, v in row.items() if k not in ("terms", "refund_values", "office_accounts")}
            assert have[row[code]].items() >= flat.items(), (rows, have[row[code]])


def test_values_and_terms_start_in_the_future(service):
    """While there are no events, any date is allowed. After that, only a day that begins more than five minutes from
    now."""
    admin, value = service.admin, "/v1/schemes/tern-bay/refund-values/cup-{}/{}".format
    admin.load(document())
    admin.put(value(300, FIRST + DAY), {"amount": "2.75"})
    admin.put(f"/v1/schemes/tern-bay/terms/{FIRST + DAY}", {**TERMS, "service_fee": "0.10"})
    admin.post(issue())
    today = business_day()
    for day in (FIRST, FIRST + DAY, today):
        admin.refused("PUT", value(300, day), {"amount": "3.00"}, 422, "starts_too_soon")
        admin.refused(
            "PUT", f"/v1/schemes/tern-bay/terms/{day}", {**TERMS, "service_fee": "0.20"}, 422, "starts_too_soon"
        )
    assert admin.put(value(300, today + 2 * DAY), {"amount": "3.00"}).status == 201
    assert admin.put(value(300, today + 2 * DAY), {"amount": "3.25"}).status == 200
    assert admin.put(f"/v1/schemes/tern-bay/terms/{today + 2 * DAY}", {**TERMS, "service_fee": "0.20"}).status == 201
    # A cup type's first value may start on any open day, even if the day has begun, but not on a closed day.
    admin.close("tern-bay", FIRST)
    admin.refused("PUT", value(450, FIRST), {"amount": "3.50"}, 422, "starts_too_soon")
    admin.refused("PUT", value(300, FIRST), {"amount": "3.00"}, 422, "starts_too_soon")
    admin.refused(
        "PUT", f"/v1/schemes/tern-bay/terms/{FIRST}", {**TERMS, "service_fee": "0.20"}, 422, "starts_too_soon"
    )
    assert admin.put(value(450, FIRST + DAY), {"amount": "3.50"}).status == 201
    assert admin.post(event("issue", "anchor", at(FIRST + DAY), issued=cups(cup_450=1)))["status"] == "recorded"


@pytest.mark.parametrize(
    "path, body, change",
    [
        ("/v1/schemes/tern-bay", SCHEME, {"currency": "NOK"}),
        ("/v1/schemes/tern-bay", SCHEME, {"time_zone": "Europe/Oslo"}),
        ("/v1/schemes/tern-bay", SCHEME, {"cut_off": "04:00"}),
        ("/v1/schemes/tern-bay", SCHEME, {"stock_terms": "on_deposit"}),
        ("/v1/sites/anchor", SITE, {"participant": "miller"}),
        ("/v1/sites/anchor", SITE, {"scheme": "skerry"}),
    ],
)
def test_fixed_once_posted(service, path, body, change):
    admin = service.admin
    admin.load(document())
    admin.load(
        network.reference([network.scheme("skerry", FIRST, {"cup-300": "2.50"})], {"cairn": ("skerry", "hearth")})
    )
    assert admin.put(path, {**body, **change}).status == 200
    assert admin.put(path, body).status == 200
    admin.post(issue())
    admin.refused("PUT", path, {**body, **change}, 409, "fixed_once_posted")
    assert (
        admin.put(path, {**body, **({"name": "Anchor East"} if "sites" in path else {"carry_days": 10})}).status == 200
    )


def office_account(account, code="1780", name="Sales tax"):
    return {"accounts": [{"account": account, "code": code, "name": name}]}


def rows_of_refusals():
    scheme, site, cup = "/v1/schemes/tern-bay", "/v1/sites/anchor", "/v1/cup-types/cup-300"
    yield scheme, {**SCHEME, "currency": "XQQ"}, "currency_unknown"
    yield scheme, {**SCHEME, "currency": "XAU"}, "currency_unknown"  # ISO 4217 gives it no minor unit
    yield scheme, {**SCHEME, "time_zone": "Atlantic/Tern_Bay"}, "time_zone_unknown"
    yield scheme, {**SCHEME, "time_zone": "../../etc/passwd"}, "time_zone_unknown"
    yield scheme, {**SCHEME, "cut_off": "24:00"}, "bad_format"
    yield scheme, {**SCHEME, "cut_off": "3:00"}, "bad_format"
    yield scheme, {**SCHEME, "stock_terms": "free"}, "value_unknown"
    yield scheme, {**SCHEME, "return_target": "1.1"}, "out_of_range"
    yield scheme, {**SCHEME, "return_target": 0.9}, "wrong_type"
    yield scheme, {**SCHEME, "count_tolerance": -1}, "out_of_range"
    yield scheme, {**SCHEME, "loss_bearer": "nobody"}, "value_unknown"
    yield scheme, {**SCHEME, "variance_limit": "1.005"}, "amount_decimals"
    yield scheme, {**SCHEME, "holidays": ["2026-02-30"]}, "bad_format"
    yield scheme, {**SCHEME, "scheme": "tern-bay"}, "member_unknown"
    yield scheme, {**SCHEME, "terms": []}, "member_unknown"
    yield scheme, {k: v for k, v in SCHEME.items() if k != "currency"}, "member_missing"
    yield f"{scheme}/terms/{FIRST}", {**TERMS, "tax_rate": "0.1234567"}, "bad_format"
    yield f"{scheme}/terms/{FIRST}", {**TERMS, "tax_rate": "-0.1"}, None
    yield f"{scheme}/terms/{FIRST}", {**TERMS, "minimum_payment": "-1.00"}, None
    yield f"{scheme}/terms/{FIRST}", {**TERMS, "service_fee": "0.005"}, "amount_decimals"
    yield f"{scheme}/terms/2026-02-30", TERMS, None
    yield f"{scheme}/refund-values/cup-300/{FIRST}", {"amount": "2.5"}, "amount_decimals"
    yield f"{scheme}/refund-values/cup-300/{FIRST}", {"amount": 2.5}, "wrong_type"
    yield f"{scheme}/refund-values/cup-300/{FIRST}", {"amount": "-2.50"}, None
    yield f"{scheme}/refund-values/cup-999/{FIRST}", {"amount": "2.50"}, "cup_type_unknown"
    yield f"/v1/schemes/nowhere/terms/{FIRST}", TERMS, None
    yield f"/v1/schemes/nowhere/office-accounts/{FIRST}", {"accounts": []}, "not_found"
    yield f"{scheme}/office-accounts/2026-02-30", {"accounts": []}, None
    yield f"{scheme}/office-accounts/{FIRST}", {}, "member_missing"
    for account, reason in (
        ("cash", "account_unknown"),
        ("site_clearing(nowhere)", "account_unknown"),
        ("site_clearing()", "account_unknown"),
        ("site_clearing(anchor,cup-300)", "account_unknown"),
        ("stock_deposits(anchor)", "account_unknown"),
        ("customer_deposits(cup-999)", "account_unknown"),
        ("arrears(nobody)", "account_unknown"),
        ("bank(anchor)", "account_unknown"),
        ("site_clearing(anchor", "account_unknown"),
        ("with_customers", "value_unknown"),  # cups
        ("site_stock(anchor,cup-300)", "value_unknown"),
        ("", "bad_format"),
        ("a" * 101, "too_long"),
    ):
        yield f"{scheme}/office-accounts/{FIRST}", office_account(account), reason
    for code, reason in (
        ("", "bad_format"),
        (" 1", "bad_format"),
        ("1 ", "bad_format"),
        ("1\t2", "bad_format"),
        ("1\u00e9", "bad_format"),
        ("=1", "bad_format"),
        ("-1", "bad_format"),
        ("1" * 33, "too_long"),
        (1200, "wrong_type"),
    ):
        yield f"{scheme}/office-accounts/{FIRST}", office_account("bank", code), reason
    for name, reason in (("", "bad_format"), ("a\nb", "bad_format"), ("Bank ", "bad_format"), ("x" * 101, "too_long")):
        yield f"{scheme}/office-accounts/{FIRST}", office_account("bank", name=name), reason
    twice = office_account("tax")["accounts"]
    yield f"{scheme}/office-accounts/{FIRST}", {"accounts": [*twice, *office_account("bank")["accounts"], *twice]}, None
    other_name = office_account("bank", name="Another")["accounts"]
    yield f"{scheme}/office-accounts/{FIRST}", {"accounts": [*twice, *other_name]}, "bad_format"
    yield site, {**SITE, "scheme": "nowhere"}, "scheme_unknown"
    yield site, {**SITE, "participant": "nobody"}, "participant_unknown"
    yield site, {**SITE, "kind": "bar"}, "value_unknown"
    yield site, {**SITE, "latitude": 90.5}, "out_of_range"
    yield site, {**SITE, "gln": "9506000134308"}, "bad_format"
    yield site, {**SITE, "par_stock": [{"cup_type": "cup-999", "quantity": 1}]}, "cup_type_unknown"
    yield site, {**SITE, "opened_on": "2026-13-01"}, "bad_format"
    yield "/v1/sites/Anchor", SITE, None
    yield "/v1/sites/" + "a" * 33, SITE, None
    yield cup, {**CUP, "grai": "07300015200155"}, "bad_format"
    yield cup, {**CUP, "mass_g": 1.5}, "wrong_type"
    yield cup, {**CUP, "name": ""}, None
    yield "/v1/participants/hearth", {**PARTICIPANT, "bank_account": {"iban": "DE89370400440532013001"}}, "bad_format"
    yield "/v1/participants/hearth", {**PARTICIPANT, "bank_account": {}}, None
    yield "/v1/participants/hearth", {**PARTICIPANT, "bic": "AGRIFRPP8"}, "bad_format"  # check values, section 3
    yield "/v1/participants/hearth", {**PARTICIPANT, "name": "x" * 10000}, "too_long"


def test_refusals(service):
    """Each row alone is refused with its reason, 422 (404 if the path names nothing, 409 if a name stands twice), and
    changes nothing."""
    admin = service.admin
    admin.load(document())
    before = admin.get("/v1/reference")
    for path, body, reason in rows_of_refusals():
        answer = admin.send("PUT", path, body)
        assert answer.status in (422, 404, 409), (path, body, answer.status, answer.body)
        assert reason is None or reason in answer.reasons, (path, body, reason, answer.json)
    assert admin.get("/v1/reference") == before


def test_keys(service):
    admin = service.admin
    admin.load(document())
    for body, reason in [
        ({"role": "pos"}, "member_missing"),
        ({"role": "king"}, "value_unknown"),
        ({"role": "pos", "sites": []}, "too_few"),
        ({"role": "pos", "sites": ["nowhere"]}, "site_unknown"),
        ({"name": "Till 1", "role": "auditor"}, "bad_format"),
        ({"role": "participant", "participant": "nobody"}, "participant_unknown"),
        ({"role": "auditor", "sites": ["anchor"]}, "member_unknown"),
        ({"role": "auditor", "holder": " \t"}, "bad_format"),
        ({"role": "auditor", "holder": ""}, "bad_format"),
        ({"role": "auditor", "holder": 7}, "wrong_type"),
    ]:
        body = {"name": "till", "holder": "Tove", **body}
        admin.refused("POST", "/v1/keys", body, 422, reason)
    admin.refused("POST", "/v1/keys", {"name": "till", "role": "auditor"}, 422, "member_missing")
    till = {"name": "till", "holder": "Anchor's counter", "role": "pos", "sites": ["anchor"]}
    made = admin.send("POST", "/v1/keys", till)
    assert made.status == 201 and made.json.items() >= {**till, "made_by": "first-admin"}.items()
    secret = made.json["key"]
    admin.refused("POST", "/v1/keys", {"name": "till", "holder": "Tove", "role": "auditor"}, 409, "name_taken")
    till = service.client(secret)
    me = till.get("/v1/me")
    assert (me["name"], me["holder"], me["role"]) == ("till", "Anchor's counter", "pos")
    assert [s["site"] for s in me["sites"]] == ["anchor"]
    assert (
        me["sites"][0].items()
        >= {
            "scheme": "tern-bay",
            "participant": "hearth",
            "refund_values": [{"cup_type": "cup-300", "amount": "2.50"}],
        }.items()
    )
    assert till.post(issue())["status"] == "recorded"
    listed = {k["name"]: k for k in admin.items("/v1/keys")}
    assert listed.keys() == {"first-admin", "till"} and listed["till"]["sites"] == ["anchor"]
    assert secret not in admin.send("GET", "/v1/keys").body.decode()
    dump = subprocess.run(
        ["pg_dump", "-d", service.database.owner_dsn], capture_output=True, text=True, check=True
    ).stdout
    assert "till" in dump and secret not in dump  # only a hash is stored
    admin.refused("DELETE", "/v1/keys/nobody", None, 404, "not_found")
    assert admin.send("DELETE", "/v1/keys/till").status == 204
    till.refused("GET", "/v1/me", None, 401, "unauthenticated")
    assert "revoked_at" not in listed["till"]
    admin.send("POST", "/v1/keys", {"name": "till", "holder": "Tove", "role": "auditor"})
    listed = [k for k in admin.items("/v1/keys", limit=1) if k["name"] == "till"]
    assert [("revoked_at" in k, k.get("revoked_by"), k["holder"]) for k in listed] == [
        (True, "first-admin", "Anchor's counter"),
        (False, None, "Tove"),
    ]  # a revoked key stays in the list


def test_basic_authentication(service):
    """HTTP Basic with the key's name and the key (RFC 7617); the name must be the key's own."""
    for name, status in (("first-admin", 200), ("other", 401)):
        token = base64.b64encode(f"{name}:{service.admin_key}".encode()).decode()
        assert service.client().send("GET", "/v1/me", headers={"Authorization": f"Basic {token}"}).status == status


def test_the_command_line_makes_keys(service):
    service.admin.load(document())
    till = service.create_key("till", "pos", sites=["anchor", "brick"])
    assert [s["site"] for s in service.client(till).get("/v1/me")["sites"]] == ["anchor", "brick"]
    miller = service.create_key("miller-book", "participant", participant="miller")
    assert service.client(miller).get("/v1/me")["participant"] == "miller"
    service.run("check", "--scheme", "tern-bay")
    service.admin.post(issue())
    service.run("close", "tern-bay", str(FIRST))
    assert service.admin.get(f"/v1/settlements/tern-bay/{FIRST}")["totals"]["payments"] == 1


def test_a_bank_account_serves_one_scheme(service):
    """A statement's lines must be one pool's. Neither a document nor a PUT takes over the account of another scheme."""
    accounts = [{"account": "1", "bank_code": "2"}, {"iban": "NO9386011117947"}, {"account": "1", "bank_code": "3"}]
    first, second, third = (
        network.scheme(code, FIRST, {"cup-300": "2.50"}, operator={"name": "Pool", "bank_account": account})
        for code, account in zip(("tern-bay", "skerry", "holm"), accounts)
    )
    same = {**third, "operator": {"name": "Other", "bank_account": accounts[1]}}
    document = network.reference([first, second, same], {"anchor": ("tern-bay", "hearth")})
    answer = service.admin.send("POST", "/v1/reference", document)
    assert answer.status == 409, answer.body
    assert [(e["pointer"], e["reason"]) for e in answer.json["errors"]] == [
        ("/schemes/2/operator/bank_account", "bank_account_shared")
    ]
    service.admin.load({**document, "schemes": [first, second, third]})
    put = {k: v for k, v in same.items() if k not in ("scheme", "terms", "refund_values")}
    service.admin.refused("PUT", "/v1/schemes/holm", put, 409, "bank_account_shared")
    put["operator"] = {"name": "Pool", "bank_account": accounts[0]}
    service.admin.refused("PUT", "/v1/schemes/holm", put, 409, "bank_account_shared")
    # Schemes that shared one before this was checked can still be written.
    service.database.run(
        "SELECT begin_changes(0, now(), NULL, NULL);"
        "UPDATE scheme SET operator = (SELECT operator FROM scheme WHERE code = 'skerry') WHERE code = 'holm'"
    )
    put["operator"] = {"name": "Another name", "bank_account": accounts[1]}
    assert service.admin.send("PUT", "/v1/schemes/holm", put).status == 200
    put["operator"] = {"name": "Pool", "bank_account": accounts[2]}
    assert service.admin.send("PUT", "/v1/schemes/holm", put).status == 200
