# SPDX-License-Identifier: ISC
"""Reads /metrics with prometheus_client's parser of the text exposition format 0.0.4, and checks it by the rules of
exposition.py."""
import json
import os
import re
import shutil
import subprocess
import time
from datetime import date, timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families

import network
from exposition import findings
from harness import Service, at_once, wait_until
from network import at, cups, event

FIRST = date.today() - timedelta(days=3)


@pytest.fixture(scope="module")
def net(shared):
    shared.admin.load(
        network.reference(
            [
                network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}),
                network.scheme("skerry", date.today() + timedelta(days=9), {}),
            ],
            {"anchor": ("tern-bay", "hearth")},
        )
    )
    return shared


def scrape(service):
    """{(sample name, its labels): value}, by a client without a key."""
    answer = service.client(checked=False).send(
        "GET", "/metrics", headers={"Accept": "text/plain;version=0.0.4, */*;q=0.1"}
    )
    assert answer.status == 200 and answer.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    return {
        (s.name, frozenset(s.labels.items())): s.value
        for family in text_string_to_metric_families(answer.body.decode())
        for s in family.samples
    }


def value(samples, name, **labels):
    return samples[name, frozenset(labels.items())]


def scrape_until(service, what, holds):
    """The first scrape that meets the condition. The clock looks only once a second, and a request ends after its
    answer is read."""

    def as_it_should():
        samples = scrape(service)
        return samples if holds(samples) else None

    return wait_until(as_it_should, what)


def issue(n=1):
    return event("issue", "anchor", at(FIRST), issued=cups(cup_300=n))


def exposition(service):
    return service.client(checked=False).send("GET", "/metrics").body.decode()


def test_the_format_and_its_names(net):
    net.admin.post(issue())
    net.admin.refused("GET", "/nowhere", None, 404, "not_found")
    text = exposition(net)
    assert findings(text) == []
    assert len(list(text_string_to_metric_families(text))) >= 12


def test_promtool_has_nothing_to_say(net):
    """promtool is Prometheus' own linter. It comes with Debian's package prometheus, which would also start a
    server."""
    promtool = os.environ.get("PROMTOOL") or shutil.which("promtool")
    if not promtool:
        pytest.skip("promtool is not installed; PROMTOOL may name it")
    said = subprocess.run([promtool, "check", "metrics"], input=exposition(net), capture_output=True, text=True)
    assert (said.returncode, said.stdout, said.stderr) == (0, "", "")


SOUND = """# HELP depositd_a_total A
# TYPE depositd_a_total counter
depositd_a_total{outcome="recorded"} 1
# HELP depositd_wait_seconds B
# TYPE depositd_wait_seconds histogram
depositd_wait_seconds_bucket{le="0.1"} 1
depositd_wait_seconds_bucket{le="+Inf"} 2
depositd_wait_seconds_sum 1.5
depositd_wait_seconds_count 2
"""


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("depositd_a_total", "depositd_a", "without _total"),
        ("recorded", "(null)", "no word"),
        ('le="0.1"', 'le="0.100"', "canonical"),
        ("wait_seconds", "wait_days", "not a base unit"),
        ("wait_seconds", "wait_milliseconds", "not a base unit"),
        ("wait_seconds", "wait_ms", "abbreviated"),
        ("wait_seconds", "seconds_wait", "not the suffix"),
        ("depositd_a_total", "depositd_a_counter_total", "type is part"),
        ("depositd_a_total", "depositd_aFoo_total", "snake case"),
        ("depositd_a_total", "a_total", "prefix"),
        ("outcome=", "Outcome=", "label Outcome"),
        ("outcome=", "instance=", "label instance"),
        ("# HELP depositd_a_total A", "# HELP depositd_a_total ", "not the TYPE"),
        ("# TYPE depositd_a_total counter\n", "", "no TYPE"),
        ("depositd_a_total counter", "depositd_a_total gauge", "suffix of another type"),
        ("depositd_a_total", "depositd_wait_seconds_total", "of two families"),
        ("} 1\n#", '} 1\ndepositd_a_total{outcome="recorded"} 1\n#', "twice"),
        ("} 1\n#", "} x\n#", "no sample"),
        ("\n", "\r\n", "LF"),
    ],
)
def test_the_rules_find_what_is_wrong(old, new, said):
    assert findings(SOUND) == []
    try:
        found = findings(SOUND.replace(old, new))
    except ValueError as error:  # prometheus_client's parser gave up
        found = ["no sample" if "could not convert" in str(error) else str(error)]
    assert any(said in finding for finding in found), found


def test_it_says_nothing_of_money(net):
    net.admin.post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=7), amount="17.77"))
    text = net.client(checked=False).send("GET", "/metrics").body.decode()
    values = {line.rpartition(" ")[2] for line in text.splitlines() if not line.startswith("#")}
    assert len(values) > 5 and not values & {"17.77", "1777"}  # whole values: a duration may have any digits
    assert not re.search("cup-300|hearth|anchor|CAD", text)


def test_events_are_counted_once_by_outcome(net):
    before = scrape(net)
    sent = [issue(n + 1) for n in range(5)]
    journal = event(
        "journal",
        None,
        at(FIRST),
        scheme="tern-bay",
        reason="bank charges",
        legs=[{"account": "bank", "amount": "-1.00"}, {"account": "handling_fees", "amount": "1.00"}],
    )
    net.admin.post_many(
        [*sent, journal, {"event_id": "no"}, event("issue", "nowhere", at(FIRST), issued=cups(cup_300=1))]
    )
    net.admin.post(sent[0])
    net.admin.refused("POST", "/v1/events", {"kind": "issue"}, 422, "member_missing")
    net.admin.send("POST", "/v1/events?dry_run=true", issue())
    body = b"\n".join(json.dumps(e).encode() for e in (issue(), sent[1])) + b"\nnonsense\n"
    net.admin.send("POST", "/v1/events", body, {"Content-Type": "application/x-ndjson"})
    after = scrape(net)
    more = {
        o: value(after, "depositd_events_total", outcome=o) - value(before, "depositd_events_total", outcome=o)
        for o in ("recorded", "duplicate", "proposed", "rejected")
    }
    assert more == {"recorded": 6, "duplicate": 2, "proposed": 1, "rejected": 4}
    assert {dict(labels)["outcome"] for name, labels in after if name == "depositd_events_total"} == set(more)
    assert value(after, "depositd_batches_total") > value(before, "depositd_batches_total")
    assert value(after, "depositd_queue_events") == value(after, "depositd_reads_waiting") == 0
    assert value(after, "depositd_feed_waiters") == 0
    assert value(after, "depositd_requests_open") >= 1


def test_requests_are_counted_by_route_and_class(net):
    before, began = scrape(net), time.monotonic()
    labels = {"method": "GET", "route": "/v1/sites/{site}"}
    at_once(*[lambda: [net.client(net.admin_key).get("/v1/sites/anchor") for _ in range(20)]] * 4)
    for _ in range(3):
        net.admin.refused("GET", "/v1/sites/nowhere", None, 404, "not_found")
    net.admin.refused("GET", "/nowhere", None, 404, "not_found")

    def more(after, name, **having):
        return value(after, name, **having) - before.get((name, frozenset(having.items())), 0)

    name = "depositd_http_request"
    after = scrape_until(net, "84 requests", lambda s: more(s, f"{name}_duration_seconds_count", **labels) >= 83)
    assert more(after, f"{name}s_total", **labels, status="2xx") == 80
    assert more(after, f"{name}s_total", **labels, status="4xx") == 3
    assert more(after, f"{name}s_total", method="", route="", status="4xx") >= 1
    assert more(after, f"{name}_duration_seconds_count", **labels) == 83
    assert 0 < more(after, f"{name}_duration_seconds_sum", **labels) < 4 * (time.monotonic() - began), "four at a time"
    for (sample, of), count in after.items():
        of = dict(of)
        if sample == f"{name}_duration_seconds_bucket" and of["le"] != "+Inf":
            rest = {k: v for k, v in of.items() if k != "le"}
            assert count <= value(after, f"{name}_duration_seconds_count", **rest)
    bounds = [
        float(dict(l)["le"])
        for s, l in after
        if s == f"{name}_duration_seconds_bucket" and labels.items() <= dict(l).items()
    ]
    counts = [
        value(after, f"{name}_duration_seconds_bucket", **labels, le=le)
        for le in ("0.001", "0.005", "0.025", "0.1", "0.5", "2.5", "+Inf")
    ]
    assert sorted(bounds) == bounds and len(bounds) == len(counts) and counts == sorted(counts)


def test_a_late_close_is_the_alarm(net):
    """The clock is off here. The first day has been due since an hour after its end. After it is closed the next day
    is late, by a day less."""

    def due():
        return float(
            net.database.rows(
                "SELECT extract(epoch FROM now() - ends_at - interval '60 minutes') FROM"
                " business_day"
                " WHERE business_date = %s",
                FIRST,
            )[0][0]
        )

    began = due()
    late = value(
        scrape_until(
            net,
            "the scheme is watched",
            lambda s: ("depositd_close_late_seconds", frozenset({("scheme", "tern-bay")})) in s,
        ),
        "depositd_close_late_seconds",
        scheme="tern-bay",
    )
    assert began - 1 <= late <= due() and late > 3600
    days = value(scrape(net), "depositd_closes_open", scheme="tern-bay")
    closing = time.time()
    net.admin.close("tern-bay", FIRST)
    closed = scrape_until(net, "a day less", lambda s: value(s, "depositd_closes_open", scheme="tern-bay") == days - 1)
    grown = value(closed, "depositd_close_late_seconds", scheme="tern-bay") - (late - 86400)
    assert -3601 <= grown <= 3601 + due() - began  # clocks may change
    assert closing - 1 <= value(closed, "depositd_last_close_timestamp_seconds", scheme="tern-bay") <= time.time()
    assert ("depositd_last_close_timestamp_seconds", frozenset({("scheme", "skerry")})) not in closed
    assert value(closed, "depositd_close_late_seconds", scheme="skerry") == 0  # it has no days yet
    warning, *_ = wait_until(
        lambda: [line for line in net.log_text().splitlines() if "a close is late" in line], "it warns"
    )
    assert f"scheme=tern-bay date={FIRST}" in warning and "close_by_clock=no" in warning and "level=warning" in warning


def test_it_answers_when_the_database_does_not(net):
    scrape_until(net, "the clock has looked", lambda s: value(s, "depositd_database_up") == 1)
    net.database.shut()
    try:
        away = scrape_until(net, "no database", lambda s: value(s, "depositd_database_up") == 0)
        late = value(away, "depositd_close_late_seconds", scheme="tern-bay")
        looked = value(away, "depositd_clock_looked_timestamp_seconds")
        scrape_until(
            net,
            "it gets later all the same",
            lambda s: value(s, "depositd_close_late_seconds", scheme="tern-bay") > late,
        )
        assert value(scrape(net), "depositd_clock_looked_timestamp_seconds") == looked
    finally:
        net.database.open()
    scrape_until(net, "the database again", lambda s: value(s, "depositd_database_up") == 1)


def test_nobody_is_late_by_the_clock(database, service):
    """With the clock on, the days that are due are closed, and the figure goes back to 0."""
    service.admin.load(
        network.reference([network.scheme("tern-bay", FIRST, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")})
    )
    clock = Service(database, close_by_clock="yes").start()
    try:

        def is_done(samples):
            watched = ("depositd_close_late_seconds", frozenset({("scheme", "tern-bay")})) in samples
            return watched and value(samples, "depositd_close_late_seconds", scheme="tern-bay") == 0

        done = scrape_until(clock, "all that is due is closed", is_done)
        assert 1 <= value(done, "depositd_closes_open", scheme="tern-bay") <= 2  # today, and yesterday until it is due
    finally:
        clock.stop()
