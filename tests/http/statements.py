# SPDX-License-Identifier: ISC
"""The statements of sql/ as the service sends them: with numbers for the names of kinds and accounts."""
import re
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
SQL = TOP / "sql"
sys.path.append(str(SQL))
import embed  # noqa: E402

HEADERS = [TOP / name for name in re.findall(r"'\.\./(include/[\w/]+\.h)'", (SQL / "meson.build").read_text())]
NAMES = embed.read_names(HEADERS)


def statement_text(path, way=embed.FORTH):
    return embed.statement_text(path, NAMES, way)
