# SPDX-License-Identifier: ISC
"""The form of what people read and write by hand: pages of Markdown and shell scripts."""
import pathlib
import re
import subprocess

import pytest

TOP = pathlib.Path(__file__).parents[2]
WIDTH = 120


def tracked():
    """The files of the repository; in a copy without git, all but what builds leave behind."""
    listed = subprocess.run(["git", "-C", str(TOP), "ls-files", "-co", "--exclude-standard"], capture_output=True, text=True)
    if listed.returncode == 0:
        paths = [TOP / name for name in listed.stdout.splitlines()]
    else:
        paths = [path for path in TOP.rglob("*") if "build" not in path.relative_to(TOP).parts]
    return sorted(path for path in paths if path.is_file())


PAGES = [path for path in tracked() if path.suffix == ".md"]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: str(path.relative_to(TOP)))
def test_pages_fit_the_width(path):
    """Rows of tables and the targets of links can't be wrapped; everything else can."""
    long = [f"{path.name}:{number}: {len(line)} columns" for number, line in enumerate(path.read_text().splitlines(), 1)
            if len(line) > WIDTH and not line.startswith("|") and not re.match(r"\[[^]]+\]: ", line)]
    assert not long, "\n".join(long)


def test_there_are_pages():
    assert {"README.md", "DEVELOPERS.md"} <= {path.name for path in PAGES}
