# SPDX-License-Identifier: ISC
"""The schemas of ISO 20022, which belong to the standard and are not part of this repository: finds them, and
validates documents with xmllint.

They are free to download at www.iso20022.org, "ISO 20022 message definitions", by the message's name. The catalogue of
messages has the current versions, and its archive has earlier versions. Keep the files' own names."""
import os
import pathlib
import re
import shutil
import subprocess

import pytest

TOP = pathlib.Path(__file__).parents[2]
# The folder that the environment names, the folder that .gitignore names, and a folder beside the checkout.
FOLDERS = (
    [pathlib.Path(os.environ["DEPOSITD_ISO20022_XSD"])]
    if os.environ.get("DEPOSITD_ISO20022_XSD")
    else [TOP / "tests/iso20022-xsd", TOP.parent / "shared/data/iso20022"]
)


def find(name):
    """The file, or None."""
    return next((folder / name for folder in FOLDERS if (folder / name).exists()), None)


def validate(*documents):
    """Validates each document by the schema of its own namespace. Skips the test if a schema is missing, so call it
    last."""
    if not shutil.which("xmllint"):
        pytest.skip("xmllint is missing: not validated")
    for document in documents:
        name = re.search(rb"tech:xsd:([a-z]+\.[0-9.]+)", document).group(1).decode() + ".xsd"
        schema = find(name)
        if not schema:
            pytest.skip(
                f"not validated for want of {name}: put it, from the message archive of www.iso20022.org, into "
                f"{FOLDERS[0]}, or set DEPOSITD_ISO20022_XSD"
            )
        done = subprocess.run(
            ["xmllint", "--nonet", "--noout", "--schema", schema, "-"], input=document, capture_output=True
        )
        assert done.returncode == 0, done.stderr.decode()
