# SPDX-License-Identifier: ISC
"""Reports of any size are sent while they are made, in constant memory, even if clients are slow or go away. If a
report cannot be finished, its client is told in good time. The journal, with a row for each leg, stands for all
reports.

If a test needs a report that is being made, the test's own database holds it there: amount_text, which each row calls,
waits at the row of one amount until the test lets it go on."""
import csv
import http.client
import io
import os
import re
import signal
import socket
import struct
from contextlib import closing, contextmanager, suppress
from datetime import date, timedelta
from pathlib import Path

import psycopg2
import pytest

import network
from contract import parse
from harness import PATIENCE_SECONDS, at_once, new_service, wait_until

DAY = date.today() - timedelta(days=2)
TARGET = f"/v1/reports/journal?scheme=tern-bay&from={DAY}&to={DAY}"
# amounts, in cents: the report waits at the row of one; the row of the other is too long
GATE, TOO_LONG = 99_999, 88_888
LOCK = 4711
MANY = 12_000  # entries, of 4 legs: some 6 MB of JSON, more than sockets hold


def load(service):
    service.admin.load(
        network.reference([network.scheme("tern-bay", DAY, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")})
    )
    return service


def new_ledger(database, **settings):
    return load(new_service(database, **settings))


@pytest.fixture
def ledger(service):
    return load(service)


def amount_of(entry):
    return 250 + entry % 1000


def fill(service, count, first=1, special=None):
    """Adds entries with an issue each directly to the database, because so many take too long over HTTP. `special`
    {entry: amount}."""
    special, last = special or {}, first + count - 1
    assert (
        service.database.rows(
            """
        SET session_replication_role = replica;
        WITH new AS (
            SELECT n, coalesce(special.amount, 250 + n %% 1000) AS amount, scheme.id AS scheme, site.id AS site,
                cup_type.id AS cup_type
              FROM generate_series(%s, %s) AS n
              LEFT JOIN unnest(%s::bigint[], %s::bigint[]) AS special(entry, amount) ON special.entry = n, scheme, site,
                  cup_type
             WHERE scheme.code = 'tern-bay' AND site.code = 'anchor' AND cup_type.code = 'cup-300'),
        added AS (
            INSERT INTO entry
            SELECT scheme, n, %s, 1, false, site, NULL, now(), now(), sha256(n::text::bytea),
                   format('{"event_id":"00000000-0000-4000-8000-%%s"}', lpad(n::text, 12, '0')),
                   ARRAY[account_of(33, site, cup_type), account_of(36, 0, cup_type), account_of(4, site, 0),
                       account_of(1, 0, cup_type)],
                   ARRAY[-1, 1, amount, -amount]
              FROM new RETURNING scheme, entry, business_date, accounts, amounts),
        moved AS (
            INSERT INTO balance AS b (scheme, account, business_date, movement)
            SELECT scheme, account, business_date, sum(amount) FROM added, unnest(accounts, amounts) AS l(account,
                amount) GROUP BY 1, 2, 3
                ON CONFLICT (scheme, account, business_date) DO UPDATE SET movement = b.movement + excluded.movement),
        days AS (
            UPDATE business_day d SET entries = entries + n, first_entry = least(first_entry, first),
                last_entry = greatest(last_entry, last)
              FROM (SELECT scheme, business_date, count(*) AS n, min(entry) AS first, max(entry) AS last FROM added
                  GROUP BY 1, 2) a
             WHERE (d.scheme, d.business_date) = (a.scheme, a.business_date))
        SELECT count(*) FROM added""",
            first,
            last,
            list(special),
            list(special.values()),
            DAY,
        )
        == [(count,)]
    )
    analyze = psycopg2.connect(service.database.owner_dsn)
    analyze.autocommit = True
    analyze.cursor().execute("ANALYZE entry")
    analyze.close()


def legs(count):
    """The lines of the journal for the first entries: entry, account, debit, credit."""
    for n in range(1, count + 1):
        amount = f"{amount_of(n) // 100}.{amount_of(n) % 100:02}"
        yield from (
            (str(n), "site_stock(anchor,cup-300)", "", "1"),
            (str(n), "with_customers(cup-300)", "1", ""),
            (str(n), "site_clearing(anchor)", amount, ""),
            (str(n), "customer_deposits(cup-300)", "", amount),
        )


def figures(rows):
    return [(str(r["entry"]), r["account"], str(r["debit"] or ""), str(r["credit"] or "")) for r in rows]


class Report:
    """A request for the journal on its own connection. `room`: unread bytes that the client's side of it accepts."""

    def __init__(self, service, format="json", method="GET", version=11, room=None):
        self.connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=PATIENCE_SECONDS)
        self.connection._http_vsn, self.connection._http_vsn_str = version, f"HTTP/{version // 10}.{version % 10}"
        self.connection.sock = socket.socket()
        if room:
            self.connection.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, room)
        self.connection.sock.connect(("127.0.0.1", service.port))
        self.connection.request(
            method, f"{TARGET}&format={format}", headers={"Authorization": f"Bearer {service.admin_key}"}
        )

    def begin(self):
        self.response = self.connection.getresponse()
        return self

    def read(self, *size):
        return self.response.read(*size)

    def read_to_break(self):
        """The bytes before the answer broke off. It must show that it did."""
        with pytest.raises((http.client.IncompleteRead, ConnectionError)) as broken:
            self.read()
        return getattr(broken.value, "partial", b"")

    def hang_up(self, abruptly=False):
        if abruptly:
            self.connection.sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        if hasattr(self, "response"):
            self.response.close()
        self.connection.close()


@contextmanager
def gate(service):
    """Reports wait at the row of GATE's amount; let_pass() lets all of them go on."""
    connection = psycopg2.connect(service.database.owner_dsn)
    connection.autocommit = True
    with closing(connection), connection.cursor() as cursor:
        cursor.execute(
            f"""
            CREATE OR REPLACE FUNCTION amount_text(minor numeric, decimals integer) RETURNS text
                LANGUAGE plpgsql IMMUTABLE STRICT AS $$
            BEGIN
                IF minor = {GATE} THEN
                    PERFORM set_config('lock_timeout', '0', true);  -- the service's own would end the wait
                    PERFORM pg_advisory_lock_shared({LOCK}), pg_advisory_unlock_shared({LOCK});
                END IF;
                RETURN CASE WHEN minor = {TOO_LONG} THEN repeat('9', 2000000)
                            ELSE round(minor / power(10::numeric, decimals), decimals)::text END;
            END $$;
            SELECT pg_advisory_lock({LOCK})"""
        )
        yield lambda: cursor.execute(f"SELECT pg_advisory_unlock({LOCK})")


def at_gate(service):
    """The backends whose reports wait there."""
    return [
        pid
        for pid, in service.database.rows(
            "SELECT pid FROM pg_locks WHERE locktype = 'advisory' AND NOT granted AND database = "
            "(SELECT oid FROM pg_database WHERE datname = current_database())"
        )
    ]


def making(service):
    """The number of journal statements under way, known by their beginning, because the clock runs other statements."""
    return service.database.rows(
        "SELECT count(*) FROM pg_stat_activity WHERE usename = 'depositd_service' "
        "AND datname = current_database() AND state = 'active' AND query LIKE '%%WITH known AS"
        " MATERIALIZED%%'"
    )[0][0]


def kept(service):
    """The number of files without a name that the process has open, which are the answers that it keeps."""
    folder = f"/proc/{service.process.pid}/fd"
    count = 0
    for name in os.listdir(folder):
        with suppress(FileNotFoundError):  # closed since it was listed
            count += os.readlink(f"{folder}/{name}").endswith("(deleted)")
    return count


def peak_memory(service):
    """The highest resident memory of the process so far, in bytes."""
    status = Path(f"/proc/{service.process.pid}/status").read_text()
    return int(re.search(r"^VmHWM:\s+(\d+) kB", status, re.MULTILINE)[1]) * 1024


# Whole answers --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("count", [0, 1, 5000])
def test_every_row_comes_once_and_in_order(ledger, count):
    if count:
        fill(ledger, count)
    told = Report(ledger, "json").begin()
    report = parse(told.read())
    assert figures(report["items"]) == list(legs(count))
    assert (told.response.headers["Transfer-Encoding"] == "chunked") == (count == 5000)
    assert (told.response.headers["Content-Length"] is None) == (count == 5000)
    assert told.response.headers["X-Request-Id"] and told.response.headers["Cache-Control"] == "no-store"
    table = Report(ledger, "csv").begin()
    assert figures(csv.DictReader(io.StringIO(table.read().decode(), newline=""))) == list(legs(count))
    ledger.admin.get("/v1/me")


@pytest.mark.parametrize("count", [1, MANY])
def test_the_answer_to_head_has_no_body(ledger, count):
    """RFC 9112 section 6.3: the answer ends with the empty line after its head, whatever length the head gives."""
    fill(ledger, count)
    told = Report(ledger).begin()
    length = len(told.read())
    with socket.create_connection(("127.0.0.1", ledger.port)) as connection:
        request = f"HEAD {TARGET} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {ledger.admin_key}\r\n"
        connection.sendall(f"{request}\r\n{request}Connection: close\r\n\r\n".encode())
        answer = connection.makefile("rb").read()
    *heads, rest = answer.split(b"\r\n\r\n")
    assert rest == b"" and len(heads) == (2 if count == 1 else 1)  # a long answer is the last on its connection
    for head in heads:
        assert head.startswith(b"HTTP/1.1 200 ") and (f"Content-Length: {length}".encode() in head) == (count == 1)
        assert told.response.headers["Content-Type"].encode() in head
    wait_until(lambda: making(ledger) == 0 and kept(ledger) == 0)


def test_a_client_that_takes_no_chunks(ledger):
    """HTTP/1.0: the length must come first, or the client could not tell a whole answer from a broken one."""
    fill(ledger, 5000, special={4000: GATE})
    with gate(ledger) as let_pass:
        report = Report(ledger, version=10)
        wait_until(lambda: at_gate(ledger))
        ledger.database.rows("SELECT pg_terminate_backend(%s)", at_gate(ledger)[0])
        assert (report.begin().response.status, parse(report.read())["reason"]) == (503, "overloaded")
        let_pass()
        report = Report(ledger, version=10).begin()
        body = report.read()
        assert (report.response.status, int(report.response.headers["Content-Length"])) == (200, len(body))
        assert len(parse(body)["items"]) == 4 * 5000


# While it is made -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("format", ["json", "csv"])  # a page ends after some rows
def test_the_beginning_is_sent_while_the_rest_is_made(ledger, format):
    fill(ledger, MANY, special={MANY // 2: GATE})
    with gate(ledger) as let_pass:
        report = Report(ledger, format).begin()
        wait_until(lambda: at_gate(ledger))
        beginning = report.read(1_000_000)
        assert beginning.count(b"\n") > 2000 and len(at_gate(ledger)) == 1, "its statement had ended already"
        let_pass()
        body = beginning + report.read()
    assert body.count(b"site_clearing(anchor)") == MANY
    assert body.endswith({"json": b"]}\n", "csv": b"\r\n"}[format])


def test_memory_does_not_grow_with_the_answer(ledger):
    """Ten times as many rows, read as they come, and read only after all of them were made."""
    if re.search(rb"__[at]san_init", Path(ledger.binary).read_bytes()):
        pytest.skip("sanitizers keep freed memory back")

    def most(unread):
        report = Report(ledger, room=4096 if unread else None).begin()
        if unread:
            report.read(1)
            wait_until(lambda: making(ledger) == 0)
        length = 1 if unread else 0
        while piece := report.read(1 << 16):
            length += len(piece)
        return length, peak_memory(ledger)

    fill(ledger, 5_000)
    most(False)
    small, of_small = most(True)
    fill(ledger, 45_000, first=5_001)
    for unread in (False, True):
        large, of_large = most(unread)
        assert large > 9 * small > 10_000_000
        assert of_large - of_small < 2 << 20, f"{of_small} bytes for {small}, {of_large} for {large}"


def test_a_slow_client_holds_nobody_up(database):
    """While the client has read only little, the only worker and its database connection are free again."""
    service = new_ledger(database, read_workers=1)
    fill(service, MANY)
    report = Report(service, room=4096).begin()
    beginning = report.read(1)
    wait_until(lambda: making(service) == 0)
    for _ in range(20):
        assert service.admin.get("/v1/reports/stock", scheme="tern-bay")["report"] == "stock"
        beginning += report.read(1)
    wait_until(
        lambda: database.rows(  # the clock's own statements are short
            "SELECT count(*) FROM pg_stat_activity WHERE usename = 'depositd_service' AND backend_xmin IS NOT NULL "
            "AND datname = current_database()"
        )
        == [(0,)],
        "nobody holds a snapshot",
    )
    assert figures(parse(beginning + report.read())["items"]) == list(legs(MANY))
    service.stop()


def test_as_many_as_leave_a_worker_to_others(database):
    """Three workers: two long answers at a time, then 503, while short answers are still given."""
    service = new_ledger(database, read_workers=3)
    fill(service, 5000, special={4500: GATE})  # journals are read 4096 entries at a time
    with gate(service) as let_pass:
        reports = [Report(service).begin() for _ in range(2)]
        wait_until(lambda: len(at_gate(service)) == 2)
        refused = Report(service).begin()
        assert (refused.response.status, refused.response.headers["Retry-After"]) == (503, "1")
        assert parse(refused.read())["reason"] == "overloaded"
        assert service.admin.get("/v1/reports/stock", scheme="tern-bay")["report"] == "stock"
        let_pass()
        assert [len(parse(report.read())["items"]) for report in reports] == [20_000] * 2
    wait_until(lambda: making(service) == 0)
    assert len(parse(Report(service).begin().read())["items"]) == 20_000
    service.stop()


def test_as_many_as_have_room_on_the_disk(database):
    """Each slow client may have spool_megabytes there, and the number of such answers is limited."""
    service = new_ledger(database, max_streams=1)
    fill(service, MANY)
    slow = Report(service, room=4096).begin()
    slow.read(1)
    wait_until(lambda: making(service) == 0)
    assert Report(service).begin().response.status == 503
    slow.hang_up(abruptly=True)
    wait_until(lambda: kept(service) == 0)
    assert Report(service).begin().response.status == 200
    service.stop()


def test_many_at_once(database):
    service = new_ledger(database, read_workers=9)
    fill(service, 5000)
    bodies = at_once(*(lambda: Report(service).begin().read() for _ in range(8)))
    assert len(set(bodies)) == 1 and figures(parse(bodies[0])["items"]) == list(legs(5000))
    service.stop()


# When the end will not come -------------------------------------------------------------------------------------------
def assert_cut_off(service, report, why):
    body = report.read_to_break()
    assert not body.endswith(b"]}\n")
    wait_until(lambda: "a long answer was cut off" in service.log_text())
    line = next(line for line in service.log_text().splitlines() if "a long answer was cut off" in line)
    assert why in line and report.response.headers["X-Request-Id"] in line, line
    return body


def test_a_client_that_goes_away(ledger):
    """If the client has gone, the statement is ended and nothing is left of it."""
    fill(ledger, 2 * MANY, special={MANY: GATE})
    with gate(ledger):
        reports = [Report(ledger, room=4096).begin() for _ in range(2)]
        for report in reports:
            assert report.read(10)
        wait_until(lambda: len(at_gate(ledger)) == 2)
        assert kept(ledger) == 2
        for report in reports:
            report.hang_up(abruptly=True)
        wait_until(lambda: making(ledger) == 0)  # the gate still holds them
        wait_until(lambda: kept(ledger) == 0)
    assert "the client has gone" in ledger.log_text()
    assert figures(parse(Report(ledger).begin().read())["items"])[:4000] == list(legs(1000))


def test_a_client_that_goes_away_while_it_waits(ledger):
    """The client has read all there is, and its connection is suspended. The service notices with the next piece that
    it has gone."""
    fill(ledger, 2 * MANY, special={MANY: GATE})
    with gate(ledger) as let_pass:
        report = Report(ledger).begin()
        wait_until(lambda: at_gate(ledger))
        whole = report.read(5_000_000)
        report.connection.sock.settimeout(5)
        with pytest.raises(TimeoutError):
            while piece := report.response.read1():
                whole += piece
        report.hang_up()
        assert (kept(ledger), making(ledger)) == (1, 1)
        let_pass()
        wait_until(lambda: making(ledger) == 0 and kept(ledger) == 0)
    assert whole.count(b"site_clearing") < MANY


def test_the_database_goes_midway(ledger):
    fill(ledger, MANY, special={MANY // 2: GATE})
    with gate(ledger):
        report = Report(ledger).begin()
        wait_until(lambda: at_gate(ledger))
        ledger.database.rows("SELECT pg_terminate_backend(%s)", at_gate(ledger)[0])
        body = assert_cut_off(ledger, report, "overloaded")
    assert body.count(b"site_clearing") > MANY // 4
    assert len(parse(Report(ledger).begin().read())["items"]) == 4 * MANY


def test_a_row_that_is_too_long(ledger):
    fill(ledger, MANY, special={MANY // 2: TOO_LONG})
    with gate(ledger):
        body = assert_cut_off(ledger, Report(ledger).begin(), "internal")
    assert body.count(b"site_clearing") > MANY // 4


def test_a_client_that_falls_too_far_behind(database):
    service = new_ledger(database, spool_megabytes=1)
    fill(service, 2 * MANY)
    report = Report(service, room=4096).begin()
    wait_until(lambda: "cut off" in service.log_text())
    assert_cut_off(service, report, "spool_megabytes")
    wait_until(lambda: making(service) == 0)
    service.stop()


def test_no_room_to_keep_it(database):
    service = new_ledger(database, spool_folder="/nowhere/at/all")
    fill(service, 5000)
    report = Report(service).begin()
    assert (report.response.status, parse(report.read())["reason"]) == (503, "overloaded")
    service.stop()


def test_stopped_midway(ledger):
    """SIGTERM cuts the answer off within the time that stop allows, although its statement would never end."""
    fill(ledger, 2 * MANY, special={MANY: GATE})
    with gate(ledger):
        waiting, unread = Report(ledger).begin(), Report(ledger, room=4096).begin()
        assert len(waiting.read(1_000_000)) == 1_000_000
        wait_until(lambda: len(at_gate(ledger)) == 2)
        ledger.process.send_signal(signal.SIGTERM)
        waiting.read_to_break()
        ledger.stop()
        wait_until(lambda: making(ledger) == 0)
        unread.read_to_break()


def test_stopped_just_before_its_end(ledger):
    """A report that is nearly made, and a client that reads, get their time. Little is left to make and read when the
    stop begins, so this does not depend on the machine's speed."""
    fill(ledger, MANY, special={MANY - 100: GATE})
    with gate(ledger) as let_pass:
        report = Report(ledger).begin()
        wait_until(lambda: at_gate(ledger))
        beginning = report.read(5_000_000)
        ledger.process.send_signal(signal.SIGTERM)
        wait_until(lambda: "msg=stopping" in ledger.log_text())
        let_pass()
        assert len(parse(beginning + report.read())["items"]) == 4 * MANY
    ledger.stop()
