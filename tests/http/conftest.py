# SPDX-License-Identifier: ISC
"""Fixtures: a fresh database for each module or each test, and a service on it."""
import os
import sys
from pathlib import Path

import pytest

from harness import Database, new_service

sys.path.append(str(Path(__file__).parents[2] / "deploy" / "trade"))  # the demo's bank and shop floor

# The longest modules, in the order in which they begin.
LONGEST = ["test_model.py", "test_verify.py", "test_two_people.py", "test_bank.py", "test_proof.py", "test_month.py"]


def pytest_collection_modifyitems(items):
    """Begins the longest modules first. If modules run side by side, a long module that began last would run alone at
    the end."""
    items.sort(key=lambda item: LONGEST.index(item.path.name) if item.path.name in LONGEST else len(LONGEST))


def _database():
    for name in ("DEPOSITD_BINARY", "DEPOSITD_TEST_PGHOST"):
        if not os.environ.get(name):
            pytest.fail(f"{name} is not set: run these tests by tests/run")
    return Database()


@pytest.fixture(scope="module")
def module_database():
    database = _database()
    yield database
    database.drop()


@pytest.fixture
def database():
    database = _database()
    yield database
    database.drop()


@pytest.fixture(scope="module")
def shared(module_database):
    """A service that the tests of a module share."""
    service = new_service(module_database)
    yield service
    service.stop()


@pytest.fixture
def service(database):
    """A service for a single test."""
    service = new_service(database)
    yield service
    service.stop()


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item):
    """A failed test shows the end of the service's log."""
    report = (yield).get_result()
    if report.when == "call" and report.failed:
        for name in ("service", "shared"):
            if name in item.funcargs:
                report.sections.append((f"log of {name}", item.funcargs[name].log_text()[-4000:]))
