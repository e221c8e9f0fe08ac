# SPDX-License-Identifier: ISC
"""The shape of the house: the place of each file, and includes that run in one direction only."""
import pathlib
import re
import subprocess

import pytest

TOP = pathlib.Path(__file__).parents[2]
SOURCES = sorted([*TOP.glob("src/**/*.[ch]"), *TOP.glob("include/**/*.h")])
HEADERS = [path for path in SOURCES if path.suffix == ".h"]

# Each room with the rooms that it may include from besides itself. include/depositd is the face of the domain.
MAY_INCLUDE = {
    "base": {"attributes", "civil"},  # of the domain only the type of an instant
    "domain": {"depositd"},
    "depositd": set(),
    "store": {"depositd", "base"},
    "words": {"depositd", "base"},
    "report": {"depositd", "base", "words"},
    "payment": {"depositd", "base"},
    "app": {"depositd", "base", "store", "payment", "words"},
    "http": {"depositd", "base", "store", "report", "app", "words"},
    "main.c": {"depositd", "base", "app", "http"},
}
# The wings of a room, from the ground up: a file may include from its own wing and from those below.
WINGS = {
    "app": ["transaction", "network", "posting", "closing", "office", "cups", "proof", "service"],
    "http": ["request", "pages", "events", "resources", "forms", "contract", "server"],
}
EMBEDDED = {"sql.h": {"store", "app", "report"}, "answers.h": {"http"}, "version.h": {"http", "main.c"}}


def room_of(path):
    return path.relative_to(TOP).parts[1]


def wing_of(path):
    """None for the files of a room that has no wings."""
    _, room, *rest = path.relative_to(TOP).parts
    return rest[0] if room in WINGS else None


def includes(path):
    return re.findall(r'^#include "([^"]+)"', path.read_text(), re.MULTILINE)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(TOP)))
def test_includes_run_in_one_direction(path):
    room = room_of(path)
    for name in includes(path):
        if name in EMBEDDED:
            assert room in EMBEDDED[name], f"{name} is not for {room}"
            continue
        other = name.split("/")[0]
        allowed = MAY_INCLUDE[room] | {room}
        assert other in allowed or name in {f"depositd/{word}.h" for word in allowed}, f"{room} includes {name}"


@pytest.mark.parametrize("path", [p for p in SOURCES if wing_of(p)], ids=lambda path: str(path.relative_to(TOP)))
def test_includes_between_wings_run_down(path):
    room, floors = room_of(path), WINGS[room_of(path)]
    for name in includes(path):
        other, *rest = name.split("/")
        if other == room:
            assert floors.index(rest[0]) <= floors.index(wing_of(path)), f"{wing_of(path)} includes {name}"


def stem_of(path):
    """x.c and x.h are one stem; a header of include/depositd is one with the source of the domain that it names."""
    room, *rest = path.relative_to(TOP).with_suffix("").parts[1:]
    return "/".join(["domain" if room == "depositd" else room, *rest])


def graph_of_stems():
    """Each stem with the stems that its files include. A name in quotes is found in src or in include."""
    found = {}
    for path in SOURCES:
        stem = stem_of(path)
        reached = found.setdefault(stem, set())
        for name in includes(path):
            for folder in ("src", "include"):
                if (TOP / folder / name).exists():
                    reached.add(stem_of(TOP / folder / name))
        reached.discard(stem)
    return found


def reachable(graph, start):
    seen, waiting = set(), list(graph[start])
    while waiting:
        stem = waiting.pop()
        if stem not in seen:
            seen.add(stem)
            waiting.extend(graph[stem])
    return seen


def circles_of(graph):
    """The sets of stems that include each other, directly or by way of others."""
    reach = {stem: reachable(graph, stem) for stem in graph}
    return {frozenset(other for other in reach[stem] if stem in reach[other]) for stem in graph if stem in reach[stem]}


def test_no_files_include_each_other_in_a_circle():
    assert circles_of(graph_of_stems()) == set()


def test_a_circle_would_be_found():
    assert circles_of({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}, "e": set()}) == {frozenset("abc")}
    assert circles_of({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == set()


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if p.suffix == ".c" and p.name != "main.c"], ids=lambda path: str(path.relative_to(TOP))
)
def test_a_source_begins_with_its_own_header(path):
    own = [
        name
        for name in (str(path.relative_to(TOP / "src").with_suffix(".h")), f"depositd/{path.stem}.h")
        if any(str(header).endswith("/" + name) for header in HEADERS)
    ]
    if own:
        assert includes(path)[0] == own[0]


# Headers that declare what files of another stem define: handlers, which only the table of routes names; things private
# to a group of files; the face of the domain; and headers that several files implement.
SHARED_HEADERS = {
    "src/http/events/handlers.h",
    "src/http/resources/handlers.h",
    "src/store/pg_inside.h",
    "include/depositd/money.h",
    "include/depositd/posting.h",
    "include/depositd/seal.h",
    "src/app/office/bank.h",
    "src/app/proof/checks.h",
    "src/report/render.h",
    "src/store/ledger_store.h",
}
FUNCTION = r"^(?!static|typedef|extern)[A-Za-z_][\w\s*]*?\b(\w+)\("


def without_comments(path):
    text = re.sub(r"/\*.*?\*/", "", path.read_text(), flags=re.DOTALL)
    return re.sub(r"^#.*$", "", text.replace("\\\n", " "), flags=re.MULTILINE)


def definitions():
    """Each function that a header declares: its name, the header, and the source that defines it."""
    declared = {name: path for path in HEADERS for name in re.findall(FUNCTION, without_comments(path), re.MULTILINE)}
    return [
        (name, declared[name], path)
        for path in SOURCES
        if path.suffix == ".c"
        for name in re.findall(FUNCTION + r"[^;{}]*\)\s*\{", without_comments(path), re.MULTILINE)
        if name in declared
    ]


DEFINITIONS = definitions()


def test_a_function_is_defined_beside_its_header():
    assert len(DEFINITIONS) > 500
    elsewhere = {
        f"{name} of {path.name} is declared in {header.name}"
        for name, header, path in DEFINITIONS
        if header.stem != path.stem and str(header.relative_to(TOP)) not in SHARED_HEADERS
    }
    assert elsewhere == set()


def test_no_call_goes_upward():
    """Includes run down, so a call runs up only if a header declares a function of another room or of a higher wing."""
    upward = set()
    for name, header, path in DEFINITIONS:
        room, floors = room_of(path), WINGS.get(room_of(path), [])
        if room_of(header) != ("depositd" if room == "domain" else room) and room_of(header) != room:
            upward.add(f"{room} defines {name} of {header}")
        elif floors and floors.index(wing_of(header)) < floors.index(wing_of(path)):
            upward.add(f"{wing_of(path)} defines {name} of {header}")
    assert upward == set()


@pytest.mark.parametrize("path", HEADERS, ids=lambda path: str(path.relative_to(TOP)))
def test_a_header_compiles_alone(path):
    flags = subprocess.run(
        ["pkg-config", "--cflags", "libpq", "libxml-2.0"], capture_output=True, text=True, check=True
    ).stdout.split()
    done = subprocess.run(
        [
            "cc",
            "-std=c17",
            "-D_GNU_SOURCE",
            "-Wall",
            "-Wextra",
            "-Werror",
            f"-I{TOP}/include",
            f"-I{TOP}/src",
            *flags,
            "-fsyntax-only",
            "-include",
            str(path),
            "-xc",
            "/dev/null",
        ],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr


def test_only_the_store_knows_the_database():
    for path in SOURCES:
        if "libpq-fe.h" in path.read_text():
            assert room_of(path) == "store"


def test_only_the_payment_room_knows_xml():
    for path in SOURCES:
        if "libxml/" in path.read_text():
            assert room_of(path) == "payment"


def test_no_sql_outside_sql_files():
    for path in SOURCES:
        text = re.sub(r"/\*.*?\*/", "", path.read_text(), flags=re.DOTALL)
        for literal in re.findall(r'"(?:[^"\\\n]|\\.)*"', text):
            assert not re.search(r"\b(SELECT|INSERT INTO|UPDATE|DELETE FROM)\s", literal), f"{path}: {literal}"


def test_the_top_level_has_what_it_should_and_no_more():
    listed = subprocess.run(["git", "-C", str(TOP), "ls-files"], capture_output=True, text=True)
    names = {name.split("/")[0] for name in listed.stdout.split()} or {path.name for path in TOP.iterdir()} - {"build"}
    expected = {"README.md", "DEVELOPERS.md", "LICENSE", "meson.build", "src", "include", "sql", "tests", "deploy"}
    assert {name for name in names if not name.startswith(".")} == expected


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(TOP)))
def test_a_file_says_what_it_is_for(path):
    lines = path.read_text().splitlines()
    assert lines[0] == "/* SPDX-License-Identifier: ISC */"
    assert lines[1].startswith("/* ")


def test_every_sql_file_is_embedded_and_used():
    listed = set(re.findall(r"'(\w[\w/-]+\.sql)'", (TOP / "sql/meson.build").read_text()))
    there = {str(path.relative_to(TOP / "sql")) for path in TOP.glob("sql/**/*.sql")}
    assert listed == there
    sources = "".join(path.read_text() for path in SOURCES)
    for path in TOP.glob("sql/**/*.sql"):
        symbol = "sql_migrations" if path.parent.name == "migrations" else "sql_" + path.stem.replace("-", "_")
        assert re.search(rf"\b{symbol}\b", sources), f"{path.name} is for nobody"
