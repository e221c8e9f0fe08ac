# SPDX-License-Identifier: ISC
"""tests/run leaves some modules out under the sanitizers. A name that is no module would leave out nothing."""
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


@pytest.mark.parametrize("left_out", ["not_about_memory", "not_about_threads"])
def test_modules_that_are_left_out_exist(left_out):
    [names] = re.findall(rf"^{left_out}=\(([^)]*)\)", (TESTS / "run").read_text(), re.M)
    modules = [name for name in names.split() if not name.startswith('"$')]
    missing = [name for name in modules if not (TESTS / "http" / f"test_{name}.py").is_file()]
    assert modules and not missing
