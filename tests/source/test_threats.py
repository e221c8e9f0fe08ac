# SPDX-License-Identifier: ISC
"""The threat model names tests that there are, and tells of the keys of each role."""
import re

from test_recipes import rows
from test_text import TOP

PAGE = (TOP / "src/app/THREATS.md").read_text()
NAMED = sorted(set(re.findall(r"`(test_\w+\.py)::(test_\w+)`", PAGE)))
KEYS_OF = {"pos": "till"}  # a heading names the owner of the key


def test_each_named_test_is_there():
    assert len(NAMED) > 20
    missing = [
        f"{file}::{name}"
        for file, name in NAMED
        if not re.search(rf"^def {name}\(", (TOP / "tests/http" / file).read_text(), re.M)
    ]
    assert missing == []


def test_each_role_has_its_harm():
    headings = re.findall(r"^## (.+)$", PAGE, re.MULTILINE)
    missing = [
        word
        for _, word in rows("role.h", "ROLE_TABLE")
        if not any(re.search(rf"\b{KEYS_OF.get(word, word)}\b", heading) for heading in headings)
    ]
    assert not missing, "src/app/THREATS.md"
