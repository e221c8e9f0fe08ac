# SPDX-License-Identifier: ISC
"""Two instances post to many schemes in four groups, so eight writers append side by side, and each request is split
among those of its instance. Services and PostgreSQL are killed meanwhile. A part of a request may be recorded and
another not; still each event is in its scheme once, and every scheme is sound."""
import pytest

from harness import Service, new_service
from proof import Auditors
from tills import Load, many_schemes

SCHEMES, GROUPS = 20, 4


@pytest.fixture
def sites(database, days):
    return many_schemes(days[0], SCHEMES, GROUPS)


@pytest.fixture
def instances(database, sites):
    one = new_service(database, key_rate=0)
    one.admin.load(sites[0])
    other = Service(database, key_rate=0).start()
    yield [one, other]
    for service in (one, other):
        service.stop()


def load_of(instances, sites, rng, days):
    """Arrays and streams name all schemes, so that most have events of each group."""
    return Load(instances, rng, days, many=20, sites=sites[1])


def test_instances_killed_while_groups_post(instances, sites, days, rng, rounds):
    with load_of(instances, sites, rng, days) as load:
        auditors = Auditors(load)
        for turn in rounds(10):
            load.wait_for("answers", rng.randint(1, 300))
            killed = instances if turn % 2 else [rng.choice(instances)]
            for service in killed:
                service.kill()
            for service in killed:
                service.start()
            auditors.prove(rng.choice(instances))
    auditors.prove_all()


def test_postgresql_killed_while_groups_post(instances, sites, cluster, days, rng, rounds):
    """In every second round an instance is killed with it, which starts only when the database is back."""
    with load_of(instances, sites, rng, days) as load:
        auditors = Auditors(load)
        for turn in rounds(10):
            load.wait_for("answers", rng.randint(1, 300))
            killed = [rng.choice(instances)] if turn % 2 else []
            for service in killed:
                service.kill()
            cluster.kill()
            load.wait_for("overloaded", len(load.tills))
            cluster.start()
            for service in killed:
                service.start()
            load.wait_for("answers", 50)
            auditors.prove(rng.choice(instances))
    auditors.prove_all()
