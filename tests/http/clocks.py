# SPDX-License-Identifier: ISC
"""The service's time of day, which a test moves (moved_clock.c)."""
import mmap
import os
import struct
import subprocess
import time


class MovedClock:
    """The service's time of day. It is set, and goes on from there."""

    def __init__(self, folder):
        library, path = folder / "moved_clock.so", folder / "moved"
        source = os.path.join(os.path.dirname(__file__), "moved_clock.c")
        subprocess.run(
            [os.environ.get("CC", "cc"), "-std=c17", "-D_GNU_SOURCE", "-O1", "-shared", "-fPIC", "-o", library, source],
            check=True,
        )
        path.write_bytes(bytes(8))
        with open(path, "r+b") as file:
            self.moved = mmap.mmap(file.fileno(), 8)
        sanitizer = os.environ.get("ASAN_OPTIONS", "")  # which would like to be the first library, but need not
        self.environment = {
            "LD_PRELOAD": str(library),
            "MOVED_CLOCK": str(path),
            "ASAN_OPTIONS": f"{sanitizer}:verify_asan_link_order=0".lstrip(":"),
        }

    def set(self, when):
        """Returns by how many seconds it is moved."""
        seconds = round(when.timestamp() - time.time())
        self.moved[:] = struct.pack("q", seconds)
        return seconds


class MovedDatabase:
    """The time of day of a migrated database, for pages that say what is due by now: functions in front of
    PostgreSQL's own. Rows that were written by a default keep the true time."""

    def __init__(self, database):
        self.database = database
        functions = "".join(
            f"CREATE FUNCTION moved.{name}() RETURNS timestamptz LANGUAGE sql STABLE AS"
            f" $$SELECT pg_catalog.{name}() + make_interval(secs => (SELECT seconds FROM moved.by))$$;"
            for name in ("now", "clock_timestamp")
        )
        database.run(
            "CREATE SCHEMA moved; CREATE TABLE moved.by AS SELECT 0 AS seconds;"
            + functions
            + "GRANT USAGE ON SCHEMA moved TO depositd_service; GRANT SELECT ON moved.by TO depositd_service;"
            f"ALTER DATABASE {database.name} SET search_path = moved, pg_catalog, public"
        )

    def set(self, seconds):
        self.database.run(f"UPDATE moved.by SET seconds = {seconds}")
