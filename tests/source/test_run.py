# SPDX-License-Identifier: ISC
"""tests/run names the modules that it leaves out, or runs alone, under a sanitizer. A name that is no module would do
nothing."""
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


@pytest.mark.parametrize("modules_of", ["not_about_memory", "about_threads"])
def test_modules_that_are_named_exist(modules_of):
    [names] = re.findall(rf"^{modules_of}=\(([^)]*)\)", (TESTS / "run").read_text(), re.M)
    modules = names.split()
    missing = [name for name in modules if not (TESTS / "http" / f"test_{name}.py").is_file()]
    assert modules and not missing
