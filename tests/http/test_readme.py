# SPDX-License-Identifier: ISC
"""Runs every block of commands in README.md, and then in deploy/OPERATING.md, as a reader would: from top to bottom,
in one shell.

The shell sees a database cluster without the database `depositd`, and the binary under test as `depositd`. At the
point where the reader starts the demo, which has a database of its own, the service of the page begins afresh, and the
demo's own program trades on it with half of its custom. Blocks that install packages or run the two commands are left
out; ELSEWHERE lists them. tests/run itself is the second command, and installs the packages."""
import os
import pathlib
import re
import signal
import subprocess

import pytest

from harness import PATIENCE_SECONDS, SANITIZER, free_port, of_worker

TOP = pathlib.Path(__file__).parents[2]
PAGES = ("README.md", "deploy/OPERATING.md")
BUSTLE = "0.5"
# the commands of the blocks that are left out
ELSEWHERE = {"./deploy/demo", "./tests/run", "./deploy/packages", "meson"}
SERVE, FIRST_OF_TOUR = "depositd serve", ". build/demo/keys/env"


def blocks_of(text):
    """The text of each indented or fenced block, without its indentation."""
    found = re.findall(r"(?:^    .*\n)+|^```.*\n(?:.*\n)*?```$", text, re.M)
    return [re.sub(r"^    |^```.*\n?", "", block, flags=re.M) for block in found]


def is_elsewhere(block):
    commands = {line.split()[0] for line in block.splitlines()}
    assert commands <= ELSEWHERE or not commands & ELSEWHERE, f"half of it would be left out: {block}"
    return commands <= ELSEWHERE


BLOCKS = [block for page in PAGES for block in blocks_of((TOP / page).read_text())]
RUN = [block for block in BLOCKS if not is_elsewhere(block)]

# The output that a block must have, by a piece of its text. Each block must also end well, and each answer to its curl
# be a success.
PRINTS = {
    "depositd check": r"^examined \d+ things .*: 0 do not hold$",
    "cup-types.csv": r'(?s)"cup_types": ?2.*"schemes": ?1,.*"refund_values": ?2',
    "sites.csv": r'(?s)"participants": ?3.*"sites": ?5',
    "quay-till": r'"status": ?"recorded"',
    ". build/demo": r'"role": "admin"',
    '"5.00"}': r'"status": ?"recorded"',
    "posting-rules": r'(?s)"legs".*customer_deposits',
    "x-ndjson": r'"recorded": ?0, ?"duplicate": ?[1-9]\d*, ?"rejected": ?0',
    '"colour": 7': r'(?s)"reason": "\w+".*"pointer": "/colour"',
    "late_events": r'(?s)"state": "closed".*"participant": "hearth"',
    "deposit-cover": r'(?s)^funding,unexplained,.*^"holds"$',
    "withdrawable": r'(?s)"step":"bank".*"step":"shortfall"',
    '/approve" |': r'"status": "approved"',
    "bank.py": r'"confirmed": [1-9]',
    "/confirm": r'^"confirmed"$',
    "/resolve": r'(?s)"status": "proposed".*^"approved"$',
    "dry_run": r'"name": "accountant"',
    "check-proof": r"^The proof holds\.",
    "changes?of=key": r'"name": "treasurer"',
}


def test_the_allowlist_is_of_blocks_that_are_there():
    assert {line.split()[0] for block in BLOCKS if is_elsewhere(block) for line in block.splitlines()} == ELSEWHERE
    assert len(RUN) > 15 and RUN.count(SERVE + "\n") == 1 and sum(FIRST_OF_TOUR in block for block in RUN) == 1


def script(port):
    """All blocks in a single bash, each with its output in its own file."""
    ready = f"/usr/bin/curl -sf -o /dev/null http://127.0.0.1:{port}/readyz"
    serve = (
        f"{SERVE} >>service.log 2>&1 &\n echo $! >pid; for _ in {{1..{PATIENCE_SECONDS * 10}}}; do {ready}"
        " && break; sleep 0.1; done\n"
    )
    parts = ["set -euo pipefail"]
    for number, block in enumerate(RUN):
        if FIRST_OF_TOUR in block:
            parts.append(
                f"""kill $(cat pid); wait $(cat pid)
                dropdb depositd; createdb depositd; depositd migrate
                {serve}
                mkdir -p build/demo/keys
                depositd key create admin --role admin --holder Odile >build/demo/keys/admin
                python3 deploy/trade http://127.0.0.1:{port} build/demo/keys {BUSTLE} >trade"""
            )
        if block.strip() == SERVE:
            block = serve
        parts.append(f"{{\n{block}}} >{number}.out 2>{number}.err\n echo {number} >>done")
    return "\n".join(parts)


def make_folder(folder):
    """The files of the reader's checkout, and a curl that writes the status of each answer to its standard error."""
    (folder / "bin").mkdir()
    (folder / "deploy").symlink_to(TOP / "deploy")
    (folder / "bin/depositd").symlink_to(os.environ["DEPOSITD_BINARY"])
    (folder / "bin/curl").write_text("#!/bin/sh\nexec /usr/bin/curl --write-out '%{stderr}%{http_code}\\n' \"$@\"\n")
    (folder / "bin/curl").chmod(0o755)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The folder in which all blocks have run."""
    folder, host = tmp_path_factory.mktemp("readme"), of_worker(os.environ["DEPOSITD_TEST_PGHOST"])
    make_folder(folder)
    port = free_port()
    environment = {
        k: v for k, v in os.environ.items() if not k.startswith(("DEPOSITD_", "PG")) and "proxy" not in k.lower()
    } | {
        "PATH": f"{folder}/bin:/usr/bin:/bin",
        "PGHOST": host,
        "PGUSER": "postgres",
        "DEPOSITD_LISTEN_PORT": str(port),
        "DEPOSITD_CLOSE_BY_CLOCK": "no",
        "DEPOSITD_POST_DEADLINE_MS": "100000",
        "DEPOSITD_READ_DEADLINE_MS": "100000",
    }
    drop = ["dropdb", "--if-exists", "--force", "depositd"]
    subprocess.run(drop, env=environment, check=True)
    try:
        with open(folder / "shell.log", "w") as log:
            subprocess.run(
                ["bash", "-c", script(port)],
                cwd=folder,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        yield folder
    finally:
        if (folder / "pid").exists():
            os.kill(int((folder / "pid").read_text()), signal.SIGTERM)
        subprocess.run(drop, env=environment, check=True)


def told(folder):
    return "\n".join(
        (folder / name).read_text()[-3000:]
        for name in ("shell.log", "trade", "service.log")
        if (folder / name).exists()
    )


@pytest.mark.parametrize("number", range(len(RUN)), ids=lambda number: RUN[number].splitlines()[0][:60])
def test_a_block_works_as_written(folder, number):
    block, done = RUN[number], (folder / "done").read_text().split()
    out, err = (
        (folder / f"{number}.{kind}").read_text() if (folder / f"{number}.{kind}").exists() else ""
        for kind in ("out", "err")
    )
    assert str(number) in done, f"{block}\n{out}\n{err}\n{told(folder)}"
    statuses = [line for line in err.splitlines() if line]
    expected = r"422" if '"colour"' in block else r"20[0124]"
    assert all(re.fullmatch(expected, status) for status in statuses), (block, out, err)
    assert len(statuses) == len(re.findall(r"\bcurl -su", block)), (block, err)
    assert not re.search(r"^null$", out, re.M), (block, out)


@pytest.mark.parametrize("piece", PRINTS)
def test_a_block_prints_what_it_is_for(folder, piece):
    [number] = [n for n, block in enumerate(RUN) if piece in block]
    out = (folder / f"{number}.out").read_text()
    assert re.search(PRINTS[piece], out, re.M), out


def test_the_service_of_the_page_said_nothing_bad(folder):
    assert not SANITIZER.search((folder / "service.log").read_text())
