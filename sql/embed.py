#!/usr/bin/python3
# SPDX-License-Identifier: ISC
"""Turns the SQL files, and other texts the binary carries, into C.

    embed.py sql OUT.c OUT.h FILE.sql …     one `const struct sql sql_NAME` each, and the migrations as an array
    embed.py text OUT.c OUT.h FILE …        one `const char NAME_EXTENSION[]` each
"""
import pathlib
import sys


def literal(text):
    lines = text.splitlines(keepends=True)
    escaped = (line.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") for line in lines)
    return "\n".join(f'    "{line}"' for line in escaped) or '    ""'


def symbol(name):
    return name.replace("-", "_").replace(".", "_")


def embed_sql(files):
    migrations = sorted(f for f in files if f.parent.name == "migrations")
    statements = sorted(f for f in files if f not in migrations)
    header = ['#include "store/pg.h"', ""]
    source = []
    for file in statements:
        name = symbol(file.stem)
        header.append(f"extern const struct sql sql_{name};")
        source.append(f'const struct sql sql_{name} = {{"{file.stem}",\n{literal(file.read_text())}}};')
    header += ["extern const struct sql sql_migrations[];", "extern const size_t sql_migration_count;"]
    rows = ",\n".join(f'{{"{file.stem}",\n{literal(file.read_text())}}}' for file in migrations)
    source.append(f"const struct sql sql_migrations[] = {{\n{rows}}};")
    source.append(f"const size_t sql_migration_count = {len(migrations)};")
    return header, source


def embed_text(files):
    header = [f"extern const char {symbol(file.name)}[];" for file in files]
    source = [f"const char {symbol(file.name)}[] =\n{literal(file.read_text())};" for file in files]
    return header, source


def main():
    mode, source_path, header_path, *names = sys.argv[1:]
    files = [pathlib.Path(name) for name in names]
    header, source = {"sql": embed_sql, "text": embed_text}[mode](files)
    header_path = pathlib.Path(header_path)
    header_path.write_text("/* Made from the files it carries. */\n#pragma once\n" + "\n".join(header) + "\n")
    pathlib.Path(source_path).write_text(f'#include "{header_path.name}"\n' + "\n".join(source) + "\n")


if __name__ == "__main__":
    main()
