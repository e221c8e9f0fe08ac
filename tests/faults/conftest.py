# SPDX-License-Identifier: ISC
"""Fixtures: the seed, the number of faults, the cluster that may be harmed, and a service with a network loaded."""
import os
import random
from datetime import date, timedelta

import pytest

import tills
from cluster import Cluster
from harness import Database, new_service, of_worker

SHORT = os.environ.get("DEPOSITD_FAULTS_SHORT") == "yes"
SEED = os.environ.get("DEPOSITD_FAULTS_SEED", "0")
DAYS_BACK = 25  # how far the first business day lies in the past


def pytest_report_header():
    return f"seed {SEED}{' (short)' if SHORT else ''}: repeat with --seed {SEED}"


@pytest.fixture
def rng(request):
    """The test's own random numbers. The same seed gives the same numbers, whichever other tests run."""
    return random.Random(f"{SEED} {request.node.name}")


@pytest.fixture
def rounds():
    """How often a fault is injected: the full number, or in the short form a tenth of it, but at least twice."""
    return lambda full: range(max(2, full // 10) if SHORT else full)


@pytest.fixture
def cluster():
    for name in ("DEPOSITD_BINARY", "DEPOSITD_FAULTS_CLUSTERS"):
        if not os.environ.get(name):
            pytest.fail(f"{name} is not set: run these tests by tests/faults/run")
    cluster = Cluster(of_worker(os.environ["DEPOSITD_FAULTS_CLUSTERS"]))
    cluster.start_if_down()  # a failed test left it so
    return cluster


@pytest.fixture
def database(cluster):
    database = Database()
    yield database
    cluster.start_if_down()
    database.drop()


@pytest.fixture
def days():
    """Business days that have all ended, in order."""
    return [date.today() - timedelta(days=n) for n in range(DAYS_BACK, 1, -1)]


@pytest.fixture
def new_network(database, days):
    """A function that starts a service with given settings, and loads the things that the tills trade in."""
    started = []

    def start(**settings):
        service = new_service(database, key_rate=0, **settings)
        started.append(service)
        service.admin.load(tills.reference(days[0]))
        return service

    yield start
    for service in started:
        service.stop()


@pytest.fixture
def service(database):
    """A service with an empty ledger."""
    service = new_service(database, key_rate=0)
    yield service
    service.stop()


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item):
    """Adds to a failed test's report the seed that repeats it."""
    report = (yield).get_result()
    if report.when == "call" and report.failed:
        report.sections.append(("seed", f"--seed {SEED}"))
