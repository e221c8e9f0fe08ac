# SPDX-License-Identifier: ISC
"""Harms the database: stops and starts its cluster, finds a backend, fills a file system. deploy/lib.sh handles the
cluster, as it does for tests/run."""
import errno
import os
import signal
import subprocess
from contextlib import contextmanager
from pathlib import Path

import psycopg2
import pytest

from tills import wait_until

LIBRARY = Path(__file__).parents[2] / "deploy" / "lib.sh"
APPENDING = (
    "SELECT pid FROM pg_locks JOIN pg_stat_activity USING (pid)"
    " WHERE datname = current_database() AND usename = 'depositd_service' AND granted"
    "   AND relation = 'scheme_head'::regclass AND mode IN ('RowShareLock', 'RowExclusiveLock')"
)


def library(function, *arguments):
    """Runs a function of deploy/lib.sh. Returns its output."""
    script = 'set -euo pipefail; . "$0"; "$@"'
    done = subprocess.run(
        ["bash", "-c", script, str(LIBRARY), function, *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, f"{function}: {done.stderr}"
    return done.stdout.strip()


class Cluster:
    def __init__(self, folder):
        self.folder = folder
        self.host = library("private_cluster_host", folder)

    def stop_immediately(self):
        """Stops it like a power cut: no checkpoint, so the next start recovers from the log."""
        library("private_cluster_halt", self.folder, "immediate")

    def kill(self):
        """Kills the postmaster. Its processes end when they notice; only then can another be started. Until somebody
        collects the dead postmaster its number is taken, so its lock files have to go."""
        data = Path(self.host, "data")
        lock = data / "postmaster.pid"
        os.kill(int(lock.read_text().split()[0]), signal.SIGKILL)
        wait_until(lambda: not any(works_in(data, process) for process in Path("/proc").iterdir()), "all of them end")
        for left in [lock, *Path(self.host).glob(".s.PGSQL.*.lock")]:
            left.unlink()

    def start(self):
        library("private_cluster_resume", self.folder)

    def is_down(self):
        """Whether it is stopped, and has not restarted by itself after a crash."""
        return not Path(self.host, "data", "postmaster.pid").exists()

    def start_if_down(self):
        if self.is_down():
            self.start()

    def revive(self):
        """Starts it again and again until it answers. A postmaster that could not recover may take a while to give
        up."""

        def answers():
            self.start_if_down()
            return self.is_ready()

        wait_until(answers, "the database answers")

    def is_ready(self):
        try:
            psycopg2.connect(host=self.host, user="postgres", dbname="postgres").close()
        except psycopg2.OperationalError:
            return False
        return True


def works_in(folder, process):
    """Whether a process, a folder of /proc, works in the folder. Each of a server's works in that of its data."""
    try:
        return process.name.isdigit() and (process / "cwd").readlink() == folder
    except OSError:  # it has ended
        return False


@contextmanager
def watching(database):
    """A query function on a lasting connection of the owner's, for frequent queries."""
    connection = psycopg2.connect(database.owner_dsn)
    connection.autocommit = True
    try:
        yield lambda statement, *values: _rows(connection, statement, values)
    finally:
        connection.close()


def _rows(connection, statement, values):
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall()


def writers_backend(database):
    """The process that serves the writer. Among the service's processes, it is the one that is seen with the row lock
    for appending."""
    found = []
    with watching(database) as query:
        wait_until(lambda: found or found.extend(query(APPENDING)), "somebody appends to the ledger", pause=0)
    return found[0][0]


@contextmanager
def stopped(process):
    """Stops a process for as long as the context lasts."""
    os.kill(process, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(process, signal.SIGCONT)


@contextmanager
def small_file_system(folder, megabytes):
    """A tmpfs at the folder, which is created, and belongs to the owner of the folder above."""
    if os.geteuid() != 0:
        pytest.skip("only root may mount a file system")
    owner = folder.parent.stat()
    folder.mkdir(mode=0o700)
    options = f"size={megabytes}m,mode=700,uid={owner.st_uid},gid={owner.st_gid}"
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", folder], capture_output=True, text=True)
    if mounted.returncode:
        folder.rmdir()
        pytest.skip(f"no file system can be mounted here: {mounted.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)
        folder.rmdir()


@contextmanager
def full(folder):
    """Fills the file system of the folder to its last byte, for as long as the context lasts."""
    filler = folder / "filler"
    with open(filler, "wb", buffering=0) as file:
        try:
            for size in (1 << 20, 1 << 12, 1):
                _write_until_full(file, b"\0" * size)
            yield
        finally:
            filler.unlink()


def _write_until_full(file, block):
    while True:
        try:
            if file.write(block) < len(block):
                return
        except OSError as error:
            if error.errno != errno.ENOSPC:
                raise
            return
