# SPDX-License-Identifier: ISC
"""The threat model names tests that there are."""
import pathlib
import re

TOP = pathlib.Path(__file__).parents[2]
NAMED = sorted(set(re.findall(r"`(test_\w+\.py)::(test_\w+)`", (TOP / "src/app/THREATS.md").read_text())))


def test_each_named_test_is_there():
    assert len(NAMED) > 20
    missing = [
        f"{file}::{name}"
        for file, name in NAMED
        if not re.search(rf"^def {name}\(", (TOP / "tests/http" / file).read_text(), re.M)
    ]
    assert missing == []
