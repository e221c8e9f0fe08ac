# SPDX-License-Identifier: ISC
"""The schema: migrations from every earlier version, tables that mirror those in C, and what the database itself refuses
to the service's role."""
import pathlib
import re

import psycopg2
import pytest

from harness import Service, new_service
from network import WORKED_DAY, worked_events, worked_reference

TOP = pathlib.Path(__file__).parents[2]
MIGRATIONS = sorted((TOP / "sql/migrations").glob("*.sql"))


def execute(dsn, *statements):
    connection = psycopg2.connect(dsn)
    try:
        with connection, connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
            return cursor.fetchall() if cursor.description else None
    finally:
        connection.close()


def schema_of(database):
    """All columns, constraints and function bodies, to be compared."""
    return database.rows("""
        SELECT table_name || '.' || column_name, data_type || ' ' || is_nullable || ' ' || coalesce(column_default, '')
          FROM information_schema.columns WHERE table_schema = 'public'
        UNION ALL SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint WHERE connamespace = 'public'::regnamespace
        UNION ALL SELECT proname, prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace
        UNION ALL SELECT grantee || ' ' || table_name, privilege_type FROM information_schema.role_table_grants
                   WHERE table_schema = 'public'
        ORDER BY 1, 2""")


@pytest.mark.parametrize("version", range(1, len(MIGRATIONS)))
def test_migrates_from_every_earlier_version(database, service, version):
    complete = schema_of(database)
    execute(database.owner_dsn, "DROP SCHEMA public CASCADE", "CREATE SCHEMA public",
            "CREATE TABLE schema_version (version integer PRIMARY KEY, name text NOT NULL,"
            " applied_at timestamptz NOT NULL DEFAULT now())")
    for number, migration in enumerate(MIGRATIONS[:version], 1):
        execute(database.owner_dsn, migration.read_text(),
                f"INSERT INTO schema_version VALUES ({number}, '{migration.stem}')")
    execute(database.owner_dsn, "GRANT USAGE ON SCHEMA public TO PUBLIC")
    Service(database).run("migrate")
    assert schema_of(database) == complete


def test_migrating_again_changes_nothing(database, service):
    before = schema_of(database)
    assert "version" in service.run("migrate")
    assert schema_of(database) == before


def c_table(header, table):
    """The rows of an X-macro table: lists of its arguments."""
    text = (TOP / "include/depositd" / header).read_text().replace("\\\n", " ")
    body = re.search(rf"#define {table}\(X\)(.*)", text)[1]
    return [[part.strip() for part in row.split(",")] for row in re.findall(r"X\(([^)]*)\)", body)]


def test_tables_mirror_those_in_c(database, service):
    kinds = database.rows("SELECT kind, word FROM entry_kind ORDER BY kind")
    in_c = c_table("event.h", "EVENT_KIND_TABLE") + c_table("event.h", "CLOSE_KIND_TABLE") + c_table(
        "event.h", "PAYMENT_KIND_TABLE")
    assert kinds == sorted((int(number), word) for _, word, number in in_c)
    accounts = database.rows("SELECT kind, word, 'SCOPE_' || upper(scope), class FROM account_kind ORDER BY kind")
    assert accounts == sorted((int(number), word, scope, kind)
                              for _, word, number, scope, kind in c_table("account.h", "ACCOUNT_TABLE"))


@pytest.fixture(scope="module")
def posted(module_database):
    service = new_service(module_database)
    service.admin.load(worked_reference("on_loan"))
    service.admin.post(worked_events()[0])
    yield service
    service.stop()


@pytest.mark.parametrize("table", ["entry", "event_id", "entry_reference", "exception", "exception_resolution",
                                   "settlement", "position", "payment_change", "day_total", "cup_day", "particulars"])
@pytest.mark.parametrize("statement", ["UPDATE {} SET scheme = scheme", "DELETE FROM {}", "TRUNCATE {}"])
def test_the_service_can_only_append(posted, table, statement):
    with pytest.raises(psycopg2.errors.InsufficientPrivilege):
        execute(posted.database.service_dsn, statement.format(table))


ENTRY = """INSERT INTO entry SELECT 1, last_entry + {ahead}, (SELECT min(business_date) FROM business_day), {kind}, false, NULL,
           NULL, now(), now(), '', NULL, '{{{accounts}}}', '{{{amounts}}}' FROM scheme_head WHERE scheme = 1"""
MONEY = "1970324836974592,2533274790395904"  # bank, service_fees


@pytest.mark.parametrize("ahead, kind, accounts, amounts, message", [
    (1, 4, MONEY, "5,-4", "does not balance"),
    (1, 4, f"{32 << 48 | 1},{33 << 48 | 1 << 16 | 2}", "-5,5", "does not balance"),  # cups of two types
    (1, 4, "1970324836974592", "5,-5", "does not balance"),  # more amounts than accounts
    (2, 4, MONEY, "5,-5", "not numbered on"),
    (1, 20, MONEY, "5,-5", "a day that does not take it"),  # an entry of a close, on a day that does not close
])
def test_the_database_refuses_an_entry_that_is_wrong(posted, ahead, kind, accounts, amounts, message):
    with pytest.raises(psycopg2.errors.IntegrityConstraintViolation, match=message):
        execute(posted.database.service_dsn,
                ENTRY.format(ahead=ahead, kind=kind, accounts=accounts, amounts=amounts))


@pytest.mark.parametrize("statement", [
    "UPDATE business_day SET ends_at = ends_at + interval '1 hour' WHERE entries > 0",
    "UPDATE business_day SET state = 'closed' WHERE entries > 0",  # not by way of closing
    "DELETE FROM business_day WHERE entries > 0",
])
def test_a_business_day_keeps_its_bounds_and_its_order_of_states(posted, statement):
    with pytest.raises(psycopg2.errors.IntegrityConstraintViolation):
        execute(posted.database.service_dsn, statement)


@pytest.fixture(scope="module")
def settled(posted):
    for sent in worked_events()[1:]:
        posted.admin.post(sent)
    assert posted.admin.close("tern-bay", WORKED_DAY)["payments"]
    return posted


@pytest.mark.parametrize("statement, error", [
    ("UPDATE payment SET amount = amount + 1", psycopg2.errors.InsufficientPrivilege),
    ("UPDATE payment SET status = 'confirmed'", psycopg2.errors.IntegrityConstraintViolation),  # nobody has approved it
    ("UPDATE payment SET status = 'paid'", psycopg2.errors.IntegrityConstraintViolation),
    ("UPDATE payment SET status = 'failed'; UPDATE payment SET status = 'computed'", psycopg2.errors.IntegrityConstraintViolation),
    ("UPDATE payment SET released = true; UPDATE payment SET released = false", psycopg2.errors.IntegrityConstraintViolation),
    ("DELETE FROM payment", psycopg2.errors.InsufficientPrivilege),
    ("DELETE FROM journal_proposal", psycopg2.errors.InsufficientPrivilege),
    ("UPDATE journal_proposal SET amounts = '{}'", psycopg2.errors.InsufficientPrivilege),
])
def test_what_a_close_fixed_and_a_key_proposed_stands(settled, statement, error):
    with pytest.raises(error):
        execute(settled.database.service_dsn, statement)
