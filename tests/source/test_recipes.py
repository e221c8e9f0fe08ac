# SPDX-License-Identifier: ISC
"""The recipes of DEVELOPERS.md name files that there are, and every file that has to be touched: files with a list of
kinds, roles or accounts are found by what they hold."""
import re

import pytest

from test_text import FILES, TOP, name_of

PAGE = (TOP / "DEVELOPERS.md").read_text()
RECIPES = dict(re.findall(r"^### How to add (.+)\n\n((?:.*\n)*?)(?=^##)", PAGE, re.MULTILINE))
EXPECTED = {
    "a kind of event",
    "a role",
    "an account",
    "a report",
    "a route",
    "a reason",
    "a setting",
    "a check",
    "a metric",
    "a migration",
}
MADE_UP = re.compile("NNNN_what")

# Files with many words of a table that a new row of it does not concern: tests of other things that use what there is,
# pages, and what is made by a run.
INCIDENTAL = {
    "a kind of event": {
        "deploy/CHANGES.md",
        "sql/queries/reading/events-list.sql",
        "sql/queries/reading/tasks.sql",
        "src/http/pages/page_may.c",
        "src/http/pages/page_report.c",
        "src/http/pages/page_rules.c",
        "src/report/report.c",
        "tests/http/test_acts.py",
        "sql/reports/report-statement-of-account.sql",
        "tests/http/test_checks.py",
        "tests/http/test_cups.py",
        "tests/http/test_event_forms.py",
        "tests/http/test_opening.py",
        "tests/http/test_purchases.py",
        "tests/http/test_reports_model.py",
        "tests/http/test_verify.py",
    },
    "a role": {
        "deploy/trade/__main__.py",
        "src/http/contract/examples.json",
        "tests/faults/test_allocations.py",
        "tests/http/test_changes.py",
        "tests/http/test_counter.py",
        "tests/http/test_proof.py",
        "tests/http/test_random_requests.py",
        "tests/http/test_reference.py",
        "tests/http/test_two_people.py",
        "tests/http/week.py",
    },
    "an account": {
        "deploy/trade/floor.py",
        "sql/checks/check-payments-match.sql",
        "sql/reports/report-winding-up.sql",
        "src/http/contract/answers.json",
        "src/http/contract/examples.json",
        "src/http/contract/routes.c",
        "src/http/pages/page_rules.c",
        "tests/http/test_opening.py",
        "tests/http/test_journals.py",
        "tests/http/test_model.py",
        "tests/http/test_reading.py",
        "tests/http/test_reports_model.py",
        "tests/http/test_reports_periods.py",
    },
}


def rows(header, table):
    """Name and word of each row of an X-macro table."""
    text = (TOP / "include/depositd" / header).read_text().replace("\\\n", " ")
    body = re.search(rf"#define {table}\(X\)(.*)", text)[1]
    return re.findall(r"X\((\w+), (\w+)", body)


def paths_in(recipe):
    """The code spans of a recipe that are paths."""
    return [
        span
        for span in re.findall(r"`([^`\s]+)`", RECIPES[recipe])
        if "/" in span and not span.startswith("/") and re.search(r"\.\w+$", span)
    ]


def holders(patterns, least, least_in_tests):
    """The files that hold at least so many of the words, each in one of its forms."""
    found = set()
    for path in FILES:
        name = name_of(path)
        if name.startswith(("sql/migrations/", "tests/client/", "build/")) or path.suffix not in (
            ".c",
            ".h",
            ".py",
            ".sql",
            ".json",
            ".txt",
        ):
            continue
        text = path.read_text()
        held = sum(re.search(pattern, text, re.MULTILINE) is not None for pattern in patterns)
        if held >= (least_in_tests if name.startswith("tests/") else least):
            found.add(name)
    return found


def test_every_recipe_is_there():
    assert EXPECTED == RECIPES.keys()


@pytest.mark.parametrize("recipe", sorted(EXPECTED))
def test_files_of_a_recipe_are_there(recipe):
    paths = paths_in(recipe)
    assert paths
    lost = [
        path
        for path in paths
        if not (TOP / path).exists() and not (MADE_UP.search(path) and (TOP / path).parent.is_dir())
    ]
    assert not lost


FORMS = {
    "a kind of event": (
        rows("event.h", "EVENT_KIND_TABLE"),
        3,
        10,
        lambda name, word: rf"\bKIND_{name}\b|\bMEMBERS_{name}\b|\bON\({name}\)|:kind_{word}\b"
        rf"|[\"']{word}[\"']|^{word} ",
    ),
    "a role": (
        rows("role.h", "ROLE_TABLE"),
        3,
        5,
        lambda name, word: rf"\bROLE_{name}\b|\bFOR_{name}\b|[\"']{word}[\"']|X\({name},",
    ),
    "an account": (
        rows("account.h", "ACCOUNT_TABLE"),
        4,
        13,
        lambda name, word: rf"\bACCOUNT_{name}\b|:account_{word}\b|\"{word}\b|\b{word}(\(| -?\d)",
    ),
}


@pytest.mark.parametrize("recipe", sorted(FORMS))
def test_files_with_a_list_are_in_the_recipe(recipe):
    words, least, least_in_tests, form = FORMS[recipe]
    held = holders([form(*row) for row in words], least, least_in_tests)
    assert len(held) > 3
    missing = held - set(paths_in(recipe)) - INCIDENTAL[recipe]
    assert not missing, f"name them in the recipe for {recipe}, or among what is incidental"


def test_what_is_incidental_is_there():
    lost = [name for names in INCIDENTAL.values() for name in names if not (TOP / name).exists()]
    assert not lost


def test_the_builds_list_every_file():
    """A migration that is not listed would not run, and no test would miss it."""
    for folder, pattern in (("sql", "*/**/*.sql"), ("src", "**/*.c")):
        listed = (TOP / folder / "meson.build").read_text()
        names = [str(path.relative_to(TOP / folder)) for path in (TOP / folder).glob(pattern)]
        missing = [name for name in names if f"'{name}'" not in listed and name != "main.c"]
        assert len(names) > 50 and not missing, f"{folder}/meson.build"


def test_every_setting_has_a_row():
    struct = re.search(r"struct config \{(.*?)\n\};", (TOP / "src/base/config.h").read_text(), re.DOTALL)[1]
    members = set(re.findall(r"(\w+)(?:\[\w+\])?;", re.sub(r"/\*.*?\*/", "", struct)))
    assert members == set(re.findall(r"\{FIELD\((\w+)\)", (TOP / "src/base/config.c").read_text())), "src/base/config.c"


def test_the_figures_of_every_report_are_tested():
    reports = re.findall(r"^    \{\"([a-z-]+)\",", (TOP / "src/report/report.c").read_text(), re.MULTILINE)
    others = {TOP / "tests/http/test_bank_reconciliation.py", TOP / "tests/http/test_cups.py"}
    paths = {*others, *(TOP / "tests/http").glob("test_reports*.py")} - {TOP / "tests/http/test_reports_keys.py"}
    tests = [path.read_text() for path in paths]
    assert len(reports) > 12
    untested = [name for name in reports if not any(name in text for text in tests)]
    assert not untested, "tests/http/test_reports_model.py, or another test of reports"


def test_the_readme_tells_every_role():
    text = (TOP / "README.md").read_text()
    assert not [word for _, word in rows("role.h", "ROLE_TABLE") if not re.search(rf"\b{word}\b", text)], "README.md"


def test_the_canonical_event_has_every_member():
    """Two events that differ in a member that it lacks would have one digest, so one would pass for the other."""
    text = (TOP / "include/depositd/event.h").read_text()
    struct = re.sub(r"/\*.*?\*/", "", re.search(r"struct event \{(.*?)\n\};", text, re.DOTALL)[1], flags=re.DOTALL)
    members = re.findall(r"(\w+)(?:\[\w+\])?[,;]", struct)
    own = {"text", "text_length", "digest"}  # canonical.c makes these
    canonical = (TOP / "src/app/posting/canonical.c").read_text()
    assert own < set(members)
    missing = [name for name in members if name not in own and not re.search(rf"\bevent->{name}\b", canonical)]
    assert not missing, "src/app/posting/canonical.c"
