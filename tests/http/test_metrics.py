# SPDX-License-Identifier: ISC
"""/metrics, read by prometheus_client's parser of the text exposition format 0.0.4, and held against that format's own rules
(prometheus.io, "Exposition formats" and "Metric and label naming", from memory)."""
import json
import re
import time
from datetime import date, timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families

import network
from harness import Service, at_once
from network import at, cups, event

FIRST = date.today() - timedelta(days=3)


@pytest.fixture(scope="module")
def net(shared):
    shared.admin.load(network.reference(
        [network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}), network.scheme("skerry", date.today() + timedelta(days=9), {})],
        {"anchor": ("tern-bay", "hearth")}))
    return shared


def scrape(service):
    """{(sample name, its labels): value}, by a client without a key."""
    answer = service.client(checked=False).send("GET", "/metrics", headers={"Accept": "text/plain;version=0.0.4, */*;q=0.1"})
    assert answer.status == 200 and answer.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    return {(s.name, frozenset(s.labels.items())): s.value
            for family in text_string_to_metric_families(answer.body.decode()) for s in family.samples}


def value(samples, name, **labels):
    return samples[name, frozenset(labels.items())]


def scrape_until(service, what, holds, seconds=20):
    """The first scrape that is as it should become: the clock looks once a second, a request ends after its answer is read."""
    deadline = time.monotonic() + seconds
    while not holds(samples := scrape(service)):
        assert time.monotonic() < deadline, f"never: {what}"
        time.sleep(0.05)
    return samples


def issue(n=1):
    return event("issue", "anchor", at(FIRST), issued=cups(cup_300=n))


def test_the_format_and_its_names(net):
    text = net.client(checked=False).send("GET", "/metrics").body.decode()
    assert text.endswith("\n") and "\r" not in text
    families = list(text_string_to_metric_families(text))
    names = [family.name for family in families]
    assert len(names) == len(set(names)) >= 12
    for family in families:
        assert re.fullmatch(r"depositd_[a-z][a-z0-9_]*", family.name) and family.documentation and family.type != "unknown"
        assert not re.search(r"_(ms|us|milliseconds|minutes|total|count|sum|bucket)$", family.name), "base units, and suffixes by type"
        for sample in family.samples:
            assert family.type != "counter" or sample.name == family.name + "_total"
            assert sample.value >= 0 and not {"le", "quantile"} & sample.labels.keys() - {"le"}
    # Each line is a comment or a sample, and the samples of a family stand together, after its HELP and TYPE.
    seen, current = set(), None
    for line in text.splitlines():
        if match := re.match(r"# HELP (\S+) \S", line):
            current = match.group(1)
            assert current not in seen
            seen.add(current)
        elif line.startswith("#"):
            assert re.fullmatch(rf"# TYPE {current} (counter|gauge|histogram)", line)
        else:
            assert re.fullmatch(rf'{current}(_bucket|_sum|_count)?(\{{[a-z]+="[^"\\\n]*"(,[a-z]+="[^"\\\n]*")*\}})? [0-9.]+', line), line


def test_it_says_nothing_of_money(net):
    net.admin.post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=7), amount="17.77"))
    text = net.client(checked=False).send("GET", "/metrics").body.decode()
    assert not re.search("17.77|1777|cup-300|hearth|anchor|CAD", text)


def test_events_are_counted_once_by_outcome(net):
    before = scrape(net)
    sent = [issue(n + 1) for n in range(5)]
    net.admin.post_many([*sent, {"event_id": "no"}, event("issue", "nowhere", at(FIRST), issued=cups(cup_300=1))])
    net.admin.post(sent[0])
    net.admin.refused("POST", "/v1/events", {"kind": "issue"}, 422, "member_missing")
    net.admin.send("POST", "/v1/events?dry_run=true", issue())
    body = b"\n".join(json.dumps(e).encode() for e in (issue(), sent[1])) + b"\nnonsense\n"
    net.admin.send("POST", "/v1/events", body, {"Content-Type": "application/x-ndjson"})
    after = scrape(net)
    more = {o: value(after, "depositd_events_total", outcome=o) - value(before, "depositd_events_total", outcome=o)
            for o in ("recorded", "duplicate", "rejected")}
    assert more == {"recorded": 6, "duplicate": 2, "rejected": 4}
    assert value(after, "depositd_batches_total") > value(before, "depositd_batches_total")
    assert value(after, "depositd_queue_events") == value(after, "depositd_reads_waiting") == 0
    assert value(after, "depositd_requests_open") >= 1


def test_requests_are_counted_by_route_and_class(net):
    before = scrape(net)
    labels = {"method": "GET", "route": "/v1/sites/{site}"}
    at_once(*[lambda: [net.client(net.admin_key).get("/v1/sites/anchor") for _ in range(20)]] * 4)
    for _ in range(3):
        net.admin.refused("GET", "/v1/sites/nowhere", None, 404, "not_found")
    net.admin.refused("GET", "/nowhere", None, 404, "not_found")
    more = lambda after, name, **l: value(after, name, **l) - before.get((name, frozenset(l.items())), 0)
    name = "depositd_http_request"
    after = scrape_until(net, "84 requests", lambda s: more(s, f"{name}_duration_seconds_count", **labels) >= 83)
    assert more(after, f"{name}s_total", **labels, status="2xx") == 80
    assert more(after, f"{name}s_total", **labels, status="4xx") == 3
    assert more(after, f"{name}s_total", method="", route="", status="4xx") >= 1
    assert more(after, f"{name}_duration_seconds_count", **labels) == 83
    assert 0 < more(after, f"{name}_duration_seconds_sum", **labels) < 83 * 2.5
    for (sample, of), count in after.items():
        of = dict(of)
        if sample == f"{name}_duration_seconds_bucket" and of["le"] != "+Inf":
            rest = {k: v for k, v in of.items() if k != "le"}
            assert count <= value(after, f"{name}_duration_seconds_count", **rest)
    bounds = [float(dict(l)["le"]) for s, l in after if s == f"{name}_duration_seconds_bucket" and labels.items() <= dict(l).items()]
    counts = [value(after, f"{name}_duration_seconds_bucket", **labels, le=le) for le in
              ("0.001", "0.005", "0.025", "0.100", "0.500", "2.500", "+Inf")]
    assert sorted(bounds) == bounds and len(bounds) == len(counts) and counts == sorted(counts)


def test_a_late_close_is_the_alarm(net):
    """The clock is off here: the first day has been due since its end and an hour. Closing it leaves the next one late, by a day less."""
    due = net.database.rows("SELECT extract(epoch FROM now() - ends_at - interval '60 minutes') FROM business_day"
                            " WHERE business_date = %s", FIRST)[0][0]
    late = value(scrape_until(net, "the scheme is watched", lambda s: ("depositd_close_late_seconds", frozenset({("scheme", "tern-bay")})) in s),
                 "depositd_close_late_seconds", scheme="tern-bay")
    assert abs(late - float(due)) < 30 and late > 3600
    days = value(scrape(net), "depositd_open_days", scheme="tern-bay")
    net.admin.close("tern-bay", FIRST)
    closed = scrape_until(net, "a day less", lambda s: value(s, "depositd_open_days", scheme="tern-bay") == days - 1)
    assert abs(late - value(closed, "depositd_close_late_seconds", scheme="tern-bay") - 86400) <= 3600 + 30  # clocks may change
    assert abs(value(closed, "depositd_last_close_timestamp_seconds", scheme="tern-bay") - time.time()) < 30
    assert ("depositd_last_close_timestamp_seconds", frozenset({("scheme", "skerry")})) not in closed
    assert value(closed, "depositd_close_late_seconds", scheme="skerry") == 0  # it has no days yet
    warning = next(line for line in net.log_text().splitlines() if "a close is late" in line)
    assert f"scheme=tern-bay date={FIRST}" in warning and "close_by_clock=no" in warning and "level=warning" in warning


def test_it_answers_when_the_database_does_not(net):
    scrape_until(net, "the clock has looked", lambda s: value(s, "depositd_database_up") == 1)
    net.database.shut()
    try:
        away = scrape_until(net, "no database", lambda s: value(s, "depositd_database_up") == 0)
        late = value(away, "depositd_close_late_seconds", scheme="tern-bay")
        looked = value(away, "depositd_clock_looked_timestamp_seconds")
        scrape_until(net, "it gets later all the same", lambda s: value(s, "depositd_close_late_seconds", scheme="tern-bay") > late)
        assert value(scrape(net), "depositd_clock_looked_timestamp_seconds") == looked
    finally:
        net.database.open()
    scrape_until(net, "the database again", lambda s: value(s, "depositd_database_up") == 1)


def test_nobody_is_late_by_the_clock(database, service):
    """With the clock on, what is due gets closed, and the figure goes back to 0."""
    service.admin.load(network.reference([network.scheme("tern-bay", FIRST, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")}))
    clock = Service(database, close_by_clock="yes").start()
    try:
        def is_done(samples):
            watched = ("depositd_close_late_seconds", frozenset({("scheme", "tern-bay")})) in samples
            return watched and value(samples, "depositd_close_late_seconds", scheme="tern-bay") == 0

        done = scrape_until(clock, "all that is due is closed", is_done)
        assert 1 <= value(done, "depositd_open_days", scheme="tern-bay") <= 2  # today, and yesterday until it is due
    finally:
        clock.stop()
