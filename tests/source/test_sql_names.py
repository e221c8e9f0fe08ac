# SPDX-License-Identifier: ISC
"""Statements name the numbers of kinds and accounts: `:kind_reversal`, `:account_site_stock`. sql/embed.py puts the
numbers in; migrations are frozen and keep theirs."""
import pathlib
import re
import subprocess
import sys

import pytest

TOP = pathlib.Path(__file__).parents[2]
sys.path.append(str(TOP / "sql"))
import embed  # noqa: E402

HEADERS = [TOP / "include/depositd/event.h", TOP / "include/depositd/account.h"]
NAMES = embed.read_names(HEADERS)
FILES = sorted(path for path in TOP.glob("sql/*/**/*.sql") if "migrations" not in path.parts)

NUMBER = r"(?<![\w$.])[1-9]\d*\b"
COMPARED = r"(?:=|<>|<=|>=|<|>)"
OF_KIND = r"(?:\b(?:\w+_)?kind\)?|account_kind_of\([^()]*\)|account >> 48)"  # `kind`, `coalesce(o.kind, e.kind)` …
PLACES = [
    re.compile(pattern)
    for pattern in (
        rf"\baccount_of\(\s*{NUMBER}",
        rf"{OF_KIND} {COMPARED} {NUMBER}",
        rf"{OF_KIND} (?:NOT )?IN \([^()]*{NUMBER}",
        rf"{OF_KIND} (?:NOT )?BETWEEN (?:{NUMBER}|\S+ AND {NUMBER})",
        rf"CASE (?:\w+\.)?{OF_KIND} (?:[^()]* )?WHEN {NUMBER}",
        rf"(?:THEN|ELSE) {NUMBER}(?: ELSE \S+)? END AS kind\b",
        rf"{NUMBER} AS kind\b",
        rf"ARRAY\[[^]]*{NUMBER}[^]]*\]\) AS kind\b",
        rf"\(kind, [^()]*\) AS \(VALUES (?:\([^()]*\), )*\({NUMBER}",
        rf"_kind\) AS \(VALUES (?:\([^()]*\), )*\([^()]*{NUMBER}",
        rf"\bparticipant, {NUMBER}",  # one of a participant's accounts
    )
]


def bare_numbers(text):
    """Where a number stands for a kind or an account, in a text without comments and strings."""
    text = re.sub(r"--[^\n]*", "", text)
    text = re.sub(r"\s+", " ", re.sub(r"'(?:[^']|'')*'", "''", text))
    return [found[0] for place in PLACES for found in place.finditer(text)]


def name_of(path):
    return str(path.relative_to(TOP))


def test_the_tables_are_read():
    assert {
        "kind_issue": "1",
        "kind_bank_line_resolved": "26",
        "account_customer_deposits": "1",
        "account_supply": "32",
        "account_first_cups": "32",
        "account_unaccounted": "38",
        "account_abroad": "40",
    }.items() <= NAMES.items()
    assert {"kinds_counter": "1,2,3", "kinds_close": "20,21", "accounts_stock": "33,34"}.items() <= NAMES.items()
    for header, prefix in zip(HEADERS, ("kind_", "account_")):
        rows = re.findall(r"^    X\((\w+),", header.read_text(), re.MULTILINE)
        assert rows and {prefix + name.lower() for name in rows} <= NAMES.keys()


@pytest.mark.parametrize("header", HEADERS, ids=name_of)
def test_a_row_without_a_member_is_told(header, tmp_path):
    """The build reads the rows before the compiler does, so it must say which of them lacks a member."""
    copy = tmp_path / header.name
    text = header.read_text()
    name, last = re.findall(r"^    X\((\w+),[^()]*(, \w+)\)", text, re.MULTILINE)[-1]
    copy.write_text(re.sub(rf"^(    X\({name},[^()]*){last}\)", r"\1)", text, flags=re.MULTILINE))
    with pytest.raises(ValueError, match=rf"{header.name}: the row of {name} has"):
        embed.read_names([copy])


@pytest.mark.parametrize("path", FILES, ids=name_of)
def test_kinds_and_accounts_have_names(path):
    assert not bare_numbers(path.read_text())


def test_a_number_in_any_of_these_places_would_be_noticed():
    """Each name that is used, in its turn, becomes a number."""
    places = 0
    for path in FILES:
        text = path.read_text()
        for token in embed.TOKEN.finditer(text):
            if token["name"] and token["name"] not in embed.FORTH:
                places += 1
                changed = text[: token.start()] + NAMES[token["name"]] + text[token.end() :]
                assert bare_numbers(changed), f"{name_of(path)}: {token[0]}"
    assert places > 90


@pytest.mark.parametrize(
    "text",
    [
        "-- :kind_issue\n",
        "/* :kind_issue */",
        "':kind_issue'",
        "'it''s :kind_issue'",
        r"E'it\'s :kind_issue'",
        '":kind_issue"',
        "$$ :kind_issue $$",
        "$of$ $$ :kind_issue $of$",
        "$1::integer",
        "a := 1",
        "a[kind:kind_issue]",
        "e'\\\\' || '::kind_issue'",
    ],
)
def test_what_is_no_name_stays(text):
    assert embed.replace_names(text, NAMES, "here") == text


def test_names_become_numbers():
    text = "SELECT $1::integer, kind = :kind_issue, (:account_bank) -- :kind_issue's\n, ':x', :kind_return::text"
    assert (
        embed.replace_names(text, NAMES, "here")
        == "SELECT $1::integer, kind = 1, (7) -- :kind_issue's\n, ':x', 2::text"
    )


LIST = "SELECT n FROM t WHERE n :beyond $1 AND n :until $2 AND :newest_first ORDER BY n :onward"


def test_a_list_goes_both_ways(tmp_path):
    file = tmp_path / "some-list.sql"
    file.write_text(LIST)
    assert embed.statement_texts(file, NAMES) == {
        "": "SELECT n FROM t WHERE n > $1 AND n <= $2 AND false ORDER BY n ASC",
        "-newest": "SELECT n FROM t WHERE n < $1 AND n >= $2 AND true ORDER BY n DESC",
    }
    file.write_text("SELECT n FROM t WHERE kind = :kind_issue")
    assert embed.statement_texts(file, NAMES) == {"": "SELECT n FROM t WHERE kind = 1"}


@pytest.mark.parametrize("path", [p for p in FILES if p.stem.endswith("-list")], ids=name_of)
def test_each_bound_and_order_of_a_list_has_its_way(path):
    """A list that goes both ways has no order of its own left: neither of rows nor of keys. Two lists find a span of
    numbers first, which is the same both ways."""
    text = re.sub(r"--[^\n]*", "", path.read_text())
    if ":onward" in text:
        orders = re.findall(r"\bORDER BY ([^()]*?)(?:LIMIT|OFFSET|\)|\Z)", text)
        own = [order for order in orders if not re.search(r":onward|\bDESC\b|\bposition\b", order)]
        assert orders and not own and ":beyond" in text or path.stem in ("events-list", "changes-list")


def test_an_unknown_name_ends_the_build(tmp_path):
    file = tmp_path / "check-some.sql"
    file.write_text("-- :kind_nothing\nSELECT ':kind_nothing'\n WHERE kind = :kind_nothing\n")
    said = subprocess.run(
        [sys.executable, TOP / "sql/embed.py", "sql", tmp_path / "sql.c", tmp_path / "sql.h", *HEADERS, file],
        capture_output=True,
        text=True,
    )
    assert said.returncode == 1 and said.stderr == f"{file}:3: no table has the name :kind_nothing\n"
    assert not (tmp_path / "sql.c").exists()


def test_psql_gets_the_same_names(tmp_path):
    subprocess.run([sys.executable, TOP / "sql/embed.py", "names", tmp_path / "names.psql", *HEADERS], check=True)
    lines = [line.split() for line in (tmp_path / "names.psql").read_text().splitlines()]
    assert all(first == "\\set" for first, _, _ in lines)
    assert {name: number for _, name, number in lines} == NAMES | embed.FORTH
