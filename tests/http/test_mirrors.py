# SPDX-License-Identifier: ISC
"""Kinds of entry, roles and accounts each have a single table, and /openapi.json lists the first two. Every place that
repeats such a table has a row for each of its words and none for any other: the database, posting rules, examples, the
matrix of test_roles.py, the model and the demo. If a new kind or role has no row in a place, a test fails here with
the name of the place."""
import json
import pathlib
import re
import subprocess

import psycopg2
import pytest

import test_reports_keys
import test_roles
from examples import KEPT
from model import DEPOSITS_FOR, Model
from test_schema import c_table

TOP = pathlib.Path(__file__).parents[2]
NOT_IN_MODEL = set()
NOT_IN_TRADE = {"journal"}  # the demo's people of the office have no reason to post one


@pytest.fixture(scope="module")
def schemas(shared):
    return shared.contract.document["components"]["schemas"]


@pytest.fixture(scope="module")
def kinds(schemas):
    return set(schemas["EntryKind"]["enum"])


@pytest.fixture(scope="module")
def posted(schemas):
    """The kinds that clients post."""
    return set(schemas["Event"]["discriminator"]["mapping"])


@pytest.fixture(scope="module")
def roles(schemas):
    return set(schemas["Role"]["enum"])


def named_in(file, words):
    """The words that the file contains as strings."""
    text = (TOP / file).read_text()
    return {word for word in words if f'"{word}"' in text}


def test_the_database_has_each_kind(shared, kinds):
    assert {
        word for word, in shared.database.rows("SELECT word FROM entry_kind")
    } == kinds, "a migration adds rows to entry_kind"


def test_each_kind_has_posting_rules(shared, kinds):
    ruled = {kind for rule in shared.admin.items("/v1/posting-rules") for kind in rule["kinds"]}
    assert ruled == kinds, "src/domain/posting_rules.c has the rules"


def test_functions_of_the_database_list_the_kinds_of_an_activity(shared):
    """Migrations are frozen, so a new kind or account makes the lists of numbers in functions of the database
    outdated."""
    by_activity, by_holds = {}, {}
    for table in ("EVENT_KIND_TABLE", "SERVICE_KIND_TABLE"):
        for _, _, number, _, activity, *_ in c_table("event.h", table):
            by_activity.setdefault(activity, set()).add(int(number))
    for _, _, number, _, _, holds, *_ in c_table("account.h", "ACCOUNT_TABLE"):
        by_holds.setdefault(holds, set()).add(int(number))
    [reversal] = {int(row[2]) for row in c_table("event.h", "EVENT_KIND_TABLE") if row[1] == "reversal"}
    right = {
        "kind": [by_activity["COUNTER"], by_activity["COUNTER"] | {reversal}, by_activity["CLOSE"]],
        "account_kind": [by_holds["STOCK"]],
    }
    functions = shared.database.rows(
        """SELECT proname::text, pg_get_functiondef(oid) FROM pg_proc
                                         WHERE pronamespace = 'public'::regnamespace AND prokind = 'f'"""
    )
    lists = [
        (name, of, {int(number) for number in numbers.split(",")})
        for name, text in functions
        for of, numbers in re.findall(r"\b(kind|account_kind)\)? (?:IN \(|= ANY \(ARRAY\[)([\d, ]+)", text)
    ]
    assert {name for name, *_ in lists} >= {"entry_guard"} and len(lists) > 3, lists
    assert [row for row in lists if row[2] not in right[row[1]]] == [], "a migration replaces these functions"


def test_each_account_is_moved_by_a_rule(shared):
    """A rule moves it. If only journals do, its row must say so."""
    named = {rule["account"] for rule in shared.admin.items("/v1/posting-rules")}
    rows = c_table("account.h", "ACCOUNT_TABLE")
    assert {word for _, word, *_, journals in rows if journals == "SHUT"} <= named
    assert named - {word for _, word, *_ in rows} == {"the stated leg's", "the reversed leg's"}


def test_each_kind_that_clients_post_has_an_example(posted):
    examples = json.loads(KEPT.read_text())["postEvents"]
    bodies = [e["request"]["body"] for e in examples if e["request"]["type"] == "application/json"]
    shown = {event["kind"] for body in bodies for event in (body if isinstance(body, list) else [body])}
    assert shown == posted, "tests/http/examples.py posts an example of each kind; tests/document examples renews them"


def test_each_kind_has_a_row_in_the_matrix_of_roles(posted):
    assert {kind.split()[0] for kind in test_roles.EVENTS} == posted, "EVENTS in tests/http/test_roles.py"


def test_the_model_works_out_each_kind(posted):
    modelled = {kind for kind in posted if hasattr(Model, f"_{kind}")}
    assert modelled == posted - NOT_IN_MODEL, "tests/http/model.py"


def test_the_model_knows_each_account_of_cups():
    holds = {row[1]: row[5] for row in c_table("account.h", "ACCOUNT_TABLE")}
    assert {word: deposits is not None for word, deposits in DEPOSITS_FOR.items()} == {
        word: place != "GONE" for word, place in holds.items() if place != "MONEY"
    }, "DEPOSITS_FOR in tests/http/model.py"
    assert {deposits for deposits in DEPOSITS_FOR.values() if deposits} <= holds.keys()


def test_the_random_days_have_each_kind(posted):
    assert named_in("tests/http/test_model.py", posted) == posted - NOT_IN_MODEL, "tests/http/test_model.py"


def test_the_demo_has_each_kind(posted):
    assert named_in("deploy/trade/floor.py", posted) == posted - NOT_IN_TRADE, "deploy/trade/floor.py"


def test_the_database_has_each_role(shared, roles):
    [[check]] = shared.database.rows(
        """SELECT pg_get_constraintdef(oid) FROM pg_constraint
                                         WHERE conrelid = 'api_key'::regclass AND conname = 'api_key_role_check'"""
    )
    assert set(re.findall(r"'(\w+)'", check)) == roles, "a migration changes the CHECK on api_key.role"


@pytest.mark.parametrize(
    "table, column, file, array",
    [
        ("site", "kind", "src/store/reference_store.c", "site_kind_words"),
        ("scheme", "stock_terms", "src/store/reference_store.c", "stock_terms_words"),
        ("terms", "netting", "src/store/reference_store.c", "netting_words"),
        ("business_day", "state", "src/store/ledger_store.c", "words"),
        ("payment", "status", "src/domain/payment.c", "status_words"),
        ("payment_change", "change", "src/domain/payment.c", "change_words"),
        ("proposed_event", "status", "src/store/proposal_status.c", "proposal_status_words"),
        ("proposal", "what", "src/store/proposal_store.c", "what_words"),
    ],
)
def test_the_database_has_each_word(shared, table, column, file, array):
    """A word that the service does not know would fail the row that has it."""
    [[check]] = shared.database.rows(
        "SELECT pg_get_constraintdef(oid) FROM pg_constraint WHERE conrelid = %s::regclass AND conname = %s",
        table,
        f"{table}_{column}_check",
    )
    body = re.search(rf"\b{array}\[\w*\] = {{([^}}]*)}};", (TOP / file).read_text())[1]
    assert sorted(re.findall(r"'(\w+)'", check)) == sorted(re.findall(r'"(\w+)"', body))


def test_each_role_has_a_column_in_the_matrix(roles):
    assert set(test_roles.ROLES) == roles, "ROLES in tests/http/test_roles.py"


def test_the_reports_of_each_role_are_written_down(roles):
    assert test_reports_keys.READERS.keys() == roles, "READERS in tests/http/test_reports_keys.py"


def test_a_key_of_each_role_can_be_asked_for(shared, schemas, roles):
    assert set(schemas["KeyPost"]["properties"]["role"]["enum"]) == roles
    said = subprocess.run([shared.binary, "key", "--help"], capture_output=True, text=True, check=True).stdout
    assert set(re.findall(r"\w+", re.search(r"^  --role ROLE +(.*)", said, re.MULTILINE)[1])) == roles | {"or"}


def test_the_database_binds_keys_as_the_table_of_roles_does(module_database, shared, roles):
    rows = c_table("role.h", "ROLE_TABLE")
    assert {row[1] for row in rows} == roles
    shared.admin.load({"participants": [{"participant": "hearth", "name": "Hearth"}]})
    taken = set()
    for word in roles:
        for column, value in (("NULL", None), ("min(id)", "PARTICIPANT")):
            connection = psycopg2.connect(module_database.owner_dsn)
            try:
                with connection.cursor() as cursor:
                    cursor.execute(
                        "INSERT INTO api_key (id, name, role, holder, secret_hash, participant) SELECT 999,"
                        f" 'new', '{word}',"
                        f" 'Nell', sha256('new'), {column} FROM participant"
                    )
                taken.add((word, value))
            except psycopg2.errors.CheckViolation:
                pass
            finally:
                connection.close()  # rolls back
    assert taken == {(word, "PARTICIPANT" if reach == "PARTICIPANT" else None) for _, word, reach, *_ in rows}
