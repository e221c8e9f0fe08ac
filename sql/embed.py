#!/usr/bin/python3
# SPDX-License-Identifier: ISC
"""Turns the SQL files, and other texts the binary carries, into C.

    embed.py sql OUT.c OUT.h HEADER.h … FILE.sql …  one `const struct sql sql_NAME` each, and the migrations as an array
    embed.py names OUT.psql HEADER.h …              the names of numbers and of ways, as psql's \\set
    embed.py text OUT.c OUT.h FILE …                one `const char NAME_EXTENSION[]` each

Statements write the numbers of kinds and accounts as psql's variables, `:kind_reversal` and `:account_site_stock`, and
lists of them as `:kinds_counter` and `:accounts_stock`. The numbers come from the X-macro tables of the headers.
Migrations have no names: they keep the numbers of their time.

A list that people read from either end says :beyond, :until, :onward and :newest_first where the two ways differ. It
becomes two statements, `sql_NAME` from the oldest on and `sql_NAME_newest` from the newest on.
"""
import pathlib
import re
import sys

# A colon names a number only outside comments, strings and quoted names, and not in a cast, an assignment or a slice
# like [first:last].
TOKEN = re.compile(
    r"""
    --[^\n]* | /\*.*?\*/
  | (?<!\w)[eE]'(?:[^'\\]|\\.|'')*' | '(?:[^']|'')*' | "(?:[^"]|"")*"
  | (?P<quote>\$(?:[A-Za-z_]\w*)?\$).*?(?P=quote)
  | :: | :=
  | (?<![\w)\]]):(?P<name>[A-Za-z_]\w*)""",
    re.VERBOSE | re.DOTALL,
)


# The members of their rows by which kinds and accounts make lists: kinds by activity and effect, accounts by the cups
# that they hold.
LISTS = {"KIND_": ("kinds_", (4, 7)), "ACCOUNT_": ("accounts_", (5,))}


# What a list says in either way. With FORTH the rows ascend: the ones beyond an item are above it.
FORTH = {"beyond": ">", "until": "<=", "onward": "ASC", "newest_first": "false"}
BACK = {"beyond": "<", "until": ">=", "onward": "DESC", "newest_first": "true"}


def read_names(headers):
    """The numbers by name: of each row `X(NAME, word, number, …)`, and of each `#define PREFIX_NAME PREFIX_OTHER`.

    The header's enum gives the prefix: `KIND_##name = number` makes `kind_issue` of X(ISSUE, issue, 1). A list has the
    numbers of all rows with the same member: `kinds_counter` those of ISSUE, RETURN and EXCHANGE. ValueError: a row has
    fewer members than others of its header.
    """
    names = {}
    for header in headers:
        text = pathlib.Path(header).read_text()
        prefix = re.search(r"\b(\w+?_)##name = number\b", text).group(1)
        rows = [re.split(r",\s*", row) for row in re.findall(r"\bX\((\w+,\s*\w+,\s*\d+\b[^()]*)\)", text)]
        for row in rows:
            if len(row) != max(map(len, rows)):
                raise ValueError(f"{header}: the row of {row[0]} has {len(row)} members, others have more")
        names.update({prefix.lower() + word: number for _, word, number, *_ in rows})
        lists, columns = LISTS[prefix]
        for member, column in sorted({(row[column], column) for row in rows for column in columns}):
            names[lists + member.lower()] = ",".join(row[2] for row in rows if row[column] == member)
        for name, other in re.findall(rf"^#define ({prefix}\w+) ({prefix}\w+)$", text, re.MULTILINE):
            names[name.lower()] = names[other.lower()]
    return names


def replace_names(text, names, where):
    """The text with numbers for names. ValueError: it has a name that is none, and `where` says in which file."""

    def number(token):
        name = token["name"]
        if name is None:
            return token[0]
        if name not in names:
            line = text.count("\n", 0, token.start()) + 1
            raise ValueError(f"{where}:{line}: no table has the name :{name}")
        return names[name]

    return TOKEN.sub(number, text)


def statement_text(file, names, way=FORTH):
    """A statement as the service sends it."""
    return replace_names(file.read_text(), names | way, file)


def statement_texts(file, names):
    """Its text by the ending of its name: one, or two of a list that goes both ways."""
    forth, back = (statement_text(file, names, way) for way in (FORTH, BACK))
    return {"": forth} if forth == back else {"": forth, "-newest": back}


def literal(text):
    lines = text.splitlines(keepends=True)
    escaped = (line.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") for line in lines)
    return "\n".join(f'    "{line}"' for line in escaped) or '    ""'


def symbol(name):
    return name.replace("-", "_").replace(".", "_")


def embed_sql(files):
    names = read_names(f for f in files if f.suffix == ".h")
    files = [f for f in files if f.suffix == ".sql"]
    migrations = sorted(f for f in files if f.parent.name == "migrations")
    statements = sorted(f for f in files if f not in migrations)
    header = ['#include "store/pg.h"', ""]
    source = []
    texts = {file.stem + end: text for file in statements for end, text in statement_texts(file, names).items()}
    for name, text in texts.items():
        header.append(f"extern const struct sql sql_{symbol(name)};")
        source.append(f'const struct sql sql_{symbol(name)} = {{"{name}",\n{literal(text)}}};')
    header += ["extern const struct sql sql_migrations[];", "extern const size_t sql_migration_count;"]
    rows = ",\n".join(f'{{"{file.stem}",\n{literal(file.read_text())}}}' for file in migrations)
    source.append(f"const struct sql sql_migrations[] = {{\n{rows}}};")
    source.append(f"const size_t sql_migration_count = {len(migrations)};")
    return header, source


def embed_text(files):
    header = [f"extern const char {symbol(file.name)}[];" for file in files]
    source = [f"const char {symbol(file.name)}[] =\n{literal(file.read_text())};" for file in files]
    return header, source


def embed(mode, source_path, header_path, files):
    header, source = {"sql": embed_sql, "text": embed_text}[mode](files)
    header_path.write_text("/* Made from the files it carries. */\n#pragma once\n" + "\n".join(header) + "\n")
    source_path.write_text(f'#include "{header_path.name}"\n' + "\n".join(source) + "\n")


def main():
    mode, out, *paths = sys.argv[1:2] + [pathlib.Path(name) for name in sys.argv[2:]]
    try:
        if mode == "names":
            out.write_text("".join(f"\\set {name} {number}\n" for name, number in (read_names(paths) | FORTH).items()))
        else:
            embed(mode, out, paths[0], paths[1:])
    except ValueError as wrong:
        sys.exit(str(wrong))


if __name__ == "__main__":
    main()
