# SPDX-License-Identifier: ISC
"""Compares each row of the table of reports with its statement: the parameters that the statement takes, and the
columns that it gives."""
import psycopg2
import pytest

from statements import SQL, statement_text

STATEMENTS = SQL / "reports"
TEXT, AMOUNT = {"text", "date", "code", "uuid"}, {"text"}
GIVEN = {
    "text": TEXT,
    "amount": AMOUNT,
    "figure": AMOUNT,
    "cups": {"smallint", "integer", "bigint", "numeric"},
    "rate": {"numeric", "text"},
}
TAKEN = {"day": "date", "account": "bigint"}  # for all other kinds: an id, or the position of a word
# take the sites to show
BY_SITE = {
    "count-sheet",
    "damaged-cups",
    "stock",
    "settlement",
    "site-figures",
    "site-statement",
    "participant-statement",
    "statement-of-account",
    "participant-journal-summary",
    "fees",
    "payments",
}
BY_ENTRY = {"journal", "general-ledger", "exceptions"}  # take the entry to continue after, as their last parameter


@pytest.fixture(scope="module")
def reports(shared):
    return {row["report"]: row for row in shared.admin.get("/v1/reports")["items"]}


def describe(cursor, name):
    """The types of the statement's parameters and of its columns."""
    cursor.execute(f'PREPARE "{name}" AS {statement_text(STATEMENTS / f"report-{name}.sql")}')
    cursor.execute("SELECT parameter_types::text[] FROM pg_prepared_statements WHERE name = %s", [name])
    parameters = cursor.fetchone()[0]
    cursor.execute(f'EXECUTE "{name}" ({", ".join(["NULL"] * len(parameters))})')
    oids = [column.type_code for column in cursor.description]
    cursor.execute(
        "SELECT array_agg(oid::regtype::text ORDER BY place) FROM unnest(%s::oid[]) WITH ORDINALITY AS"
        " t(oid, place)",
        [oids],
    )
    return parameters, cursor.fetchone()[0]


def test_every_statement_is_of_a_report(reports):
    assert {path.stem for path in STATEMENTS.glob("*.sql")} == {f"report-{name}" for name in reports}
    assert BY_SITE | BY_ENTRY < reports.keys()


def test_a_statement_takes_and_gives_what_its_row_declares(reports, shared):
    connection = psycopg2.connect(shared.database.owner_dsn)
    with connection, connection.cursor() as cursor:
        for name, row in reports.items():
            taken, given = describe(cursor, name)
            declared = ["integer"] + [
                TAKEN.get(p["kind"], "integer") for p in row["parameters"] if p["name"] != "scheme"
            ]
            assert taken == declared + ["integer[]"] * (name in BY_SITE) + ["bigint"] * (name in BY_ENTRY), name
            assert len(given) == len(
                row["columns"]
            ), f"{name}: {len(given)} columns, declared are {len(row['columns'])}"
            wrong = [(c["name"], c["kind"], t) for c, t in zip(row["columns"], given) if t not in GIVEN[c["kind"]]]
            assert not wrong, f"{name}: {wrong}"
    connection.close()
