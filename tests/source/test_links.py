# SPDX-License-Identifier: ISC
"""Every relative link of a page leads to a file, and every path in a code span names one."""
import pathlib
import re

import pytest

from test_text import FILES, PAGES, TOP, name_of

NAMES = {name_of(path) for path in FILES}
FOLDERS = {str(folder) for name in NAMES for folder in pathlib.PurePath(name).parents}
ROOMS = {folder.split("/")[0] for folder in FOLDERS}
MADE = ("build/", "tests/iso20022-xsd/")  # by a build, a demo or a reader
FORM = "NNNN_what"  # of names that are to be made up
# A word of a code span is a path if it has a slash and could be one of ours, or is the name of a source file.
SUFFIX = r"\.(?:[chm]|md|py|sql|sh|json|txt|css|lua|ts|build)"
PATH = re.compile(rf"(?:\./)?((?:[\w.-]+/)+[\w.-]*|[\w-]+{SUFFIX})")


def targets(text):
    """The targets of links, without their fragments."""
    found = re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r"^\[[^]]+\]: (\S+)$", text, re.M)
    return [target.partition("#")[0] for target in found if not re.match(r"[a-z]+:|#", target)]


def spans(text):
    """The words of code spans; blocks of commands are run by other tests."""
    text = re.sub(r"(?:^    .*\n)+|^```.*\n(?:.*\n)*?```$", "", text, flags=re.M)
    return [word for span in re.findall(r"`([^`]+)`", text) for word in span.split()]


def is_there(path, page):
    """A path is meant from the top, from src or include, from the page's own folder, or by the end of its name."""
    path = path.rstrip("/").removesuffix("…")
    bases = ["", "src/", "include/", f"{page.parent.relative_to(TOP)}/".removeprefix("./")]
    if any(base + path in NAMES | FOLDERS for base in bases):
        return True
    return any(name.endswith("/" + path) for name in NAMES)


def is_of_ours(path):
    first = path.split("/")[0]
    return "/" not in path or first in ROOMS or any(folder.endswith("/" + first) for folder in FOLDERS)


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_lead_somewhere(page):
    lost = [target for target in targets(page.read_text()) if not (page.parent / target).exists()]
    assert not lost


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_paths_in_code_are_there(page):
    lost = []
    for word in spans(page.read_text()):
        match = PATH.fullmatch(word.split("::")[0])
        if not match or match[1].startswith(MADE) or FORM in match[1]:
            continue
        if is_of_ours(match[1]) and not is_there(match[1], page):
            lost.append(word)
    assert not lost


def test_the_finders_find():
    """So that nothing above passes because it looked at nothing."""
    text = (
        "see [a](src/x.c#y), [b](https://z.example) and `src/base/log.h`, `./tests/run --quick`, `GET /v1/me`\n[c]:"
        " gone.md\n"
    )
    assert targets(text) == ["src/x.c", "gone.md"]
    page = TOP / "README.md"
    assert [
        is_there(path, page)
        for path in ("src/base/log.h", "log.h", "tests/run", "base/log.h", "src/base/lög.h", "og.h")
    ] == [True, True, True, True, False, False]
    assert is_of_ours("src/nothing.c") and is_of_ours("nothing.c") and not is_of_ours("application/json")
