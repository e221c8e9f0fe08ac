# SPDX-License-Identifier: ISC
"""Open movements: every flight of an airline sample is a cup lent at its origin and handed back at its destination.

Source: npm package vega-datasets, data/flights-5k.json: 5,000 flights of 2001-01-01 to 2001-03-31 between 203
airports, "date": "2001/01/01 01:10", origin, destination. The test computes the takings of each airport, and the
fewest payments that settle a day, from the raw file, and compares them with the service's figures for every one of its
90 days. The days are moved to recent years by whole weeks, because twenty-five years of empty days would show nothing
more."""
import json
import os
import shutil
import subprocess
import tarfile
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path

import pytest

import network

PACKAGE = "vega-datasets@3.2.1"
TARIFF = 250  # cents
WEEKS = timedelta(weeks=(date.today() - date(2001, 3, 31)).days // 7 - 1)


@pytest.fixture(scope="module")
def flights():
    folder = os.environ.get("DEPOSITD_TEST_CACHE")
    if not folder or not shutil.which("npm"):
        pytest.skip("DEPOSITD_TEST_CACHE is not set, or npm is missing")
    archive = Path(folder) / (PACKAGE.replace("@", "-") + ".tgz")
    if not archive.exists():
        archive.parent.mkdir(parents=True, exist_ok=True)
        packed = subprocess.run(
            ["npm", "pack", "--silent", PACKAGE], cwd=folder, capture_output=True, text=True, timeout=300
        )
        if packed.returncode:
            pytest.skip(f"npm pack {PACKAGE}: {packed.stderr.strip()[-200:]}")
    with tarfile.open(archive) as packed:
        rows = json.load(packed.extractfile("package/data/flights-5k.json"))
    days = defaultdict(list)
    for row in rows:
        when = datetime.strptime(row["date"], "%Y/%m/%d %H:%M") + WEEKS
        days[when.date()].append((when, row["origin"].lower(), row["destination"].lower()))
    assert len(rows) == 5000 and len(days) == 90 and min(days) == date(2001, 1, 1) + WEEKS
    return days


def fewest_payments(positions):
    """The fewest payments among many small positions. A pair of opposites is always as good as any group. (Take both
    members out of their groups: these groups join, and no group is lost.) For the rest, tries every way to take
    members one by one."""
    left = Counter(p for p in positions if p)
    count, groups = sum(left.values()), 0
    for value in [v for v in left if v > 0]:
        pairs = min(left[value], left[-value])
        left.subtract({value: pairs, -value: pairs})
        groups += pairs
    values = [v for v in left if left[v]]

    @cache
    def most(counts):
        taken = [counts[:i] + (n - 1,) + counts[i + 1 :] for i, n in enumerate(counts) if n]
        return (sum(v * n for v, n in zip(values, counts)) == 0) + max(map(most, taken)) if taken else 0

    return count - groups - most(tuple(left[v] for v in values)), sum(left.values())


def test_each_day_nets_as_the_raw_file_does(service, flights):
    airports = sorted({code for rows in flights.values() for _, *codes in rows for code in codes})
    first = min(flights)
    service.admin.load(
        network.reference(
            [network.scheme("airline", first, {"cup-300": "2.50"}, time_zone="UTC", cut_off="00:00")],
            {a: ("airline", a) for a in airports},
        )
    )
    cup = network.cups(cup_300=1)
    events = [
        event
        for rows in flights.values()
        for when, origin, destination in rows
        for event in (
            network.event("issue", origin, f"{when:%Y-%m-%dT%H:%M}:00Z", issued=cup),
            network.event("return", destination, f"{when:%Y-%m-%dT%H:%M}:00Z", returned=cup),
        )
    ]
    for start in range(0, len(events), 1000):
        assert all(r["status"] == "recorded" for r in service.admin.post_many(events[start : start + 1000]))

    for day in sorted(flights):
        took = Counter()
        for _, origin, destination in flights[day]:
            took.update({origin: TARIFF})
            took.subtract({destination: TARIFF})
        settlement = service.admin.close("airline", day)
        positions = {p["participant"]: round(float(p["amount"]) * 100) for p in settlement["positions"]}
        assert positions == {a: took[a] for a in airports}, day
        paid = Counter()
        for payment in settlement["payments"]:
            amount = round(float(payment["amount"]) * 100)
            paid.update({payment["from"]: amount})
            paid.subtract({payment["to"]: amount})
        assert {a: n for a, n in paid.items() if n} == {a: n for a, n in took.items() if n}, day
        fewest, hard = fewest_payments(took.values())
        made = len(settlement["payments"])
        # The contract promises the fewest for up to at least 20 positions (here: left over after pairing), and a close
        # number beyond.
        assert made == fewest if hard <= 20 else fewest <= made <= fewest + 1, (day, made, fewest, hard)
    assert service.admin.accounts("airline", as_of=max(flights))["with_customers(cup-300)"] == 0
    service.admin.assert_holds("airline")
