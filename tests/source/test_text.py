# SPDX-License-Identifier: ISC
"""The form of what people write by hand: white space everywhere, the width of pages, shell scripts by shellcheck and
shfmt, Python by flake8 and black."""
import importlib.util
import pathlib
import re
import shutil
import subprocess
import sys

import pytest

TOP = pathlib.Path(__file__).parents[2]
WIDTH = 120
RAW = TOP / "tests/unit/iso20022"  # hostile files among them, kept byte for byte


def ours():
    """The files of the repository; in a copy without git, all but what builds and tools leave behind."""
    listed = subprocess.run(
        ["git", "-C", str(TOP), "ls-files", "-co", "--exclude-standard"], capture_output=True, text=True
    )
    if listed.returncode == 0:
        paths = [TOP / name for name in listed.stdout.splitlines()]
    else:
        left = {"build", "__pycache__", ".pytest_cache", "iso20022-xsd"}
        paths = [path for path in TOP.rglob("*") if not left & set(path.relative_to(TOP).parts)]
    return sorted(path for path in paths if path.is_file())


def name_of(path):
    return str(path.relative_to(TOP))


FILES = ours()
PAGES = [path for path in FILES if path.suffix == ".md"]
STATEMENTS = [path for path in FILES if path.suffix == ".sql" and "migrations" not in path.parts]
PYTHONS = [path for path in FILES if path.suffix == ".py" or re.match(rb"#!.*python", path.read_bytes()[:32])]
SCRIPTS = [path for path in FILES if path.suffix == ".sh" or re.match(rb"#!/bin/(ba)?sh\b", path.read_bytes()[:12])]


def test_the_files_are_found():
    """So that no test below is of an empty list."""
    assert {"README.md", "DEVELOPERS.md", "deploy/CHANGES.md"} <= set(map(name_of, PAGES))
    assert {"sql/checks/check-funding.sql", "sql/queries/closing/close-cut.sql"} <= set(map(name_of, STATEMENTS))
    assert {"sql/embed.py", "deploy/trade/bank.py", "tests/http/harness.py"} <= set(map(name_of, PYTHONS))
    assert {"deploy/demo", "deploy/lib.sh", "deploy/packages", "tests/run", "tests/faults/run"} <= set(
        map(name_of, SCRIPTS)
    )


@pytest.mark.parametrize("path", PAGES, ids=name_of)
def test_pages_fit_the_width(path):
    """Rows of tables and the targets of links can't be wrapped; everything else can."""
    long = [
        f"{path.name}:{number}: {len(line)} columns"
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if len(line) > WIDTH and not line.startswith("|") and not re.match(r"\[[^]]+\]: ", line)
    ]
    assert not long, "\n".join(long)


@pytest.mark.parametrize("path", STATEMENTS, ids=name_of)
def test_comments_of_statements_fit_the_width(path):
    long = [
        f"{path.name}:{number}: {len(line)} columns"
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if len(line) > WIDTH and re.search(r"(?:^| )-- ", line)
    ]
    assert not long, "\n".join(long)


def test_white_space_is_as_editorconfig_says():
    """UTF-8, no tabs, no carriage returns, no blanks at the ends of lines, one line feed at the end of the file."""
    wrong = []
    for path in FILES:
        if RAW in path.parents:
            continue
        text = path.read_bytes().decode()
        if re.search(r"[\t\r]|[ \u00a0]\n", text) or (text and not re.search(r"[^\n]\n\Z", text)):
            wrong.append(name_of(path))
    assert not wrong


@pytest.mark.parametrize("path", SCRIPTS, ids=name_of)
def test_shellcheck_has_nothing_to_say(path):
    if not shutil.which("shellcheck"):
        pytest.skip("shellcheck is not installed")
    said = subprocess.run(["shellcheck", "--external-sources", name_of(path)], cwd=TOP, capture_output=True, text=True)
    assert (said.returncode, said.stdout, said.stderr) == (0, "", ""), said.stdout + said.stderr


def test_shfmt_would_change_nothing():
    """It takes the indentation from .editorconfig."""
    if not shutil.which("shfmt"):
        pytest.skip("shfmt is not installed")
    said = subprocess.run(["shfmt", "-d", *map(name_of, SCRIPTS)], cwd=TOP, capture_output=True, text=True)
    assert (said.returncode, said.stdout, said.stderr) == (0, "", ""), said.stdout + said.stderr


def test_flake8_has_nothing_to_say():
    """It takes its settings from .flake8."""
    if importlib.util.find_spec("flake8") is None:
        pytest.skip("flake8 is not installed")
    said = subprocess.run(
        [sys.executable, "-m", "flake8", *map(name_of, PYTHONS)], cwd=TOP, capture_output=True, text=True
    )
    assert (said.returncode, said.stdout, said.stderr) == (0, "", ""), said.stdout + said.stderr


def test_black_would_change_nothing():
    if importlib.util.find_spec("black") is None:
        pytest.skip("black is not installed")
    command = [sys.executable, "-m", "black", "--quiet", "--diff", "--line-length", str(WIDTH)]
    said = subprocess.run([*command, *map(name_of, PYTHONS)], cwd=TOP, capture_output=True, text=True)
    assert (said.returncode, said.stdout, said.stderr) == (0, "", ""), said.stdout + said.stderr
