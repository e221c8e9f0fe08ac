# SPDX-License-Identifier: ISC
"""The files of words: every word of a page has a translation in each language, and every translation has a word.
The English words stand in the source, so the source is searched for them."""
import pathlib
import re
import sys

import pytest

TOP = pathlib.Path(__file__).parents[2]
sys.path.append(str(TOP / "src/words"))
sys.dont_write_bytecode = True
import compile as po  # noqa: E402  (src/words/compile.py)

FILES = sorted(TOP.glob("src/words/*.po"))
LITERAL = r'"(?:[^"\\\n]|\\.)*"'


def source(path):
    text = re.sub(r"/\*.*?\*/", "", path.read_text(), flags=re.DOTALL)
    return text.replace("\\\n", "\n")


SOURCES = {path: source(path) for path in [*TOP.glob("src/**/*.[ch]"), *TOP.glob("include/**/*.h")]}


def unquoted(literal):
    return re.sub(r'\\(["\\])', r"\1", literal[1:-1])


def joined(text):
    """Strings that stand side by side, as the compiler joins them."""
    for found in re.finditer(rf"{LITERAL}(?:\s*{LITERAL})*", text):
        yield "".join(unquoted(each) for each in re.findall(LITERAL, found.group()))


def entries(path):
    return po.read(path)


# No word without a translation -------------------------------------------------------------------------------
CALLS = re.compile(
    r"\b(html_word|html_plain_word|html_say|html_say_parts|html_say_count|html_note|html_link|html_name|words_say"
    r"|html_picture_begin|add_small|add_alarm|add_total|add_way)"
    rf"\([^;{{}}\"]*?((?:{LITERAL}\s*)+)[,)]"
)
FOR_MAKERS = ["each has a place to be remembered in"]  # sentences for compilers and logs
TABLES = [
    *("page_rules.c", "page_acts.c", "page_tasks.c", "page_layouts.c", "page_fee_note.c"),
    *("report.c", "render_statement.c", "statement_words.c", "problem.c", "reason.h", "exceptions.h"),
]


def is_sentence(text):
    """Rather than a name, an address, a pattern or a part of HTML."""
    return re.search("[A-Za-z]{2} ", text) and not re.search(r'[<>{}=]|^[/"]|\.h$', text) and text not in FOR_MAKERS


def words_of_pages():
    for path, text in SOURCES.items():
        if "/http/" in str(path) or "/report/" in str(path):
            for found in CALLS.finditer(text):
                for word in joined(found.group(2)):
                    if word.strip() and not re.search(r"^[/<]|^href$", word):
                        yield word, path.name
        if path.name in TABLES:
            for word in joined(text):
                if is_sentence(word) and not re.search("%[^1-9]", word):
                    yield word, path.name


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_word_has_a_translation(path):
    known = {english for _, english, _ in entries(path)}
    wanted = dict(words_of_pages())
    assert len(wanted) > 500
    missing = {word: name for word, name in wanted.items() if not {word, label(word)} & known}
    assert missing == {}


RAW = re.compile(rf"\b(?:buffer_add_text|buffer_printf|html_text)\(((?:[^;\"]|{LITERAL})*)\);")


def raw_words(literal):
    """Words that people read: the text between tags, or words that stand beside no attribute."""
    text = re.sub(r"%[-.*\d]*[a-z]+", "", literal)
    parts = re.findall(r">([^<>]+)", text) if re.search("[<>=]", text) else [text]
    return [part for part in parts if re.search(r"[A-Za-z]{3}" if part is not text else r"[A-Za-z]{2,} [a-z]{2}", part)]


def test_no_words_go_past_the_translations():
    """All that people read is written by the functions for words. The service's own name has no translation."""
    found = [
        (path.name, words)
        for path, text in SOURCES.items()
        if re.search("/(pages|forms|report)/", str(path))
        for call in RAW.findall(text)
        for literal in joined(call)
        for words in raw_words(literal)
        if words.strip() != "depositd"
    ]
    assert found == []


# No translation without a word -------------------------------------------------------------------------------
def label(name):
    words = name.replace("_", " ").replace("-", " ")
    return words[:1].upper() + words[1:]


def operation(name):
    return re.sub(r"[A-Z]", lambda found: " " + found.group().lower(), name).capitalize()


def names():
    """Words of the machine, which have labels: all names in the sources and the statements."""
    found = set()
    for text in SOURCES.values():
        found |= set(re.findall(r"\b[a-zA-Z][a-zA-Z0-9]*(?:[_-][a-zA-Z0-9]+)*\b", text))
    for path in TOP.glob("sql/**/*.sql"):
        found |= set(re.findall(r"\b[a-z][a-z0-9_]*\b", path.read_text()))
    return found


def with_macros():
    """Strings with the names of macros between them, as patterns."""
    piece = rf"(?:{LITERAL}|\b[A-Za-z_]+\b)"
    for text in SOURCES.values():
        for found in re.finditer(rf"{piece}(?:\s+{piece})+", text):
            parts = re.findall(piece, found.group())
            if any(part.startswith('"') and len(part) > 6 for part in parts):
                yield re.compile("".join(re.escape(unquoted(part)) if part.startswith('"') else ".+" for part in parts))


def used():
    found = {word for text in SOURCES.values() for word in joined(text)}
    for name in names():
        found |= {label(name), name.replace("_", " "), operation(name)}
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_translation_has_a_word(path):
    there, patterns = used(), None
    for _, english, _ in entries(path):
        if english in there or english.isdigit():
            continue
        patterns = patterns or list(with_macros())
        assert any(pattern.fullmatch(english) for pattern in patterns), f"{english!r} is for nobody"


# The files ---------------------------------------------------------------------------------------------------
def test_the_build_knows_each_file():
    [listed] = re.findall(r"languages = files\(([^)]*)\)", (TOP / "src/meson.build").read_text())
    assert re.findall(r"words/(\w+)\.po", listed) == [path.stem for path in FILES]


FAULTY = {
    "no text": ('msgid "Show"\nmsgstr ""\n', "has no translation"),
    "a place too few": ('msgid "%1 of %2"\nmsgstr "%1"\n', "has the parts"),
    "another conversion": ('msgid "has %d lines"\nmsgstr "a %s lignes"\n', "has the parts"),
    "a word twice": ('msgid "Show"\nmsgstr "Voir"\n\nmsgid "Show"\nmsgstr "Voir"\n', "is there twice"),
    "no string": ("msgid Show\n", "not understood"),
}


@pytest.mark.parametrize("name", FAULTY)
def test_a_faulty_file_is_refused(tmp_path, name):
    text, said = FAULTY[name]
    path = tmp_path / "fr.po"
    path.write_text(text)
    with pytest.raises(ValueError, match=said):
        po.table_of(path)


def test_a_file_is_read_as_gettext_reads_it(tmp_path):
    """Texts over several lines, escapes, contexts, remarks and the head."""
    path = tmp_path / "fr.po"
    path.write_text(
        'msgid ""\nmsgstr "Language: fr\\n"\n\n# a remark\nmsgctxt "verb"\nmsgid "Show"\nmsgstr "Voir"\n\n'
        'msgid "a \\"b\\" "\n"and c"\nmsgstr "un \\"b\\" "\n"et c"\n\n'
        'msgid "%s has %d"\nmsgstr "%2 dans %1"\n'
    )
    assert entries(path) == [
        ("verb", "Show", "Voir"),
        (None, 'a "b" and c', 'un "b" et c'),
        (None, "%s has %d", "%2 dans %1"),
    ]
    rows, count = po.table_of(path)
    assert count == 3 and rows.index('"%s has %d"') < rows.index('"verb\\004Show"')
