# SPDX-License-Identifier: ISC
"""tests/run leaves some modules out under the thread sanitizer. A name that is no module would leave out nothing."""
import re
from pathlib import Path

TESTS = Path(__file__).parents[1]


def test_modules_that_are_left_out_exist():
    [names] = re.findall(r"^not_about_threads=\(([^)]*)\)", (TESTS / "run").read_text(), re.M)
    missing = [name for name in names.split() if not (TESTS / "http" / f"test_{name}.py").is_file()]
    assert names.split() and not missing
