# SPDX-License-Identifier: ISC
"""/openapi.json as a document that good clients are made from."""
import re
import subprocess
from pathlib import Path

TOP = Path(__file__).parents[2]


def test_the_version_stands_once(shared):
    """meson.build has it; the binary says the same."""
    version = re.search(r"version: '([^']+)'", (TOP / "meson.build").read_text())[1]
    assert shared.run("--version") == f"depositd {version}\n"
    assert "depositd --version" in shared.run("--help")
    assert subprocess.run([shared.binary, "--version", "more"], capture_output=True).returncode == 64
