# SPDX-License-Identifier: ISC
"""The baselines that the service is compared with: pgbench's TPC-B-like script and a durable insert of one row, on the
same server. Also the functions that run commands and statements."""
import os
import re
import statistics
import subprocess
import tempfile
from pathlib import Path

import psycopg2

HOST = os.environ["DEPOSITD_TEST_PGHOST"]
PGBENCH = os.environ["DEPOSITD_BENCH_PGBENCH"]
DATABASE = "bench_tpcb"
SCALE, CLIENTS, THREADS = 50, 16, 2


def run(*command, **more):
    """Returns the output. The command never outlives the call."""
    process = subprocess.Popen(
        [str(word) for word in command],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        **more,
    )
    try:
        output = process.communicate()[0]
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
    assert process.returncode == 0, f"{command[0]}: exit status {process.returncode}\n{output[-3000:]}"
    return output


def sql(statement, database="postgres"):
    """Runs a statement outside of a transaction. Returns its rows, if it has any."""
    connection = psycopg2.connect(host=HOST, user="postgres", dbname=database)
    connection.autocommit = True
    try:
        with connection.cursor() as cursor:
            cursor.execute(statement)
            return cursor.fetchall() if cursor.description else []
    finally:
        connection.close()


def pgbench(*options):
    environment = {
        **{k: v for k, v in os.environ.items() if not k.startswith("PG")},
        "PGHOST": HOST,
        "PGUSER": "postgres",
    }
    return run(PGBENCH, *options, DATABASE, env=environment)


def remove_leftovers():
    """Removes the ledgers of an interrupted run from the folder of its data."""
    for (name,) in sql("SELECT datname FROM pg_database WHERE datname LIKE 'depositd_%'"):
        sql(f"DROP DATABASE {name}")


def prepare():
    """Makes the tables, once per cluster. one_row comes last, so its existence shows that all tables are there."""
    if sql(f"SELECT 1 FROM pg_database WHERE datname = '{DATABASE}'"):
        if sql("SELECT 1 FROM pg_class WHERE relname = 'one_row'", DATABASE):
            return
        sql(f"DROP DATABASE {DATABASE}")
    sql(f"CREATE DATABASE {DATABASE}")
    pgbench("--initialize", "--quiet", "--scale", SCALE)
    sql("CREATE TABLE one_row (id bigserial PRIMARY KEY, payload text NOT NULL)", DATABASE)
    sql("CHECKPOINT")


def timed(seconds, seed, *options):
    """Runs transactions of prepared statements for so long, and returns pgbench's summary."""
    return pgbench("--protocol", "prepared", "--no-vacuum", "--time", seconds, "--random-seed", seed, *options)


def tpcb_tps(seconds, seed):
    output = timed(seconds, seed, "--client", CLIENTS, "--jobs", THREADS)
    return float(re.search(r"^tps = ([0-9.]+)", output, re.MULTILINE)[1])


def insert_times_us(seconds, seed, *options):
    """The sorted latencies of clients that insert a row per transaction, not counting the lag behind the schedule."""
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder, "insert.sql")
        script.write_text("\\set n random(1, 1000000000)\nINSERT INTO one_row (payload) VALUES (md5(:n::text));\n")
        timed(seconds, seed, "--file", script, "--log", "--log-prefix", Path(folder, "log"), *options)
        lines = [line.split() for log in Path(folder).glob("log*") for line in log.read_text().splitlines()]
    return sorted(int(time) - sum(map(int, lag)) for _, _, time, _, _, _, *lag in lines)


def durable_insert_ms(seconds, seed):
    """The median latency of a single client."""
    return statistics.median(insert_times_us(seconds, seed, "--client", 1)) / 1000


def paced_insert_p99_ms(seconds, seed, per_second):
    """The 99th percentile when many clients together offer so many inserts: the time that PostgreSQL alone needs for
    that."""
    times = insert_times_us(seconds, seed, "--client", CLIENTS, "--rate", per_second)
    return times[len(times) * 99 // 100] / 1000
