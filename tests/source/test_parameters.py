# SPDX-License-Identifier: ISC
"""Functions take few parameters: values that belong together are a struct, filled by name at the call.

Reads declarations and definitions as clang-format writes them: they begin at the start of a line."""
import pathlib
import re

import pytest

TOP = pathlib.Path(__file__).parents[2]
SOURCES = sorted([*TOP.glob("src/**/*.[ch]"), *TOP.glob("include/**/*.h")])
MOST = 6
# Callbacks, whose parameters a library lays down.
OF_LIBRARIES = {"handle": "libmicrohttpd's MHD_AccessHandlerCallback"}

COMMENT_OR_TEXT = re.compile(r'/\*.*?\*/|"(?:\\.|[^"\\\n])*"', re.DOTALL)
FUNCTION = re.compile(r"^(?!typedef|#|return\b)[A-Za-z_][\w \t*]*?\b(\w+)\(", re.MULTILINE)


def functions(source):
    """(name, number of parameters) of each function that is declared or defined."""
    source = COMMENT_OR_TEXT.sub('""', source)
    for start in FUNCTION.finditer(source):
        depth, count, at = 1, 1, start.end()
        while depth > 0:
            depth += {"(": 1, ")": -1}.get(source[at], 0)
            count += source[at] == "," and depth == 1
            at += 1
        yield start[1], count


def test_the_reader_counts_parameters():
    source = """
/* int seven(int a, int b, int c, int d, int e, int f, int g); */
int one(int a);
MUST_CHECK struct thing *seven(const char *text, int b, bool (*each)(void *context, int row), int d,
                               int e[static 3], int f, int g)
{
    call_of_eight(1, 2, 3, 4, 5, 6, 7, 8);
}
static const char *const words[] = {"int eight(a, b, c, d, e, f, g, h)"};
"""
    assert list(functions(source)) == [("one", 1), ("seven", 7)]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(TOP)))
def test_no_function_takes_more_parameters_than_a_reader_keeps_in_mind(path):
    too_many = {name: count for name, count in functions(path.read_text()) if count > MOST and name not in OF_LIBRARIES}
    assert not too_many


def test_what_libraries_lay_down_is_still_there():
    found = {name for path in SOURCES for name, count in functions(path.read_text()) if count > MOST}
    assert found == set(OF_LIBRARIES)
