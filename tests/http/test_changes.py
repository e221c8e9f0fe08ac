# SPDX-License-Identifier: ISC
"""Every change of reference data, terms and keys is recorded with author, time, values before and after, and reason.
Nothing else is recorded. The accounting contract says which changes must be recorded; there is no published source."""
import hashlib
import re
import subprocess
from datetime import date, timedelta
from urllib.parse import urlencode

import psycopg2
import pytest

import network
from harness import Database, Service, at_once, new_service, wait_until
from model import DAY
from network import at, cups, event
from test_schema import MIGRATIONS, execute

FIRST = date.today() - timedelta(days=3)
IBAN, OTHER_IBAN = "NL91ABNA0417164300", "GB82WEST12345698765432"  # of the standard's own examples
SCHEME = {"currency": "CAD", "time_zone": "America/St_Johns", "cut_off": "03:00", "stock_terms": "on_loan"}


def document():
    return network.reference(
        [network.scheme("tern-bay", FIRST, {"cup-300": "2.50"})],
        {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller")},
        hearth={"bank_account": {"iban": IBAN}},
    )


@pytest.fixture
def loaded(service):
    service.admin.load(document())
    return service


def changes(service, **asked):
    return service.admin.items("/v1/changes", limit=1000, **asked)


def last_change(service):
    return changes(service)[-1]


def test_a_document_is_one_change_for_each_thing(service):
    answer = service.admin.send("POST", "/v1/reference?why=the+network+begins", document())
    assert answer.status == 200
    made = changes(service)
    assert [c["number"] for c in made] == list(range(1, len(made) + 1))
    assert made[0].items() >= {"way": "command_line", "of": "key", "name": "first-admin"}.items()
    assert "by" not in made[0]
    loaded = made[1:]
    assert sorted((c["of"], c["name"], c.get("scheme")) for c in loaded) == sorted(
        [
            ("cup_type", "cup-300", None),
            ("cup_type", "cup-450", None),
            ("participant", "hearth", None),
            ("participant", "miller", None),
            ("scheme", "tern-bay", "tern-bay"),
            ("terms", str(FIRST), "tern-bay"),
            ("refund_value", f"cup-300/{FIRST}", "tern-bay"),
            ("site", "anchor", "tern-bay"),
            ("site", "brick", "tern-bay"),
        ]
    )
    by = {"key": "first-admin", "holder": "first-admin"}
    assert all(
        c["by"] == by and c["why"] == "the network begins" and "before" not in c and c["way"] == "service"
        for c in loaded
    )


def test_after_is_the_thing_as_it_is_read(loaded):
    """A change has all members that the interface shows of a thing, except those that name it, and except two that it
    leaves out where they are as they were before there was a choice."""
    usual = [("pay_days", "daily"), ("loss_bearer", "receiver")]
    naming = {"participant", "site", "cup_type", "scheme", "effective_date"}
    for change in changes(loaded):
        path = {
            "cup_type": "/v1/cup-types/{}",
            "participant": "/v1/participants/{}",
            "scheme": "/v1/schemes/{}",
            "terms": "/v1/schemes/tern-bay/terms/{}",
            "refund_value": "/v1/schemes/tern-bay/refund-values/{}",
            "site": "/v1/sites/{}",
            "office_accounts": "/v1/schemes/tern-bay/office-accounts/{}",
        }.get(change["of"])
        if path:
            shown = loaded.admin.get(path.format(change["name"]))
            assert {k: v for k, v in shown.items() if k not in naming and (k, v) not in usual} == {
                k: v for k, v in change["after"].items() if k not in naming and v != []
            }


PUTS = [  # path, body, then of, name, before and after
    (
        "/v1/participants/hearth",
        {"name": "Hearth", "bank_account": {"iban": OTHER_IBAN}},
        "participant",
        "hearth",
        {"bank_account": {"iban": IBAN}},
        {"bank_account": {"iban": OTHER_IBAN}},
    ),
    ("/v1/participants/hearth", {"name": "Hearth"}, "participant", "hearth", {"bank_account": {"iban": IBAN}}, {}),
    ("/v1/participants/cook", {"name": "Cook"}, "participant", "cook", None, {"name": "Cook", "tax_registered": True}),
    (
        "/v1/schemes/tern-bay/refund-values/cup-300/2999-01-01",
        {"amount": "3.00"},
        "refund_value",
        "cup-300/2999-01-01",
        None,
        {"amount": "3.00"},
    ),
    (
        f"/v1/schemes/tern-bay/refund-values/cup-300/{FIRST}",
        {"amount": "3.00"},
        "refund_value",
        f"cup-300/{FIRST}",
        {"amount": "2.50"},
        {"amount": "3.00"},
    ),
    (
        f"/v1/schemes/tern-bay/terms/{FIRST}",
        {**network.TERMS, "service_fee": "0.10"},
        "terms",
        str(FIRST),
        {"service_fee": "0.00"},
        {"service_fee": "0.10"},
    ),
    (
        f"/v1/schemes/tern-bay/office-accounts/{FIRST}",
        {"accounts": [{"account": "tax", "code": "1780", "name": "Sales tax"}]},
        "office_accounts",
        str(FIRST),
        None,
        {"accounts": [{"account": "tax", "code": "1780", "name": "Sales tax"}]},
    ),
    (
        "/v1/schemes/tern-bay",
        {**SCHEME, "variance_limit": "20.00"},
        "scheme",
        "tern-bay",
        {},
        {"variance_limit": "20.00"},
    ),
    (
        "/v1/sites/anchor",
        {"scheme": "tern-bay", "participant": "miller", "name": "Anchor", "kind": "cafe", "opened_on": "2000-01-01"},
        "site",
        "anchor",
        {"participant": "hearth"},
        {"participant": "miller"},
    ),
    (
        "/v1/cup-types/cup-300",
        {"name": "Cup 300 ml", "volume_ml": 300, "mass_g": 50},
        "cup_type",
        "cup-300",
        {"mass_g": 48},
        {"mass_g": 50},
    ),
]


@pytest.mark.parametrize("path, body, of, name, before, after", PUTS, ids=lambda value: str(value)[:50])
def test_each_put_is_one_change(loaded, path, body, of, name, before, after):
    count = len(changes(loaded))
    loaded.admin.put(path + "?dry_run=true", body)
    assert len(changes(loaded)) == count, "a dry run is no change"
    loaded.admin.put(path + "?why=by%20letter%20of%20the%204th", body)
    loaded.admin.put(path + "?why=the+same+again", body)
    (change,) = changes(loaded)[count:]
    assert (change["of"], change["name"], change.get("before"), change["after"]) == (of, name, before, after)
    assert change["why"] == "by letter of the 4th" and change["by"]["key"] == "first-admin"


def test_a_refused_put_is_no_change(loaded):
    count = len(changes(loaded))
    loaded.admin.refused(
        "PUT", "/v1/participants/hearth", {"name": "H", "bank_account": {"iban": IBAN[:-1]}}, 422, "bad_format"
    )
    faulty = document()
    faulty["participants"][0]["name"] = "Another"
    faulty["sites"][0]["scheme"] = "nowhere"
    loaded.admin.refused("POST", "/v1/reference", faulty, 422, "scheme_unknown")
    assert len(changes(loaded)) == count


def test_keys(loaded):
    secret = loaded.admin.send(
        "POST", "/v1/keys?why=hired", {"name": "ann", "holder": "Ann", "role": "accountant"}
    ).json["key"]
    made = last_change(loaded)
    assert (
        made.items()
        >= {
            "of": "key",
            "name": "ann",
            "why": "hired",
            "after": {"holder": "Ann", "role": "accountant", "made_by": "first-admin"},
        }.items()
    )
    assert loaded.admin.send("DELETE", "/v1/keys/ann?why=left").status == 204
    gone = last_change(loaded)
    assert (gone["of"], gone["name"], gone["why"], gone["before"]) == ("key", "ann", "left", {})
    assert gone["after"].keys() == {"revoked_at", "revoked_by"} and gone["after"]["revoked_by"] == "first-admin"
    dump = subprocess.run(
        ["pg_dump", "-a", "-t", "reference_change", "-d", loaded.database.owner_dsn],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert "ann" in dump and secret not in dump and hashlib.sha256(secret.encode()).hexdigest() not in dump


def test_a_pos_key_s_sites_are_in_its_change(loaded):
    loaded.admin.send(
        "POST", "/v1/keys", {"name": "till", "holder": "Anchor", "role": "pos", "sites": ["brick", "anchor"]}
    )
    assert last_change(loaded)["after"]["sites"] == ["anchor", "brick"]


@pytest.mark.parametrize("why", ["", "x" * 201, "a%0Ab", "%ff"])
def test_a_reason_that_is_none(loaded, why):
    for method, path, body in [
        ("PUT", "/v1/participants/cook", {"name": "Cook"}),
        ("POST", "/v1/reference", {}),
        ("POST", "/v1/keys", {"name": "a", "holder": "A", "role": "auditor"}),
        ("DELETE", "/v1/keys/a", None),
    ]:
        loaded.admin.refused(method, f"{path}?why={why}", body, 422, "parameter_invalid")


def test_a_reason_may_have_any_characters(loaded):
    why = "Zusage vom 4. Mai, \u201eJörg\u201c \U0001f642 " + "é" * 150
    loaded.admin.put("/v1/participants/cook?" + urlencode({"why": why}), {"name": "Cook"})
    assert last_change(loaded)["why"] == why


def test_the_list_is_asked_by_scheme_kind_person_and_day(loaded):
    loaded.admin.load(
        network.reference([network.scheme("skerry", FIRST, {"cup-300": "2.00"})], {"gull": ("skerry", "hearth")})
    )
    loaded.admin.send("POST", "/v1/keys", {"name": "ann", "holder": "Ann of Quay", "role": "admin"})
    ann = loaded.client(loaded.create_key("ann-2", "admin"))
    ann.put("/v1/participants/cook", {"name": "Cook"})
    everything = changes(loaded)
    for of in {c["of"] for c in everything}:
        assert changes(loaded, of=of) == [c for c in everything if c["of"] == of]
    for code in ("tern-bay", "skerry"):
        assert changes(loaded, scheme=code) == [c for c in everything if c.get("scheme") == code]
    assert [c["name"] for c in changes(loaded, by="ann-2")] == ["cook"]
    assert changes(loaded, by="ANN-2") == changes(loaded, by="ann-2")
    today = date.fromisoformat(everything[-1]["changed_at"][:10])
    assert changes(loaded, **{"from": today - DAY, "to": today + DAY}) == everything
    assert changes(loaded, **{"from": today + DAY}) == [] == changes(loaded, to=today - 2 * DAY)
    assert loaded.admin.items("/v1/changes", limit=1) == everything
    for asked, reason in (
        ("of=king", "parameter_invalid"),
        ("from=1", "parameter_invalid"),
        ("colour=7", "parameter_unknown"),
        ("cursor=x", "parameter_invalid"),
    ):
        loaded.admin.refused("GET", f"/v1/changes?{asked}", None, 422, reason)
    loaded.admin.refused("GET", "/v1/changes?scheme=nowhere", None, 404, "not_found")
    page = loaded.admin.send("GET", "/v1/changes", headers={"Accept": "text/html"})
    assert page.status == 200 and "Changes of reference data" in page.body.decode() and "skerry" in page.body.decode()
    assert page.body.count(b"<dt>Changed at</dt>") == len(everything), "each says when, by whom and why"
    assert page.body.count(b"<dt>Why</dt>") == len([c for c in everything if "why" in c])
    assert f"<dt>By</dt><dd>{everything[-1]['by']['key']}</dd>" in page.body.decode()


def test_changes_at_once_are_numbered_without_a_gap(loaded):
    """Many admins make changes at once, and some of these are refused."""
    admins = [loaded.client(loaded.admin_key) for _ in range(6)]

    def work(n):
        for i in range(10):
            admins[n].put(f"/v1/participants/p{n}", {"name": f"Participant {i}"})
            admins[n].send("PUT", f"/v1/participants/p{n}", {"name": "x", "bic": "no"})

    at_once(*(lambda n=n: work(n) for n in range(6)))
    made = changes(loaded)
    assert [c["number"] for c in made] == list(range(1, len(made) + 1))
    assert len([c for c in made if re.fullmatch(r"p\d", c["name"])]) == 60
    loaded.admin.assert_holds()


def test_a_closed_day_is_sealed_with_the_changes_until_its_close(loaded):
    """The seal covers the changes before the close, and not the later ones. The bounds of the day do not matter."""
    loaded.admin.post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=1)))
    loaded.admin.put("/v1/participants/cook", {"name": "Cook"})
    number = last_change(loaded)["number"]
    loaded.admin.close("tern-bay", FIRST)
    loaded.admin.put("/v1/participants/cook", {"name": "Cook & Co"})
    assert loaded.database.rows("SELECT last_change FROM settlement") == [(number,)]


@pytest.mark.parametrize("statement", ["UPDATE {} SET why = why", "DELETE FROM {}", "TRUNCATE {}"])
def test_the_service_can_only_append(loaded, statement):
    with pytest.raises(psycopg2.errors.InsufficientPrivilege):
        execute(loaded.database.service_dsn, statement.format("reference_change"))


def test_each_write_is_a_line_of_the_log(loaded):
    """The line has key, route, status, request id and time. A read has no line."""
    loaded.admin.send("PUT", "/v1/participants/cook?why=x", {"name": "Cook"}, {"X-Request-Id": "put-1"})
    loaded.admin.send(
        "POST", "/v1/keys", {"name": "ann", "holder": "Ann", "role": "auditor"}, {"X-Request-Id": "post-1"}
    )
    loaded.admin.send("DELETE", "/v1/keys/ann", None, {"X-Request-Id": "delete-1"})
    loaded.admin.send("GET", "/v1/participants/cook", None, {"X-Request-Id": "get-1"})
    loaded.stop()
    lines = {m[1]: line for line in loaded.log_text().splitlines() if (m := re.search(r" request_id=(\S+)", line))}
    for request_id, route, status in (
        ("put-1", "/v1/participants/{participant}", 201),
        ("post-1", "/v1/keys", 201),
        ("delete-1", "/v1/keys/{name}", 204),
    ):
        assert " level=info " in lines[request_id] and f" route={route} status={status} ms=" in lines[request_id]
        assert " key=first-admin " in lines[request_id] and "dk_" not in lines[request_id]
    assert "get-1" not in lines


def test_a_network_that_is_older_than_its_changes(database):
    """Days that were closed before changes were recorded have particulars without changes, lines of fees and fee
    notes."""
    service = new_service(database)
    try:
        service.admin.load(document())
        service.admin.post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=1)))
        service.admin.close("tern-bay", FIRST)
        kept = "SELECT count(*) FROM particulars"
        wait_until(lambda: database.rows(kept) == [(1,)])
        # the state of a day closed before changes were recorded: the clock keeps five parts of it, and not eight
        database.run(
            "UPDATE settlement SET last_change = NULL; DELETE FROM cup_day; DELETE FROM till_day; DELETE FROM"
            " particulars; DELETE FROM fee_line;"
            " INSERT INTO older_fee_lines SELECT scheme, business_date FROM settlement;"
            " INSERT INTO older_fee_notes SELECT scheme, business_date FROM settlement"
        )
        wait_until(lambda: database.rows(kept) == [(1,)])
        service.admin.assert_holds()
        service.admin.close("tern-bay", FIRST + DAY)
        wait_until(lambda: database.rows(kept) == [(2,)])
        assert database.rows("SELECT length(parts) FROM particulars ORDER BY business_date") == [(160,), (256,)]
        service.admin.assert_holds()
    finally:
        service.stop()


@pytest.fixture
def empty_database():
    database = Database(empty=True)
    yield database
    database.drop()


def test_the_chain_begins_with_what_is_there(empty_database):
    """Runs the migration on a database that already has reference data and keys."""
    database, service = empty_database, Service(empty_database)
    before = [m for m in MIGRATIONS if m.stem < "0010"]
    execute(
        database.owner_dsn,
        "CREATE TABLE schema_version (version integer PRIMARY KEY, name text NOT NULL,"
        " applied_at timestamptz NOT NULL DEFAULT now())",
    )
    for number, migration in enumerate(before, 1):
        execute(
            database.owner_dsn,
            migration.read_text(),
            f"INSERT INTO schema_version VALUES ({number}, '{migration.stem}')",
        )
    execute(
        database.owner_dsn,
        "INSERT INTO participant VALUES (1, 'hearth', 'Hearth', NULL, NULL, true, NULL)",
        "INSERT INTO api_key (id, name, role, secret_hash) VALUES (1, 'first-admin', 'admin', sha256('dk_old'))",
        "INSERT INTO scheme VALUES (1, 'skerry', 'CAD', 2, 'Etc/UTC', '03:00', 60, 'on_loan', 900000, true, 0,"
        " NULL, 30, NULL, '{}')",
        "INSERT INTO business_day (scheme, business_date, starts_at, ends_at, state) VALUES"
        " (1, '2020-01-01', '2020-01-01 03:00Z', '2020-01-02 03:00Z', 'closed'),"
        " (1, '2020-01-02', '2020-01-02 03:00Z', '2020-01-03 03:00Z', 'open')",
        "GRANT USAGE ON SCHEMA public TO PUBLIC",
    )
    service.run("migrate")
    service.start()
    try:
        service.admin = service.client("dk_old")
        found = changes(service)
        assert [(c["number"], c["way"], c["of"], c["name"]) for c in found] == [
            (1, "command_line", "key", "first-admin"),
            (2, "command_line", "participant", "hearth"),
            (3, "command_line", "scheme", "skerry"),
        ]
        assert database.rows("SELECT dual_control FROM business_day ORDER BY 1") == [(True,), (None,)]
        assert found[0]["after"] == {"holder": "first-admin", "role": "admin"} and "began" in found[1]["why"]
        service.admin.load(document())
        service.admin.assert_holds("tern-bay")
    finally:
        service.stop()
