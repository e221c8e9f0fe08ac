# SPDX-License-Identifier: ISC
"""The table of figures, with bar and aim of each, and the report of a run. tests/bench/run starts it."""
import argparse
import random
import signal
import statistics
import sys
import time
from pathlib import Path
from types import SimpleNamespace

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "http"))
sys.dont_write_bytecode = True

import baseline  # noqa: E402  (needs the path above)
import figures  # noqa: E402

# Name, description, units of measurement and baseline, descriptions of bar and aim. If there is a baseline, both are of
# the ratio.
AT_LEAST, AT_MOST = "at least", "at most"
FIGURES = [
    ("single", "single events, 128 connections, over TPC-B", "/s", AT_LEAST, 4, 12),
    ("array", "posts of 500, over TPC-B", "/s", AT_LEAST, 8, 25),
    ("ndjson", "NDJSON stream, over TPC-B", "/s", AT_LEAST, 8, 25),
    ("limit", "posts of 500, over a bare insert of their rows", "/s", AT_LEAST, 0.7, 0.9),
    ("against-single", "single events, over another binary's", "/s", AT_LEAST, 0.95, 1),
    ("against-array", "posts of 500, over another binary's", "/s", AT_LEAST, 0.95, 1),
    ("paced", "p99 at 1,000/s, over a durable insert", "ms", AT_MOST, 16, 4),
    ("stored", "single events on a large ledger, over an empty one", "/s", AT_LEAST, 0.8, 0.95),
    ("memory", "peak resident memory, 256 connections", "MB", AT_MOST, 48, 24),
    ("memory-bulk", "peak resident memory, NDJSON stream", "MB", AT_MOST, 96, 48),
    ("cups", "single events that name cups, 1M known, over 10k", "/s", AT_LEAST, 0.9, 1),
    ("cups-follower", "follower's time for each", "µs", AT_MOST, 1.25, 1.1),
    ("cups-pages", "database pages for each, posted and followed", "", AT_MOST, 1.25, 1.1),
    ("bytes", "database bytes per issue of one cup type", "B", AT_MOST, 900, 500),
    ("close", "close of a day with ten times the events", "s", AT_MOST, 1.5, 1.1),
    ("trial-balance", "trial balance, large ledger over small one", "ms", AT_MOST, 1.5, 1.1),
    ("deposit-cover", "deposit cover, large ledger over small one", "ms", AT_MOST, 1.5, 1.1),
    ("site-statement", "site statement, large ledger over small one", "ms", AT_MOST, 1.5, 1.1),
    ("report-stream", "journal of a large ledger until its first byte", "ms", AT_MOST, 1000, 100),
    ("report-memory", "peak memory, journal, large ledger over small one", "MB", AT_MOST, 1.1, 1.02),
    ("years-single", "single events after ten years, over one month", "/s", AT_LEAST, 0.95, 1),
    ("years-array", "posts of 500 after ten years, over one month", "/s", AT_LEAST, 0.95, 1),
    ("years-close", "a close after ten years, over one month", "s", AT_MOST, 1.25, 1.05),
    ("years-read", "the read that has grown most after ten years", "ms", AT_MOST, 2, 1.1),
    ("start-page", "start page of a large network", "ms", AT_MOST, 200, 50),
    ("list", "its slowest list", "ms", AT_MOST, 100, 25),
    ("load-sites", "load of 3,000 sites", "s", AT_MOST, 2, 1),
    ("load-schemes", "load of 700 schemes", "s", AT_MOST, 10, 5),
    ("load-bare", "load of the sites, over a bare copy of their rows", "s", AT_MOST, 8, 3),
    ("load-posting", "p99 at 1,000/s beside such loads, over without", "ms", AT_MOST, 2, 1.5),
    ("plan", "plan of moves for 2,000 sites and 4 cup types", "s", AT_MOST, 10, 3),
    ("plan-gap", "its cost above the bound", "%", AT_MOST, 10, 5),
    ("week-close", "p99 of a close, in a week around the world", "ms", AT_MOST, 1000, 250),
    ("week-posting", "p99 of a single event, in that week", "ms", AT_MOST, 250, 100),
    ("week-memory", "peak resident memory, in that week", "MB", AT_MOST, 96, 64),
    ("week-bytes", "its database, over its events", "B", AT_MOST, 1500, 1000),
    ("instances", "2 instances over 1", "/s", AT_LEAST, 0.9, 1.2),
    ("schemes-10", "single events of 10 schemes, over those of one", "/s", AT_LEAST, 0.95, 1),
    ("schemes-70", "single events of 70 schemes", "/s", AT_LEAST, 0.9, 1),
    ("schemes-300", "single events of 300 schemes", "/s", AT_LEAST, 0.8, 0.95),
    ("schemes-700", "single events of 700 schemes", "/s", AT_LEAST, 0.6, 0.9),
    ("schemes-10-array", "posts of 500 events of 10 schemes, over one scheme", "/s", AT_LEAST, 0.95, 1),
    ("schemes-70-array", "posts of 500 events of 70 schemes", "/s", AT_LEAST, 0.9, 1),
    ("schemes-300-array", "posts of 500 events of 300 schemes", "/s", AT_LEAST, 0.8, 0.95),
    ("schemes-700-array", "posts of 500 events of 700 schemes", "/s", AT_LEAST, 0.6, 0.9),
    ("closes", "nights of many schemes, over one closing thread", "s", AT_MOST, 0.56, 0.5),
    ("closes-posting", "p99 meanwhile, over that beside one thread", "ms", AT_MOST, 1.5, 1.1),
    ("schemes-stalled", "p99 beside a stalled scheme, over none stalled", "ms", AT_MOST, 1.5, 1.1),
    ("groups", "70 schemes in 4 groups, over the same in one", "/s", AT_LEAST, 0.95, 1),
]
NAMES = [row[0] for row in FIGURES]

FULL = SimpleNamespace(
    runs=5,
    seconds=15,
    baseline_warm_up=30,
    stream=100_000,
    stored=10_000_000,
    past_days=9,
    small=100_000,
    listed=(100_000, 1_000_000),
    old_days=(30, 3650),
    old_events=100,
    old_sites=200,
    close_sites=10_000,
    close_events=(100_000, 1_000_000),
    closes=5,
    known=(10_000, 1_000_000),
    named=20_000,
    closing=700,
    loads=5,
    report_calls=15,
    network="full",
    list_calls=15,
    week_sites=10_000,
    week_events=10,
    week_tick=0.25,
)
QUICK = SimpleNamespace(
    runs=5,
    seconds=2,
    baseline_warm_up=2,
    stream=30_000,
    stored=200_000,
    past_days=1,
    small=20_000,
    listed=(10_000, 100_000),
    old_days=(30, 3650),
    old_events=40,
    old_sites=30,
    close_sites=1_000,
    close_events=(10_000, 100_000),
    closes=2,
    known=(5_000, 100_000),
    named=8_000,
    closing=70,
    loads=3,
    report_calls=7,
    network="quick",
    list_calls=7,
    week_sites=1_000,
    week_events=4,
    week_tick=0.04,
)


def arguments():
    parser = argparse.ArgumentParser(
        prog="tests/bench/run", description="Measures the service against PostgreSQL itself."
    )
    parser.add_argument(
        "--quick", action="store_true", help="smaller fills, fewer and shorter runs: under three minutes"
    )
    parser.add_argument("--only", metavar="NAME[,NAME]", help="these figures; a name's first words stand for several")
    parser.add_argument("--list", action="store_true", help="print the names of the figures")
    parser.add_argument("--keep", action="store_true", help="keep pgbench's tables for the next run")
    parser.add_argument(
        "--against", metavar="BINARY", help="an earlier depositd, for the figures against-*, which need it"
    )
    parser.add_argument("--seed", type=int, default=random.SystemRandom().getrandbits(31), help="of all that is random")
    chosen = parser.parse_args()
    chosen.names = [name for asked in chosen.only.split(",") for name in named(asked)] if chosen.only else NAMES
    if not chosen.against and not chosen.only:
        chosen.names = [name for name in NAMES if name not in figures.AGAINST_CLIENTS]
    if unknown := [asked for asked in (chosen.only or "").split(",") if asked and not named(asked)]:
        parser.error(f"no figure is named {', '.join(sorted(unknown))}; --list lists them")
    if not chosen.against and any(name in figures.AGAINST_CLIENTS for name in chosen.names):
        parser.error("against-* compares with another binary: name it by --against")
    chosen.scale = QUICK if chosen.quick else FULL
    chosen.scale.against = chosen.against and str(Path(chosen.against).resolve())
    return chosen


def named(asked):
    return [asked] if asked in NAMES else [name for name in NAMES if name.startswith(f"{asked}-")]


def main():
    chosen = arguments()
    if chosen.list:
        print("\n".join(f"{name:<18}{what}" for name, what, *_ in FIGURES))
        return
    started = time.monotonic()
    print(
        f"Seed {chosen.seed};"
        f" {'quick: smaller and shorter than the figures are defined' if chosen.quick else 'full'}"
    )
    baseline.remove_leftovers()
    results = figures.measure(chosen.names, chosen.scale, random.Random(chosen.seed))
    print_table(results)
    print(f"{time.monotonic() - started:.0f} s")


def print_table(results):
    layout = "{:<18}{:<52}{:>12}{:>12}{:>8}{:>14}{:>7}  {}"
    print("\n" + layout.format("figure", "", "measured", "baseline", "ratio", "bar", "aim", "met"))
    for name, what, unit, sense, bar, aim in FIGURES:
        if name not in results:
            continue
        row = ["-", "-", "-"]
        met = "not there yet"
        if result := results[name]:
            figure = measured = statistics.median(result.measured)
            row = [amount(measured, unit), "", ""]
            if result.baseline:
                figure = statistics.median(m / b for m, b in zip(result.measured, result.baseline, strict=True))
                row[1:] = amount(statistics.median(result.baseline), unit), f"{figure:.2f}"
            met = verdict(figure, sense, bar, aim)
        print(layout.format(name, what, *row, f"{sense} {bar}", aim, met))


def amount(value, unit):
    return f"{value:,.0f} {unit}" if value >= 100 else f"{value:.3g} {unit}"


def verdict(figure, sense, bar, aim):
    def met(limit):
        return figure >= limit if sense == AT_LEAST else figure <= limit

    return "bar and aim" if met(aim) else "bar" if met(bar) else "NEITHER"


signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
try:
    main()
except KeyboardInterrupt:
    sys.exit(130)
