# SPDX-License-Identifier: ISC
"""Sentences that a stranger has to read twice: a clause of what or who as the subject, "one that", and too at the end.

The patterns find habits, not every bad sentence. They are for pages, and for comments in the folders that have been
gone over; add a folder when its last hit is gone."""
import ast
import io
import re
import tokenize

import pytest

from test_text import FILES, name_of

FOLDERS = (
    "deploy/",
    "include/depositd/",
    "sql/checks/",
    "sql/queries/",
    "sql/reports/",
    "src/app/",
    "src/base/",
    "src/domain/",
    "src/http/",
    "src/payment/",
    "src/report/",
    "src/store/",
    "src/main.c",
    "tests/bench/",
    "tests/faults/",
    "tests/http/",
    "tests/source/",
    "tests/unit/",
)
PAGES = (
    "DEVELOPERS.md",
    "README.md",
    "deploy/",
    "sql/README.md",
    "src/app/",
    "src/http/",
    "src/report/",
    "src/store/",
    "tests/README.md",
    "tests/bench/",
)
HABITS = {
    "a clause is the subject": r"^(?:and |but |so |then )?(?:what|whatever|who|whoever)\b(?! if\b| for\b)[^?]*$",
    "nobody is the subject": r"^(?:one|those) (?:that|who|whose|which|of which)\b",
    "too at the end": r"\btoo(?=[.;:,)]|$)",
}


def flat(text):
    return re.sub(r"\s+", " ", text).strip()


def comments_in_c(text):
    return [re.sub(r"\n\s*\*", "\n", comment) for comment in re.findall(r"/\*(.*?)\*/", text, re.S)]


def comments_after(mark, text):
    """Lines of comments that follow each other are one text; so is a comment at the end of a line."""
    blocks = re.findall(rf"(?:^[ ]*{mark} .*\n)+", text, re.M)
    trailing = re.findall(rf"\S +{mark} (.*)$", text, re.M)
    return [re.sub(rf"^[ ]*{mark} ", "", block, flags=re.M) for block in blocks] + trailing


def comments_in_python(text):
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef)
    found = [ast.get_docstring(node) or "" for node in ast.walk(ast.parse(text)) if isinstance(node, documented)]
    return found + [
        token.string.lstrip("# ")
        for token in tokenize.generate_tokens(io.StringIO(text).readline)
        if token.type == tokenize.COMMENT
    ]


def paragraphs(text):
    text = re.sub(r"(?:^    .*\n)+|^```.*\n(?:.*\n)*?```$", "\n", text, flags=re.M)
    return re.split(r"\n\s*\n|\n(?=\s*(?:[-*|]|\d+\.) )", text)


def texts_of(path):
    text = path.read_text()
    if path.suffix in (".c", ".h"):
        return comments_in_c(text)
    if path.suffix == ".py":
        return comments_in_python(text)
    if path.suffix == ".md":
        return paragraphs(text)
    return comments_after("--" if path.suffix == ".sql" else "#", text)


def hits(text):
    """(habit, sentence) of each; a colon and a semicolon end a sentence as well."""
    sentences = re.split(r"(?<=[.!?;:]) ", flat(text).lstrip("-*| "))
    return [
        (habit, sentence)
        for sentence in sentences
        for habit, pattern in HABITS.items()
        if re.search(pattern, sentence, re.IGNORECASE)
    ]


def is_read(path):
    name, page = name_of(path), path.suffix == ".md"
    written = page or path.suffix in (".c", ".h", ".py", ".sql", ".sh") or path.read_bytes().startswith(b"#!/bin/bash")
    return written and name.startswith(PAGES if page else FOLDERS)


READ = [path for path in FILES if is_read(path)]


@pytest.mark.parametrize("path", READ, ids=name_of)
def test_sentences_read_at_once(path):
    found = [f"{habit}: {sentence}" for text in texts_of(path) for habit, sentence in hits(text)]
    assert not found, "\n".join(found)


def test_the_habits_are_found():
    """So that nothing above passes because it looked at nothing."""
    assert len(READ) > 150 and sum(len(texts_of(path)) for path in READ) > 800
    for sentence in (
        "What stays below 256 KiB is sent whole.",
        "It is sent; whoever waits gets it.",
        "One that is away may be right.",
        "Another instance posts, too.",
    ):
        assert hits(sentence), sentence
    for sentence in (
        "Who may post?",
        "The answer says what is wrong.",
        "It has too many rows.",
        "One of them is enough.",
    ):
        assert not hits(sentence), sentence
    assert comments_in_c("int a; /* one\n * two */ int b; /* three */") == [" one\n two ", " three "]
    assert [flat(text) for text in comments_after("--", "-- one\n-- two\nSELECT 1 -- three\n")] == ["one two", "three"]
