# SPDX-License-Identifier: ISC
"""The database is cut off, crashes, stalls and runs out of room, while the service runs on. The service answers 503
at once, and uses the database again when it comes back, without a restart. The service is no larger afterwards."""
import time
from pathlib import Path

import psycopg2
import pytest

from cluster import Cluster, full, library, small_file_system, stopped, writers_backend
from proof import Auditor, Footprint
from tills import Load

SMALL_MB = 48
TIGHT_MB = 192
ONE_READER = {"read_workers": 1}  # the number of the service's connections is known then


class Survivor:
    """A service, the load on it, and its size before the faults."""

    def __init__(self, service, rng, days, **load):
        with Load([service], rng, days) as warming:
            warming.wait_for("answers", 500)
            Auditor(warming).prove()
        self.service, self.before = service, Footprint(service)
        self.load = Load([service], rng, days, book=warming.book, **load)
        self.auditor = Auditor(self.load)

    def assert_sound(self):
        """To be called after the load."""
        self.auditor.prove_all()
        assert self.service.process.poll() is None
        self.service.admin.connection.close()
        self.before.assert_bounded(self.load)


def test_crash_recovery(new_network, cluster, days, rng, rounds):
    survivor = Survivor(new_network(**ONE_READER), rng, days)
    with survivor.load as load:
        for _ in rounds(20):
            load.wait_for("answers", rng.randint(1, 300))
            cluster.stop_immediately()
            load.wait_for("overloaded", 2 * len(load.tills))
            assert survivor.service.client().send("GET", "/healthz").status == 200
            assert survivor.service.client().send("GET", "/readyz").status == 503
            cluster.start()
            load.wait_for("answers", 50)
            survivor.auditor.prove()
    survivor.assert_sound()


def test_writers_backend_terminated(new_network, database, days, rng, rounds):
    survivor = Survivor(new_network(**ONE_READER), rng, days)
    with survivor.load as load:
        for _ in rounds(50):
            backend = writers_backend(database)
            time.sleep(rng.uniform(0, 0.02))  # anywhere between two transactions, or within one
            assert database.rows("SELECT pg_terminate_backend(%s)", backend) == [(True,)]
            load.wait_for("answers", rng.randint(50, 300))
            survivor.auditor.prove()
    survivor.assert_sound()


def test_a_stalled_database(new_network, database, days, rng, rounds):
    """The queue is soon full. Posts that do not fit are answered 503 while the database still stalls, and reads go
    on."""
    survivor = Survivor(
        new_network(**ONE_READER, queue_events=40, batch_events=20), rng, days, tills=8, forms=("array",), many=20
    )
    with survivor.load as load:
        for _ in rounds(10):
            load.wait_for("answers", rng.randint(1, 300))
            with stopped(writers_backend(database)):
                load.wait_for("overloaded", 10)
                assert survivor.service.admin.get("/v1/me")["role"] == "admin"
                time.sleep(rng.uniform(0, 3))
                load.wait_for("overloaded", 1)
            load.wait_for("answers", 200)
            survivor.auditor.prove()
    survivor.assert_sound()


@pytest.fixture
def small_disk(cluster, database):
    """The folder of a small file system for the database, but not for its log."""
    with small_file_system(Path(cluster.host, "small"), SMALL_MB) as folder:
        database.administer(f"CREATE TABLESPACE small LOCATION '{folder}'")
        database.administer(f"ALTER DATABASE {database.name} SET TABLESPACE small")
        yield folder
        database.drop()
        database.administer("DROP TABLESPACE small")


def test_the_disk_is_full(small_disk, new_network, days, rng, rounds):
    survivor = Survivor(new_network(**ONE_READER), rng, days)
    with survivor.load as load:
        for _ in rounds(10):
            with full(small_disk):
                load.wait_for("overloaded", 2 * len(load.tills))
                assert survivor.service.client().send("GET", "/healthz").status == 200
            load.wait_for("answers", rng.randint(50, 300))
            survivor.auditor.prove()
    survivor.assert_sound()


@pytest.fixture
def tight_cluster(cluster, monkeypatch):
    """A second cluster whose files, its log included, are all on a small file system."""
    with small_file_system(Path(cluster.host, "tight"), TIGHT_MB) as folder:
        library("private_cluster_start", folder)
        tight = Cluster(folder)
        monkeypatch.setenv("DEPOSITD_TEST_PGHOST", tight.host)
        yield tight
        library("private_cluster_stop", folder)


def test_the_database_has_no_room_for_its_log(tight_cluster, new_network, database, days, rng, rounds):
    """PostgreSQL panics. It may not come up again until there is room and somebody starts it."""
    survivor = Survivor(new_network(**ONE_READER), rng, days)
    with survivor.load as load:
        for _ in rounds(5):
            load.wait_for("answers", rng.randint(50, 300))
            with full(Path(tight_cluster.folder)):
                with pytest.raises((psycopg2.OperationalError, psycopg2.InterfaceError)):
                    while True:  # until the log needs a new segment
                        database.rows("SELECT pg_switch_wal()")
                load.wait_for("overloaded", 2 * len(load.tills))
            tight_cluster.revive()
            load.wait_for("answers", 50)
            survivor.auditor.prove()
    survivor.assert_sound()
