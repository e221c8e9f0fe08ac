# SPDX-License-Identifier: ISC
"""Every statement runs by hand in psql, with the names of numbers that the build writes for it."""
import subprocess
import sys

import pytest

from statements import HEADERS, NAMES, SQL, statement_text

FILES = sorted(path for path in SQL.glob("*/**/*.sql") if "migrations" not in path.parts)
SEVERAL = {"migrate-prepare"}  # statements in one file, which libpq runs without parameters
UTILITY = {"reference-check-dates"}  # libpq prepares a SET, but PREPARE takes only statements with a plan


@pytest.fixture(scope="module")
def names(tmp_path_factory):
    file = tmp_path_factory.mktemp("names") / "names.psql"
    subprocess.run([sys.executable, SQL / "embed.py", "names", file, *HEADERS], check=True)
    return file


def run(database, script):
    return subprocess.run(
        ["psql", "--no-psqlrc", "--quiet", "--set=ON_ERROR_STOP=1", database.owner_dsn],
        input=script,
        capture_output=True,
        text=True,
    )


def test_psql_prepares_each(shared, names):
    script = f"\\i {names}\n" + "".join(
        f"\\echo {path.stem}\n\\set asked `cat {path}`\n"
        + ("BEGIN;\n:asked;\nROLLBACK;\n" if path.stem in UTILITY else "PREPARE asked AS :asked;\nDEALLOCATE asked;\n")
        for path in FILES
        if path.stem not in SEVERAL
    )
    said = run(shared.database, script)
    assert (said.returncode, said.stderr) == (0, ""), (said.stdout.split() or ["psql"])[-1] + ": " + said.stderr
    assert len(said.stdout.split()) == len(FILES) - len(SEVERAL) > 180


def test_psql_runs_what_the_service_runs(shared, names):
    """A statement with names gives the same rows as the service's text of it."""
    path = SQL / "queries/posting/book-after.sql"
    for text in (
        f"\\i {names}\n\\set asked `cat {path}`\nPREPARE asked AS :asked;",
        f"PREPARE asked AS {statement_text(path)};",
    ):
        said = run(shared.database, text + "\nSELECT statement FROM pg_prepared_statements;")
        assert said.returncode == 0 and "= 33" in said.stdout and ":account" not in said.stdout


def test_the_names_are_those_of_the_database(shared):
    kinds = shared.database.rows(
        "SELECT 'kind_' || word, kind::text FROM entry_kind"
        " UNION ALL SELECT 'account_' || word, kind::text FROM account_kind"
    )
    first_cups = shared.database.rows("SELECT min(kind)::text FROM account_kind WHERE class IN ('cups', 'source')")[0][
        0
    ]
    of_rows = {name: number for name, number in NAMES.items() if not name.startswith(("kinds_", "accounts_"))}
    assert dict(kinds) | {"account_first_cups": first_cups} == of_rows
    lists = [number for name in NAMES.keys() - of_rows.keys() for number in NAMES[name].split(",")]
    assert lists and set(lists) == set(of_rows.values())


def test_without_the_names_psql_says_which_is_missing(shared):
    """Shows that the test above depends on the names: without them PostgreSQL refuses the colon."""
    said = run(shared.database, f"PREPARE asked AS {(SQL / 'reports/report-stock.sql').read_text()};")
    assert said.returncode != 0 and 'syntax error at or near ":"' in said.stderr
