# SPDX-License-Identifier: ISC
"""Tables are complete: a new value of an enum must be handled in every switch and have a row in every table that it
indexes. The compiler sees to switches (-Wswitch-enum); these tests see to what the compiler lets pass."""
import pathlib
import re

import pytest

TOP = pathlib.Path(__file__).parents[2]
SOURCES = sorted([*TOP.glob("src/**/*.[ch]"), *TOP.glob("include/**/*.h")])

# Switches that may have a default, because the value is not of an enum of ours: a status, a character, a letter of the
# command line, a kind of node that libxml2 counts.
DEFAULTS = {
    ("src/http/contract/openapi_responses.c", "status"),
    ("src/report/html_text.c", "character"),
    ("src/main.c", "letter"),
    ("src/payment/camt053.c", "xmlTextReaderNodeType(reading->reader)"),
}

# Enumerators that count the others, or stand for nothing: no table has a row for them.
NO_VALUE = re.compile(r"_(COUNT|LIMIT|NONE|STATUSES|STATES|KINDS|CHANGES|PARTS|WHATS)$")

# Tables that have no row for these values, which never get as far as the table.
PARTIAL = {
    ("src/app/office/bank.c", "camt_reasons"): {"CAMT_OK", "CAMT_NO_MEMORY"},
    ("src/store/particulars_store.c", "statements"): {"PARTICULARS_ENTRIES", "PARTICULARS_EXCEPTIONS"},
    ("src/http/request/shape_schema.c", "plain"): {  # its switch has a case for each of these
        "FORM_TEXT",
        "FORM_WORD",
        "FORM_INTEGER",
        "FORM_AMOUNT",
        "FORM_NUMBER",
        "FORM_PAY_DAYS",
        "FORM_CUP_IDS",
        "FORM_OBJECT",
        "FORM_LIST",
    },
}

# Texts that stand by their position: each list is searched or handed on as a whole, and no enum is an index into it.
LISTS_OF_TEXTS = {
    ("src/domain/cup_id.c", "marks"),
    ("src/http/contract/openapi.c", "types"),
    ("src/http/forms/form_event.c", "known"),
    ("src/http/forms/form_event.c", "members"),
    ("src/http/pages/page_amounts.c", "others"),
    ("src/http/pages/page_change.c", "members"),
    ("src/http/pages/page_fee_note.c", "sides"),
    ("src/http/pages/page_filter.c", "flags"),
    ("src/app/cups/shipments.c", "shipment_actors"),
    ("src/app/cups/shipments.c", "shipment_states"),
    ("src/http/pages/page_packing_list.c", "hands"),
    ("src/http/pages/page_plan.c", "of_way"),
    ("src/http/pages/page_settlement.c", "facts"),
    ("src/http/pages/page_settlement.c", "seal"),
    ("src/http/pages/page_shipments.c", "steps"),
    ("src/http/pages/page_target.c", "names"),
    ("src/http/pages/page_value.c", "members"),
    ("src/http/pages/page_value.c", "words"),
    ("src/report/html.c", "mains"),
    ("src/report/render_cover.c", "amounts"),
    ("src/report/report.c", "exception_states"),
    ("src/report/report.c", "signatures_of_two"),
    ("src/report/report.c", "orders"),
    ("src/report/report.c", "fee_kinds"),
    ("src/report/report.c", "figures_of_sites"),
    ("src/report/report.c", "parts_of_ledger"),
    ("src/report/report.c", "reconciliation_states"),
    ("src/report/report.c", "issue_periods"),
    ("src/report/report.c", "line_choices"),
    ("src/report/report.c", "count_states"),
    ("src/report/report.c", "shrinkage_parts"),
    ("src/report/report.c", "total_states"),
    ("src/report/report.c", "totals_choices"),
    ("src/report/report.c", "transfer_states"),
    ("src/store/change_store.c", "change_words"),
    ("src/store/pg_connection.c", "keywords"),
    ("src/store/pg_connection.c", "values"),
    ("src/store/reference_store.c", "bearing_words"),
    ("src/words/dates.c", "months"),
    ("src/words/dates.c", "weekdays"),
    ("src/words/labels.c", "names"),
}


def name_of(path):
    return str(path.relative_to(TOP))


def plain(path):
    """The text without comments, strings and continued lines' backslashes."""
    text = re.sub(r"/\*.*?\*/", " ", path.read_text(), flags=re.DOTALL)
    return re.sub(r'"(?:[^"\\\n]|\\.)*"', '""', text).replace("\\\n", " ")


def block(text, start):
    """The text within the braces that open at start."""
    depth = 0
    for end in range(start, len(text)):
        depth += (text[end] == "{") - (text[end] == "}")
        if depth == 0:
            return text[start + 1 : end]
    raise ValueError("a brace is not closed")


def parts(body):
    """The elements of an initialiser."""
    found, depth, last = [], 0, 0
    for at, character in enumerate(body):
        depth += (character in "{([") - (character in "})]")
        if character == "," and depth == 0:
            found.append(body[last:at].strip())
            last = at + 1
    return [part for part in [*found, body[last:].strip()] if part]


def switch_of(text, at):
    """The value that the switch around this place is over."""
    for match in reversed(list(re.finditer(r"switch \((.*)\) \{", text[:at]))):
        if match.end() - 1 + len(block(text, match.end() - 1)) >= at:
            return match[1]
    raise ValueError("a default outside of any switch")


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_no_default_hides_a_value_of_an_enum(path):
    text = plain(path)
    found = {(name_of(path), switch_of(text, match.start())) for match in re.finditer(r"\bdefault:", text)}
    assert found <= DEFAULTS, "name every enumerator instead: then the compiler finds what a new one needs"
    assert not re.search(r"switch \(\(", text), "a cast in a switch hides the enum from the compiler"


def test_the_defaults_that_may_be_are_there():
    present = {
        (name_of(path), switch_of(text, match.start()))
        for path in SOURCES
        for text in [plain(path)]
        for match in re.finditer(r"\bdefault:", text)
    }
    assert present == DEFAULTS


def enums():
    """Each enum that is written out: its enumerators in order. Those made by an X-macro have their tables made by
    it."""
    found = []
    for path in SOURCES:
        text = plain(path)
        for match in re.finditer(r"\benum( \w+)? \{", text):
            body = block(text, match.end() - 1)
            constants = all("=" in part for part in parts(body)) and match[1] is None
            if "#" not in body and not constants:
                found.append([re.match(r"\w+", part)[0] for part in parts(body)])
    return found


ENUMS = enums()
OWNER = {word: number for number, words in enumerate(ENUMS) for word in words}


def arrays():
    """Each array with an initialiser that no X-macro makes: file, type, name, length, rows."""
    for path in SOURCES:
        text = plain(path)
        for match in re.finditer(r"([\w* ]*?)(\w+)\[(\w*)\] = \{", text):
            body = block(text, match.end() - 1)
            if "#" not in body and "_TABLE(" not in body:
                yield name_of(path), match[1].strip(), match[2], match[3], parts(body)


def tables():
    """Each array whose rows are given by enumerators, or whose length is the end of an enum: file, name, rows, enum."""
    for file, _, name, length, body in arrays():
        rows = [re.match(r"\[(\w+)\] =", part) for part in body]
        words = [row[1] for row in rows if row and row[1] in OWNER]
        if words:
            yield file, name, words, ENUMS[OWNER[words[0]]]
        elif length in OWNER and ENUMS[OWNER[length]][-1] == length:
            yield file, name, [], ENUMS[OWNER[length]]


TABLES = list(tables())


@pytest.mark.parametrize("file, name, rows, enum", TABLES, ids=[f"{file}:{name}" for file, name, *_ in TABLES])
def test_a_table_has_a_row_for_each_value_of_its_enum(file, name, rows, enum):
    missing = {word for word in enum if word not in rows and not NO_VALUE.search(word)}
    assert missing == PARTIAL.get((file, name), set()), f"{file}: {name} has no row for {', '.join(sorted(missing))}"


def test_the_tables_are_found():
    assert {
        ("src/domain/posting_rules.c", "words"),
        ("src/domain/payment.c", "status_words"),
        ("src/report/report.c", "words"),
    } <= {(file, name) for file, name, *_ in TABLES}


def test_no_enum_is_an_index_into_texts_by_position():
    """A new value in the midst of its enum would move the texts behind it. So rows name their enumerators, or the list
    is one that no enum is an index into."""
    found = {
        (file, name)
        for file, kind, name, _, rows in arrays()
        if re.search(r"\bchar \*(const)?$", kind) and rows[0] != "NULL" and not rows[0].startswith("[")
    }
    assert found == LISTS_OF_TEXTS
