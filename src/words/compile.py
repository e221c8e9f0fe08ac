# SPDX-License-Identifier: ISC
"""Turns files of words in the PO format of GNU gettext into sorted tables in C: compile.py OUTPUT fr.po ..."""
import pathlib
import re
import sys

ESCAPES = {"n": "\n", "t": "\t", '"': '"', "\\": "\\"}
# A conversion of printf, or a numbered part.
PLACE = re.compile(r"%(?:%|[1-9](?![0-9$.]*[a-zA-Z]{0,2}[sduz])|[-+ #0-9.*]*(?:hh|h|ll|l|z|j|t)?[a-zA-Z])")


def unquoted(text):
    return re.sub(r"\\(.)", lambda found: ESCAPES[found.group(1)], text)


def read(path):
    """The entries of a file: (context or None, English, translation)."""
    entries, entry, member = [], {}, None
    for number, line in enumerate([*path.read_text().splitlines(), ""], 1):
        line = line.strip()
        found = re.fullmatch(r'(?:(msgctxt|msgid|msgstr)\s+)?"((?:[^"\\]|\\.)*)"', line)
        if line and not line.startswith("#") and not found:
            raise ValueError(f"{path}:{number}: not understood: {line}")
        if found and found.group(1):
            member = found.group(1)
            if member in entry:
                raise ValueError(f"{path}:{number}: a second {member}")
            entry[member] = unquoted(found.group(2))
        elif found:
            entry[member] += unquoted(found.group(2))
        if not line and entry:
            entries.append((entry.get("msgctxt"), entry["msgid"], entry["msgstr"]))
            entry = {}
    return [entry for entry in entries if entry[1]]  # the entry of the empty word is the head


def places(text):
    return [place for place in PLACE.findall(text) if place != "%%"]


def faults_of(entry):
    """What is wrong with a translation."""
    _, english, text = entry
    if not text.strip():
        yield "has no translation"
    there, here = places(english), places(text)
    numbered = [place for place in here if re.fullmatch("%[1-9]", place)]
    wanted = there if there and re.fullmatch("%[1-9]", there[0]) else [f"%{n}" for n in range(1, len(there) + 1)]
    if numbered and sorted(set(here)) != sorted(set(wanted)):
        yield f"has the parts {here} for {there}"
    if not numbered and here != there:
        yield f"has the parts {here} for {there}"


def key_of(entry):
    context, english, _ = entry
    return english if context is None else f"{context}\004{english}"


def in_c(text):
    quoted = "".join(
        f"\\{byte:03o}" if byte < 0x20 or byte >= 0x7F else "\\" + chr(byte) if chr(byte) in '"\\' else chr(byte)
        for byte in text.encode()
    )
    return '"' + quoted.replace("??", '?""?') + '"'


def table_of(path):
    entries = read(path)
    keys = [key_of(entry) for entry in entries]
    for entry, key in zip(entries, keys):
        for fault in faults_of(entry):
            raise ValueError(f"{path}: {key!r} {fault}")
        if keys.count(key) > 1:
            raise ValueError(f"{path}: {key!r} is there twice")
    rows = sorted(zip(keys, entries), key=lambda row: row[0].encode())
    return "".join(f"    {{{in_c(key)}, {in_c(entry[2])}}},\n" for key, entry in rows), len(rows)


def main(output, *files):
    paths = [pathlib.Path(name) for name in files]
    codes = [path.stem for path in paths]
    text = '/* Made by compile.py. */\n#include "words/words.h"\n\n'
    for path in paths:
        rows, _ = table_of(path)
        text += f"static const struct word words_{path.stem}[] = {{\n{rows}}};\n\n"
    tables = ", ".join(f'{{"{code}", words_{code}, sizeof words_{code} / sizeof words_{code}[0]}}' for code in codes)
    text += f"const struct words words_tables[] = {{{tables}}};\n"
    text += f"const size_t words_table_count = {len(codes)};\n"
    text += "const char *const words_codes[] = {" + ", ".join(f'"{code}"' for code in ["en", *codes]) + ", NULL};\n"
    pathlib.Path(output).write_text(text)


if __name__ == "__main__":
    main(*sys.argv[1:])
