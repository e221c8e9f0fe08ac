# SPDX-License-Identifier: ISC
"""The measurement of each figure: runs of the measurement and of its baseline in turn, on the same server."""
import os
import statistics
import time
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

import baseline
import large_network
import loads
import plans
import simulated_week
import years
from bare import BATCH, Bare
from harness import wait_until
from known_cups import KnownCups
from ledger import Ledger
from many_schemes import PACED, SPREADS, ManySchemes

WARM_UP_SECONDS = 2
CONNECTIONS, MEMORY_CONNECTIONS = 128, 256
ARRAY_LINES, ARRAY_CONNECTIONS = 500, 8
# Each of 100 connections posts about every 100 ms, at random: 1,000/s. A connection waits for its answer before it
# posts again; wrk puts into its latencies what such waiting left out, should an answer take longer than that.
PACED_PER_SECOND, PACED_CONNECTIONS, PACED_PAUSE_MS = 1000, *PACED
NIGHT_DAYS = 4  # that are made up for at once


# Name of the figure for so many schemes, connections, events in a post.
GROUPED_SCHEMES, SCHEME_GROUPS = 70, 4
SPREAD_CLIENTS = [("schemes-{}", CONNECTIONS, 1), ("schemes-{}-array", ARRAY_CONNECTIONS, ARRAY_LINES)]


# Of the figures that compare with another binary.
AGAINST_CLIENTS = {
    "against-single": {"connections": CONNECTIONS},
    "against-array": {"connections": ARRAY_CONNECTIONS, "lines": ARRAY_LINES},
}


@dataclass
class Result:
    measured: list = field(default_factory=list)
    baseline: list = field(default_factory=list)  # empty: the figure is not a ratio


def note(text):
    print(text, flush=True)


def measure(names, scale, random):
    """{name: Result, or None if the service cannot do it yet}"""
    results = {}
    for of_group, function in GROUPS:
        wanted = [n for n in names if n in of_group]
        if wanted:
            note(f"== {', '.join(wanted)}")
            with ExitStack() as stack:
                results.update(function(stack, wanted, scale, random))
    return results


def throughput(stack, wanted, scale, random):
    """All three compare with the same TPC-B runs. Each has its own ledger, which grows with the posts."""
    baseline.prepare()

    def post(name, ledger, seconds):
        if name == "ndjson":
            return ledger.stream(scale.stream)
        if name == "array":
            return ledger.post(seconds, ARRAY_CONNECTIONS, ARRAY_LINES)["events_per_s"]
        return ledger.post(seconds, CONNECTIONS)["events_per_s"]

    ledgers = {name: Ledger(stack, random.getrandbits(64)) for name in wanted}
    missing = [name for name, ledger in ledgers.items() if post(name, ledger, WARM_UP_SECONDS) is None]
    baseline.tpcb_tps(scale.baseline_warm_up, random.getrandbits(31))
    results = {name: None if name in missing else Result() for name in wanted}
    for _ in range(scale.runs):
        tps = baseline.tpcb_tps(scale.seconds, random.getrandbits(31))
        line = f"TPC-B {tps:,.0f} tps"
        for name, result in results.items():
            if result:
                result.baseline.append(tps)
                result.measured.append(post(name, ledgers[name], scale.seconds))
                line += f"; {name} {result.measured[-1]:,.0f}/s ({result.measured[-1] / tps:.2f})"
        note(line)
    return results


def against(stack, wanted, scale, random):
    """Another binary, which --against names, and this one in turn. Each has a ledger of its own, of its own version."""
    if not scale.against:
        return dict.fromkeys(wanted)
    with binary(scale.against):
        other = Ledger(stack, random.getrandbits(64))
    pair, results = (other, Ledger(stack, random.getrandbits(64))), {name: Result() for name in wanted}
    for name, result in results.items():
        client = AGAINST_CLIENTS[name]
        for ledger in pair:
            ledger.post(WARM_UP_SECONDS, **client)
        for n in range(scale.runs):
            sides = list(zip(pair, (result.baseline, result.measured)))
            for ledger, rates in sides if n % 2 == 0 else reversed(sides):
                rates.append(ledger.post(scale.seconds, **client)["events_per_s"])
            ratio = result.measured[-1] / result.baseline[-1]
            note(f"{name}: {result.baseline[-1]:,.0f}/s; now {result.measured[-1]:,.0f}/s ({ratio:.2f})")
    return results


@contextmanager
def binary(path):
    """Databases and services that are made meanwhile are of this binary."""
    own = os.environ["DEPOSITD_BINARY"]
    os.environ["DEPOSITD_BINARY"] = path
    try:
        yield
    finally:
        os.environ["DEPOSITD_BINARY"] = own


def limit(stack, wanted, scale, random):
    """Posts of arrays, and PostgreSQL alone with the same rows."""
    ledger, result = Ledger(stack, random.getrandbits(64)), Result()
    loaded = ledger.last_entry
    ledger.post(WARM_UP_SECONDS, ARRAY_CONNECTIONS, ARRAY_LINES)
    bare = Bare(stack, ledger, loaded)
    bare.insert(WARM_UP_SECONDS)
    note(f"rows of {bare.text} bytes of text and {bare.legs} legs, {BATCH:,} in a transaction")
    for _ in range(scale.runs):
        result.baseline.append(bare.insert(scale.seconds))
        result.measured.append(ledger.post(scale.seconds, ARRAY_CONNECTIONS, ARRAY_LINES)["events_per_s"])
        ratio = result.measured[-1] / result.baseline[-1]
        note(f"bare {result.baseline[-1]:,.0f}/s; posts {result.measured[-1]:,.0f}/s ({ratio:.2f})")
    return {"limit": result}


def paced(stack, wanted, scale, random):
    baseline.prepare()
    ledger, result = Ledger(stack, random.getrandbits(64)), Result()
    ledger.post(WARM_UP_SECONDS, PACED_CONNECTIONS, pause_ms=PACED_PAUSE_MS)
    baseline.durable_insert_ms(WARM_UP_SECONDS, random.getrandbits(31))
    for _ in range(scale.runs):
        result.baseline.append(baseline.durable_insert_ms(scale.seconds, random.getrandbits(31)))
        outcome = ledger.post(scale.seconds, PACED_CONNECTIONS, pause_ms=PACED_PAUSE_MS)
        result.measured.append(outcome["p99_ms"])
        alone = baseline.paced_insert_p99_ms(scale.seconds, random.getrandbits(31), PACED_PER_SECOND)
        note(
            f"durable insert {result.baseline[-1]:.3f} ms, p99 of {PACED_PER_SECOND:,} a second {alone:.3f} ms; at "
            f"{outcome['events_per_s']:,.0f}/s offered p99 {outcome['p99_ms']:.3f} ms, median"
            f" {outcome['median_ms']:.3f} ms"
        )
    return {"paced": result}


def large(stack, wanted, scale, random):
    """A large ledger of closed days. Reports also run on a small ledger with the same days."""

    def filled_ledger(count):
        ledger = Ledger(stack, random.getrandbits(64), past_days=scale.past_days)
        a_day = count // len(ledger.days)
        for day in ledger.days:
            seconds = ledger.fill(a_day, day)
            note(f"{ledger.in_ledger:,} events in the ledger, the last {a_day:,} at {a_day / seconds:,.0f}/s")
        for day in ledger.days[:-1]:
            ledger.close(day)
        ledger.tidy()
        return ledger

    big, results = filled_ledger(scale.stored), {}
    asked = [name for name in REPORTS if name in wanted]
    if asked:
        small = filled_ledger(scale.small)
        results = {name: report_times(name, small, big, scale) for name in asked}
    if "stored" in wanted:
        results["stored"] = stored(stack, big, scale, random)
    return results


def report_times(name, small, big, scale):
    if name not in [r["report"] for r in big.service.admin.items("/v1/reports")]:
        return None
    result = Result()
    for _ in range(scale.report_calls):
        for ledger, times in (small, result.baseline), (big, result.measured):
            times.append(REPORTS[name](ledger, name) * 1000)
    return result


def whole_report(ledger, name):
    started = time.monotonic()
    ledger.service.admin.get(f"/v1/reports/{name}", scheme="tern-bay")
    return time.monotonic() - started


def statement_head(ledger, name):
    """The time until the first lines are there. The number of lines that follow equals the number of events."""
    span = f"from={ledger.days[0]}&to={ledger.days[-1]}"
    return ledger.first_lines(f"/v1/reports/{name}?format=csv&scheme=tern-bay&site=site-7&{span}")


REPORTS = {"trial-balance": whole_report, "deposit-cover": whole_report, "site-statement": statement_head}


def stored(stack, big, scale, random):
    result = Result()
    big.post(WARM_UP_SECONDS, CONNECTIONS)
    for _ in range(scale.runs):
        empty = Ledger(stack, random.getrandbits(64))
        result.baseline.append(empty.post(scale.seconds, CONNECTIONS)["events_per_s"])
        empty.service.stop()
        result.measured.append(big.post(scale.seconds, CONNECTIONS)["events_per_s"])
        note(f"empty {result.baseline[-1]:,.0f}/s; with {big.in_ledger:,} events {result.measured[-1]:,.0f}/s")
    return result


def memory(stack, wanted, scale, random):
    """Each is of a new process, measured from its start."""
    results = {}
    for name in wanted:
        ledger = Ledger(stack, random.getrandbits(64))
        if name == "memory":
            ledger.post(scale.seconds, MEMORY_CONNECTIONS)
        elif ledger.stream(scale.stream) is None:
            results[name] = None
            continue
        results[name] = Result([ledger.peak_memory_mb()])
    return results


def listing(stack, wanted, scale, random):
    """The journal lists every leg of every entry. A new process, whose memory is measured, reads it out once to its
    end. After that it is only begun again and again."""
    peaks, firsts = [], []
    for count in scale.listed:
        ledger = Ledger(stack, random.getrandbits(64))
        ledger.fill(count, ledger.days[-1])
        ledger.tidy()
        reader = ledger.another_instance()
        target = f"/v1/reports/journal?format=csv&scheme=tern-bay&from={ledger.days[0]}&to={ledger.days[-1]}"
        lines, first, whole = ledger.read_to_end(target, reader)
        peaks.append(ledger.peak_memory_mb(reader))
        firsts = [ledger.first_lines(target) * 1000 for _ in range(scale.report_calls)]
        note(
            f"{ledger.in_ledger:,} events, {lines:,} lines: first {first * 1000:.1f} ms, whole {whole:.1f} s, peak"
            f" {peaks[-1]:.1f} MB"
        )
    results = {"report-stream": Result(firsts), "report-memory": Result(peaks[1:], peaks[:1])}
    return {name: results[name] for name in wanted}


def size(stack, wanted, scale, random):
    """The size after single posts. Dead rows count, because no vacuum is requested."""
    ledger = Ledger(stack, random.getrandbits(64))
    bytes_before, events_before = ledger.size_bytes(), ledger.in_ledger
    ledger.post(2 * scale.seconds, CONNECTIONS, goods="plain")
    events = ledger.in_ledger - events_before
    note(f"{events:,} events")
    return {"bytes": Result([(ledger.size_bytes() - bytes_before) / events])}


def close(stack, wanted, scale, random):
    """Days with few events and days with many, in turn. The first day, which only supplied the sites, is closed
    unmeasured."""
    ledger = Ledger(
        stack,
        random.getrandbits(64),
        sites=scale.close_sites,
        participants=scale.close_sites // 5,
        past_days=1 + 2 * scale.closes,
    )
    ledger.close(ledger.days[0])
    result, past = Result(), ledger.days[1:-1]
    for few_day, many_day in zip(past[::2], past[1::2]):
        for count, day, times in zip(scale.close_events, (few_day, many_day), (result.baseline, result.measured)):
            ledger.fill(count, day)
            ledger.tidy()
            times.append(ledger.close(day))
        note(
            f"{scale.close_events[0]:,} events {result.baseline[-1]:.3f} s; {count:,} events {result.measured[-1]:.3f}"
            " s"
        )
    return {"close": result}


def large_lists(stack, wanted, scale, random):
    """In a network of many, from a service without other clients. The start page is the slower of its JSON and HTML.
    The slowest list is the list with the highest median."""
    times = large_network.measure(stack, large_network.SCALES[scale.network], scale.list_calls, note)
    start_page = max((times.pop(name) for name in ("start page", "start page, as a page")), key=statistics.median)
    slowest = max(times, key=lambda name: statistics.median(times[name]))
    note(f"slowest: {slowest}")
    results = {"start-page": Result(start_page), "list": Result(times[slowest])}
    return {name: results[name] for name in wanted}


def of_years(stack, wanted, scale, random):
    values = years.measure(stack, wanted, scale, random, note)
    return {name: Result(*both) for name, both in values.items()}


def week(stack, wanted, scale, random):
    values = simulated_week.measure(stack, random, scale, note)
    return {name: Result([values[name]]) for name in wanted}


def loading(stack, wanted, scale, random):
    """New networks, each loaded once; then posts at a pace, with loads and without, in turn."""
    results = {name: Result() for name in ("load-sites", "load-schemes", "load-bare", "load-posting")}
    for _ in range(scale.loads if any(name != "load-posting" for name in wanted) else 0):
        with ExitStack() as each:
            of_sites = loads.Network(each)
            seconds, bare = of_sites.load_sites(), of_sites.bare_seconds()
            schemes = loads.Network(each).load_schemes()
        results["load-sites"].measured.append(seconds)
        results["load-schemes"].measured.append(schemes)
        results["load-bare"].measured.append(seconds)
        results["load-bare"].baseline.append(bare)
        note(
            f"{loads.SITES:,} sites {seconds:.2f} s, their rows alone {bare:.3f} s; {loads.SCHEMES} schemes"
            f" {schemes:.2f} s"
        )
    if "load-posting" in wanted:
        load_posting(stack, results["load-posting"], scale, random)
    return {name: results[name] for name in wanted}


def load_posting(stack, result, scale, random):
    ledger = Ledger(stack, random.getrandbits(64))

    def p99_ms():
        return ledger.post(scale.seconds, PACED_CONNECTIONS, pause_ms=PACED_PAUSE_MS)["p99_ms"]

    ledger.post(WARM_UP_SECONDS, PACED_CONNECTIONS, pause_ms=PACED_PAUSE_MS)
    for _ in range(scale.runs):
        result.baseline.append(p99_ms())
        with loads.beside_loads(ledger) as taken:
            result.measured.append(p99_ms())
        note(
            f"p99 {result.baseline[-1]:.3f} ms; beside {len(taken)} loads of {statistics.median(taken):.2f} s"
            f" {result.measured[-1]:.3f} ms"
        )


def moves(stack, wanted, scale, random):
    times, gap = plans.measure(stack, random, scale.list_calls, note)
    results = {"plan": Result(times), "plan-gap": Result(gap)}
    return {name: results[name] for name in wanted}


def instances(stack, wanted, scale, random):
    ledger, result = Ledger(stack, random.getrandbits(64)), Result()
    both = [ledger.service, ledger.another_instance()]
    ledger.post(WARM_UP_SECONDS, CONNECTIONS, services=both)
    for _ in range(scale.runs):
        result.baseline.append(ledger.post(scale.seconds, CONNECTIONS)["events_per_s"])
        result.measured.append(ledger.post(scale.seconds, CONNECTIONS, services=both)["events_per_s"])
        note(f"one {result.baseline[-1]:,.0f}/s; two {result.measured[-1]:,.0f}/s")
    return {"instances": result}


def spread(stack, wanted, scale, random):
    """The same clients, whose events are of one scheme or spread over many; the baseline is one. They post single
    events, or arrays. At a pace, the others' 99th percentile beside a scheme whose head somebody holds; the baseline is
    without it. Schemes of several groups; the baseline is a single group."""
    ledger, results = ManySchemes(stack, random.getrandbits(64)), {name: Result() for name in wanted}
    ledger.tidy()
    for name, connections, lines in SPREAD_CLIENTS:
        of_client = {n: results[name.format(n)] for n in SPREADS[1:] if name.format(n) in wanted}
        if of_client:
            spread_over(ledger, of_client, scale, connections=connections, lines=lines)
    if "schemes-stalled" in wanted:
        stalled(ledger, results["schemes-stalled"], scale)
    if "groups" in wanted:
        grouped(ledger, results["groups"], scale)
    return results


def spread_over(ledger, results, scale, **client):
    """`results`: {over how many schemes: Result}"""
    for schemes in (1, *results):
        ledger.spread(schemes, WARM_UP_SECONDS, **client)
    for _ in range(scale.runs):
        one = ledger.spread(1, scale.seconds, **client)["events_per_s"]
        line = f"{client['lines']} in a post: one scheme {one:,.0f}/s"
        for schemes, result in results.items():
            result.baseline.append(one)
            result.measured.append(ledger.spread(schemes, scale.seconds, **client)["events_per_s"])
            line += f"; {schemes} {result.measured[-1]:,.0f}/s ({result.measured[-1] / one:.2f})"
        note(line)


def nights(stack, wanted, scale, random):
    """The same nights of as many schemes, closed by one thread and by as many as there are unless set, while tills post
    at a pace."""
    ledger = ManySchemes(stack, random.getrandbits(64), past_days=1 + 2 * scale.closes * NIGHT_DAYS)
    ledger.trade(scale.closing)
    ledger.tidy()
    results = {"closes": Result(), "closes-posting": Result()}
    for run in range(scale.closes):
        one = ledger.night(scale.closing, (2 * run + 1) * NIGHT_DAYS, scale.seconds, closers=1)
        several = ledger.night(scale.closing, (2 * run + 2) * NIGHT_DAYS, scale.seconds)
        for name, before, now in zip(results, one, several):
            results[name].baseline.append(before)
            results[name].measured.append(now)
        calm = ledger.paced(scale.closing, scale.seconds)
        note(
            f"{NIGHT_DAYS} days of {scale.closing} schemes: one thread {one[0]:.2f} s, p99 {one[1]:.3f} ms; several"
            f" {several[0]:.2f} s, p99 {several[1]:.3f} ms; p99 without a night {calm:.3f} ms"
        )
    return {name: results[name] for name in wanted}


def stalled(ledger, result, scale):
    for _ in range(scale.runs):
        result.baseline.append(ledger.paced(SPREADS[-1], scale.seconds))
        with ledger.stalled():
            result.measured.append(ledger.paced(SPREADS[-1], scale.seconds))
        note(f"p99 {result.baseline[-1]:.3f} ms; beside a stalled scheme {result.measured[-1]:.3f} ms")


def grouped(ledger, result, scale):
    def spread_in(groups):
        ledger.group(groups)
        ledger.spread(GROUPED_SCHEMES, WARM_UP_SECONDS, connections=CONNECTIONS)
        return ledger.spread(GROUPED_SCHEMES, scale.seconds, connections=CONNECTIONS)["events_per_s"]

    for _ in range(scale.runs):
        result.baseline.append(spread_in(1))
        result.measured.append(spread_in(SCHEME_GROUPS))
        note(f"one group {result.baseline[-1]:,.0f}/s; {SCHEME_GROUPS} groups {result.measured[-1]:,.0f}/s")
    ledger.group(1)


def known_cups(stack, wanted, scale, random):
    """Two ledgers, the second of which knows a hundred times as many cups. Single events that name cups; then the time
    that the follower needs for an entry that does, and the pages that such an event costs in all."""
    few, many = ledgers = [KnownCups(stack, random.getrandbits(64), known, scale.known[0]) for known in scale.known]
    for ledger in ledgers:
        note(f"{ledger.known:,} cups known, in {ledger.supply():.1f} s")
        ledger.tidy()
        ledger.trade(WARM_UP_SECONDS, CONNECTIONS)
        wait_until(ledger.has_followed, "all is followed")
    results = {name: Result() for name in ("cups", "cups-follower", "cups-pages")}
    for _ in range(scale.runs):
        for ledger, side in ((few, "baseline"), (many, "measured")):
            for name, value in zip(results, named_events(ledger, scale)):
                getattr(results[name], side).append(value)
        rate, follower, pages = (f"{r.baseline[-1]:,.1f} and {r.measured[-1]:,.1f}" for r in results.values())
        note(f"{rate} events/s; follower {follower} µs an entry; {pages} pages an event")
    return {name: results[name] for name in wanted}


def named_events(ledger, scale):
    rate = ledger.trade(scale.seconds, CONNECTIONS)
    wait_until(ledger.has_followed, "all is followed")
    pages = ledger.pages()
    ledger.fill_named(scale.named)
    return rate, ledger.follow(), (ledger.pages() - pages) / scale.named


GROUPS = [
    (("single", "array", "ndjson"), throughput),
    (("limit",), limit),
    (tuple(AGAINST_CLIENTS), against),
    (("paced",), paced),
    (("stored", *REPORTS), large),
    (("memory", "memory-bulk"), memory),
    (("report-stream", "report-memory"), listing),
    (("cups", "cups-follower", "cups-pages"), known_cups),
    (("bytes",), size),
    (("close",), close),
    (("years-read", *years.POSTS, "years-close"), of_years),
    (("closes", "closes-posting"), nights),
    (("load-sites", "load-schemes", "load-bare", "load-posting"), loading),
    (("start-page", "list"), large_lists),
    (("plan", "plan-gap"), moves),
    (("week-close", "week-posting", "week-memory", "week-bytes"), week),
    (("instances",), instances),
    ((*(name.format(n) for name, *_ in SPREAD_CLIENTS for n in SPREADS[1:]), "schemes-stalled", "groups"), spread),
]
