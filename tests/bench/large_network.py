# SPDX-License-Identifier: ISC
"""Measures the start page and every list in a large network, which SQL puts into the tables."""
import statistics
import time

from crowd import Crowd
from harness import Database, new_service

SCALES = {
    "full": Crowd(
        schemes=700,
        sites=10_000,
        large_sites=1000,
        participants=3000,
        days=400,
        small_days=60,
        entries=300_000,
        event_days=30,
        exceptions=20_000,
        lines=500,
        journals=5000,
    ),
    "quick": Crowd(
        schemes=100,
        sites=2000,
        large_sites=300,
        participants=600,
        days=100,
        small_days=20,
        entries=50_000,
        event_days=10,
        exceptions=5000,
        lines=100,
        journals=1000,
    ),
}
LARGE = "scheme=bay-0001"


def targets(days):
    """The requests for each list, at its start and far into it, and with each filter. `days`: of the large scheme."""
    day, early = days[-5], days[len(days) // 2]
    payments = f"/v1/payments?{LARGE}"
    events = f"/v1/events?{LARGE}"
    return {
        "start page": "/",
        "start page, as a page": "/?format=html",
        "accounts": f"/v1/accounts?{LARGE}",
        "accounts as of a day": f"/v1/accounts?{LARGE}&as_of={early}",
        "bank lines": f"/v1/bank-lines?{LARGE}",
        "bank lines, open": f"/v1/bank-lines?{LARGE}&open=true",
        "bank lines, not open": f"/v1/bank-lines?{LARGE}&open=false",
        "bank statements": f"/v1/bank-statements?{LARGE}",
        "changes": "/v1/changes",
        "cup types": "/v1/cup-types",
        "days": "/v1/schemes/bay-0001/days",
        "events": events,
        "events of a site": f"{events}&site=site-00007",
        "events of a kind": f"{events}&kind=count",
        "events of no such kind": f"{events}&kind=retire",
        "events of a day": f"{events}&business_date={day}",
        "events by reference": f"{events}&reference=none",
        "files": f"/v1/settlements/bay-0001/{day}/files",
        "journals, open": f"/v1/journals?{LARGE}",
        "journals, approved": f"/v1/journals?{LARGE}&status=approved",
        "keys": "/v1/keys",
        "me": "/v1/me",
        "participants": "/v1/participants",
        "payments": payments,
        "payments from a day": f"{payments}&from={early}",
        "payments that failed": f"{payments}&status=failed",
        "payments that wait": f"{payments}&status=computed",
        "payments held": f"{payments}&held=true",
        "payments of a participant": f"{payments}&participant=member-00003",
        "posting rules": "/v1/posting-rules",
        "refund values": "/v1/schemes/bay-0001/refund-values",
        "reports": "/v1/reports",
        "reports, as a page": "/v1/reports?format=html",
        "schemes": "/v1/schemes",
        "seals": f"/v1/seals?{LARGE}",
        "settlements": f"/v1/settlements?{LARGE}",
        "sites": "/v1/sites",
        "terms": "/v1/schemes/bay-0001/terms",
    }


def measure(stack, scale, calls, note):
    """{name of the request: its times in ms}"""
    database = Database()
    stack.callback(database.drop)
    service = new_service(database, key_rate=0)
    service.stop()
    took = scale.fill(database)
    note(
        f"{scale.sites:,} sites, {scale.participants:,} participants, {scale.schemes:,} schemes, filled in"
        f" {sum(took.values()):.0f} s"
    )
    service.start()
    stack.callback(service.stop)
    service.contract = None  # the tests compare answers with it; here that would cost more than the answers
    days = [d for d, in database.rows("SELECT business_date FROM business_day WHERE scheme = 1 ORDER BY 1")]
    client = service.client(service.admin_key)
    times = {}
    for name, target in targets(days).items():
        times[name] = [timed(client, target) for _ in range(calls)]
        note(f"{name:<28}{statistics.median(times[name]):8.1f} ms, at most {max(times[name]):.1f} ms")
    return times


def timed(client, target):
    started = time.monotonic()
    answer = client.send("GET", target)
    elapsed = (time.monotonic() - started) * 1000
    assert answer.status == 200, (target, answer.status, answer.body[:300])
    return elapsed
