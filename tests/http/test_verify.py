# SPDX-License-Identifier: ISC
"""depositd verify against a superuser. In a month of closed days, each column of each ledger table is changed in turn,
by one byte or digit of one row, past all triggers; and rows are removed and made up. Verify must find each change, and
name the row or its day. The accounting contract demands that ("every tampered byte in a month's rows"); there is no
published source.
"""
import os
import random
import re
import subprocess
from datetime import timedelta

import psycopg2
import pytest

import network
from harness import wait_until
from model import DAY
from network import WORKED_DAY, at, cups, event

SEED = int(os.environ.get("DEPOSITD_MODEL_SEED", "0")) or random.SystemRandom().randrange(1, 10**9)
FIRST, DAYS = WORKED_DAY - timedelta(days=30), 30
CHANGE = FIRST + timedelta(days=12)  # cup-300 has another value from here on
TABLES = {  # ledger table -> columns of its primary key
    "entry": ("scheme", "entry", "business_date"),
    "business_day": ("scheme", "business_date"),
    "day_cut": ("scheme", "business_date"),
    "settlement": ("scheme", "business_date"),
    "position": ("scheme", "business_date", "participant"),
    "payment": ("scheme", "payment_id"),
    "event_id": ("scheme", "event_id"),
    "exception": ("scheme", "entry", "position"),
    "entry_reference": ("scheme", "entry"),
    "transfer": ("scheme", "dispatch", "cup_type", "damaged"),
    "balance": ("scheme", "account", "business_date"),
    "site_day": ("scheme", "business_date", "site"),
    "reversed_day": ("scheme", "business_date", "site", "original_date"),
    "fee_line": ("scheme", "business_date", "site", "fee", "terms_date", "fee_row", "tax_rate_ppm"),
    "fee_note": ("scheme", "number"),
    "fee_note_line": ("scheme", "number", "position"),
    "particulars": ("scheme", "business_date"),
}
# A payment's later changes are no figures of the close; rows of their own record them.
UNSEALED = {("payment", "status"), ("payment", "released")}


# Columns that take only some words.
WORDS = {
    ("business_day", "state"): "closing",
    ("payment", "held"): "bank_account_changed",
    ("fee_line", "fee"): "standing",
    ("fee_note_line", "fee"): "standing",
}

# Columns that are null in the whole month, and a value that is made up there: no cups were sent to another scheme.
EMPTY = {("transfer", "home"): "32000"}


def events_of(day, rng, memory):
    """A day's trade, now and then with an event of each rarer kind."""
    n = (day - FIRST).days

    def post(kind, site, clock, **members):
        return event(kind, site, at(day, clock), **members)

    yield post(
        "issue",
        "anchor",
        "09:00",
        issued=cups(cup_300=rng.randint(2, 9), cup_450=1),
        reference=f"till {n}/1",
        tender="card",
    )
    yield post("return", "brick", "10:00", returned=cups(("cup-300", 1), cup_300=rng.randint(1, 4)))
    yield post("issue", "copper", "11:00", issued=cups(cup_300=1))
    if n % 3 == 0:
        memory["sent"] = post(
            "dispatch", "brick", "12:00", cups=cups(*[("cup-300", 1)] * (n % 2), cup_300=5), to="dock"
        )
        yield memory["sent"]
        yield post("receipt", "dock", "13:00", cups=cups(cup_300=4), dispatch=memory["sent"]["event_id"])
    if n % 3 == 1:
        yield post(
            "transit_loss", "brick", "12:00", cups=cups(cup_300=1), dispatch=memory["sent"]["event_id"], bearer="sender"
        )
        yield post("count", "dock", "20:00", cups=[{"cup_type": "cup-300", "counted": 7}])
    if n % 5 == 2:
        wrong = post("return", "dock", "14:00", returned=cups(cup_300=3), amount="9.00")
        yield wrong
        yield post(
            "return", "brick", "14:30", returned=cups(cup_300=30), amount="100.00"
        )  # above the limit, so the payout is held
        yield post("reversal", "dock", "15:00", reverses=wrong["event_id"])
        yield event("issue", "anchor", at(day - DAY, "16:00"), issued=cups(cup_300=2))  # late
    if n % 4 == 1:
        memory["wrong"] = post("exchange", "copper", "16:30", issued=cups(cup_300=2), returned=cups(cup_300=1))
        yield memory["wrong"]
    if n % 4 == 3:
        yield post(
            "reversal", "copper", "09:00", reverses=memory["wrong"]["event_id"]
        )  # reverses an event of an earlier day
    if n % 7 == 3:
        yield event("forfeit", None, at(day, "17:00"), scheme="tern-bay", cups=cups(cup_450=1))


@pytest.fixture(scope="module")
def month(shared):
    """tern-bay has a closed month and open days; skerry, beside it, has one event. No service runs meanwhile,
    because it would keep the last day's particulars anew if they are missing."""
    rng, memory = random.Random(SEED), {}
    terms = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15", "minimum_payment": "4.00"}
    dearer = {**terms, "service_fee": "0.12", "effective_date": str(CHANGE)}
    banks = {p: {"bank_account": {"account": f"000-{p}", "bank_code": "77"}} for p in ("hearth", "miller", "quay")}
    shared.admin.load(
        network.reference(
            [
                network.scheme(
                    "tern-bay",
                    FIRST,
                    {"cup-300": "2.50", "cup-450": "3.50"},
                    terms=[terms, dearer],
                    variance_limit="2.00",
                    operator={"name": "Pool of the bay", "bank_account": {"account": "7788", "bank_code": "77"}},
                    stock_terms="on_deposit",
                    more_values=[("cup-300", CHANGE, "3.00")],
                ),
                network.scheme("skerry", FIRST, {"cup-300": "2.00"}),
            ],
            {**{s: ("tern-bay", p) for s, p in network.WORKED_SITES.items()}, "gull": ("skerry", "hearth")},
            **banks,
        )
    )
    shared.admin.post_many(
        [event("supply", s, at(FIRST, "06:00"), cups=cups(cup_300=200, cup_450=60)) for s in network.WORKED_SITES]
    )
    shared.admin.post(event("issue", "gull", at(FIRST), issued=cups(cup_300=1)))
    for n in range(DAYS):
        day = FIRST + n * DAY
        results = shared.admin.post_many(list(events_of(day, rng, memory)))
        assert {r["status"] for r in results} == {"recorded"}, results
        shared.admin.close("tern-bay", day)
    shared.admin.post(event("issue", "anchor", at(FIRST + DAYS * DAY), issued=cups(cup_300=1)))
    wait_until(
        lambda: shared.database.rows("SELECT count(*) FROM particulars") == [(DAYS,)], "the particulars are kept"
    )
    shared.stop()
    return shared


def run_verify(service, *options):
    return subprocess.run(
        [service.binary, "verify", *options], env=service.environment, capture_output=True, text=True, timeout=600
    )


def verify(service, *options):
    """The exit status, the findings (or the reason why there are none), and the number of schemes that were
    examined."""
    done = run_verify(service, *options)
    *found, last = done.stdout.splitlines() or [""]
    if done.returncode < 2:
        examined, schemes, broken = map(
            int, re.fullmatch(r"examined (\d+) things in \d+ checks of (\d+) schemes: (\d+) do not hold", last).groups()
        )
        assert (
            examined > 0 and broken >= len(found) and (done.returncode == 1) == bool(found) == bool(broken)
        ), done.stdout
        assert all(re.match(r"(tern-bay|skerry): [a-z_]+: .", line) for line in found), found
        return done.returncode, found, schemes
    assert not done.stdout and done.stderr, done
    return done.returncode, done.stderr, 0


@pytest.fixture(scope="module")
def saved(month):
    for table in TABLES:
        month.database.run(f"CREATE TABLE saved_{table} AS TABLE {table}")


@pytest.fixture
def superuser(month, saved):
    """Each test undoes its changes. If it fails before, this fixture undoes them, so that the next test begins with
    a sound month."""
    connection = psycopg2.connect(month.database.owner_dsn)
    connection.autocommit = True
    cursor = connection.cursor()
    cursor.execute("SET session_replication_role = replica; SET DateStyle = ISO; SET TimeZone = UTC")
    yield cursor
    changed_tables = [table for table in TABLES if differs_from_saved(cursor, table)]
    for table in changed_tables:
        cursor.execute(f"BEGIN; TRUNCATE {table} CASCADE; INSERT INTO {table} SELECT * FROM saved_{table}; COMMIT")
    connection.close()
    assert not changed_tables, "the test did not put back what it changed"


def differs_from_saved(cursor, table):
    cursor.execute(
        f"SELECT EXISTS (TABLE {table} EXCEPT ALL TABLE saved_{table})"
        f" OR EXISTS (TABLE saved_{table} EXCEPT ALL TABLE {table})"
    )
    return cursor.fetchone()[0]


def test_an_untouched_month_holds(month):
    assert verify(month) == (0, [], 2)
    assert verify(month, "--scheme", "tern-bay") == (0, [], 1)


def test_what_could_not_be_examined_is_neither(month):
    assert verify(month, "--scheme", "nowhere")[:2] == (2, "depositd: there is no such scheme\n")
    month.database.shut()
    try:
        assert verify(month)[0] == 2
    finally:
        month.database.open()


# --- one byte, one digit -----------------------------------------------------------------------------------------


def with_another(text, of, places, rng):
    place = rng.choice(places)
    return text[:place] + rng.choice([c for c in of if c != text[place]]) + text[place + 1 :]


def changed(kind, text, rng):
    """The text with one digit, character or bit changed. The type may have no such value."""
    if kind == "boolean":
        return {"true": "false", "false": "true"}[text]
    if kind == "bytea":
        data = bytearray.fromhex(text[2:])
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        return "\\x" + data.hex()
    if kind == "ARRAY":
        values = text.strip("{}").split(",")
        at_ = rng.randrange(len(values))
        values[at_] = str(int(values[at_]) ^ 1 << rng.randrange(62))
        return "{" + ",".join(values) + "}"
    if kind == "text":
        return with_another(text, list(map(chr, range(32, 127))), range(len(text)), rng)
    return with_another(text, "0123456789", [i for i, c in enumerate(text) if c.isdigit()], rng)


NAMING = {"entry": r"entry {}\b", "dispatch": r"entry {}\b", "business_date": "{}", "event_id": "{}"}


class Row:
    """A row that a superuser changes."""

    def __init__(self, cursor, table, rng, where="true"):
        sealed = {
            "event_id": f"entry <= {last_sealed(cursor)}",
            "entry_reference": f"entry <= {last_sealed(cursor)}",
        }.get(table, f"business_date < '{FIRST + DAYS * DAY}'")
        cursor.execute(
            f"SELECT ctid::text FROM {table} WHERE scheme = (SELECT id FROM scheme WHERE code = 'tern-bay')"
            f" AND {sealed} AND {where} ORDER BY ctid"
        )
        rows = cursor.fetchall()
        self.cursor, self.table, self.ctid = cursor, table, rng.choice(rows)[0] if rows else None

    def value(self, column):
        self.cursor.execute(f"SELECT {column}::text FROM {self.table} WHERE ctid = %s", (self.ctid,))
        return self.cursor.fetchone()[0]

    def set(self, column, text):
        """False: the database refuses the value because of its type or a constraint, or it would change nothing."""
        try:
            self.cursor.execute(
                "SELECT format_type(atttypid, atttypmod) FROM pg_attribute WHERE attrelid ="
                " %s::regclass"
                " AND attname = %s",
                (self.table, column),
            )
            (kind,) = self.cursor.fetchone()
            self.cursor.execute(
                f"UPDATE {self.table} SET {column} = %s::{kind} WHERE ctid = %s AND {column} IS"
                " DISTINCT FROM"
                f" %s::{kind} RETURNING ctid::text",
                (text, self.ctid, text),
            )
        except (psycopg2.DataError, psycopg2.IntegrityError):
            return False
        moved = self.cursor.fetchone()
        self.ctid = moved[0] if moved else self.ctid
        return moved is not None

    def names(self):
        """The names by which a finding may call the row."""
        columns = [c for c in NAMING if c in TABLES[self.table]] or ["business_date"]
        if self.table == "exception":  # one hash covers the exceptions of a day
            columns.append("business_date")
        return [NAMING[c].format(re.escape(self.value(c))) for c in columns]


def last_sealed(cursor):
    cursor.execute("SELECT max(last_entry) FROM business_day JOIN settlement USING (scheme, business_date)")
    return cursor.fetchone()[0]


def assert_named(service, names, what):
    status, found, _ = verify(service)
    assert status == 1, f"{what}: not found"
    assert any(re.search(name, line) for name in names for line in found), (what, names, found)


def columns_of(cursor, table):
    cursor.execute(
        "SELECT column_name, data_type, is_nullable = 'YES' FROM information_schema.columns"
        " WHERE table_schema = 'public' AND table_name = %s ORDER BY ordinal_position",
        (table,),
    )
    return [c for c in cursor.fetchall() if (table, c[0]) not in UNSEALED]


def change_one(cursor, table, column, kind, rng):
    """Changes the column in a row. Returns the row, its old value and the names that the row may be called."""
    for _ in range(200):
        row = Row(cursor, table, rng, f"{column} IS NOT NULL")
        assert row.ctid, f"the month has no row of {table} with {column}"
        before, names = row.value(column), row.names()
        if row.set(column, WORDS.get((table, column)) or changed(kind, before, rng)):
            return row, before, names
    raise AssertionError(f"the database takes no other {table}.{column}")


@pytest.mark.parametrize("table", TABLES)
def test_every_column(month, superuser, table):
    """One value is changed a little. In columns that may be null, a value is also removed, and another made up in
    place of a null."""
    rng = random.Random(f"{SEED} {table}")
    for column, kind, nullable in columns_of(superuser, table):
        if (table, column) in EMPTY:
            assert_a_made_up_value_is_named(month, superuser, table, column, EMPTY[table, column], rng)
            continue
        row, before, names = change_one(superuser, table, column, kind, rng)
        after = row.value(column)
        assert_named(month, names + row.names(), f"{table}.{column}: {before} became {after}, seed {SEED}")
        assert row.set(column, before)
        if nullable and row.set(column, None):
            assert_named(month, names, f"{table}.{column}: {before} was lost, seed {SEED}")
            assert row.set(column, before)
        if nullable:
            assert_a_made_up_value_is_named(month, superuser, table, column, before, rng)


def assert_a_made_up_value_is_named(month, cursor, table, column, value, rng):
    empty = Row(cursor, table, rng, f"{column} IS NULL")
    if empty.ctid and empty.set(column, value):
        assert_named(month, empty.names(), f"{table}.{column}: {value} was made up, seed {SEED}")
        assert empty.set(column, None)
    else:
        assert (table, column) not in EMPTY


# The least and greatest values of the columns, and an account whose owner's 32 bits are all set.
EXTREMES = {
    **dict.fromkeys(("bigint", "ARRAY"), (2**63 - 1, -(2**63), 0xFFFFFFFF << 16)),
    "integer": (2**31 - 1, -(2**31)),
    "smallint": (2**15 - 1, -(2**15)),
}


@pytest.mark.parametrize("table", TABLES)
def test_numbers_at_their_ends(month, superuser, table):
    """Verify names the row even if no sum can hold its value, or its value means nothing. Each run tries one end of
    each column."""
    rng = random.Random(f"{SEED} {table} ends")
    for column, kind, _ in columns_of(superuser, table):
        if kind in EXTREMES and (table, column) not in EMPTY:
            extreme = rng.choice(EXTREMES[kind])
            row = Row(superuser, table, rng, f"{column} IS NOT NULL")
            before, names = row.value(column), row.names()
            other = before.replace(re.search(r"-?\d+", before)[0], str(extreme), 1)
            if row.set(column, other):
                assert_named(month, names + row.names(), f"{table}.{column}: {before} became {other}, seed {SEED}")
                assert row.set(column, before)


@pytest.mark.parametrize("table", TABLES)
def test_every_row(month, superuser, table):
    """A row is removed; and another is made up, as a copy under a key of its own."""
    rng = random.Random(f"{SEED} {table} rows")
    row = Row(superuser, table, rng)
    names = row.names()
    superuser.execute(f"CREATE TEMP TABLE kept AS SELECT * FROM {table} WHERE ctid = %s", (row.ctid,))
    superuser.execute(f"DELETE FROM {table} WHERE ctid = %s", (row.ctid,))
    # The service may still keep the particulars of the last day, so nobody misses them.
    if table != "particulars" or names != [str(FIRST + (DAYS - 1) * DAY)]:
        assert_named(month, names, f"a row of {table} was lost, seed {SEED}")
    superuser.execute(f"INSERT INTO {table} SELECT * FROM kept ON CONFLICT DO NOTHING")
    key = next(c for c in TABLES[table][:0:-1] if c not in ("damaged", "cup_type"))
    superuser.execute(
        "SELECT format_type(atttypid, atttypmod) FROM pg_attribute WHERE attrelid = %s::regclass AND" " attname = %s",
        (table, key),
    )
    (kind,) = superuser.fetchone()
    other = {"uuid": "gen_random_uuid()", "date": f"date '{FIRST - DAY}'", "text": "'made up'"}.get(
        kind, f"{key} + 1000"
    )
    superuser.execute(f"UPDATE kept SET {key} = {other}")
    superuser.execute(f"INSERT INTO {table} SELECT * FROM kept RETURNING ctid::text")
    (row.ctid,) = superuser.fetchone()
    assert_named(month, names + row.names(), f"a row of {table} was made up, seed {SEED}")
    superuser.execute(f"DELETE FROM {table} WHERE ctid = %s", (row.ctid,))
    superuser.execute("DROP TABLE kept")


DATED = [table for table, key in TABLES.items() if "business_date" in key]


@pytest.mark.parametrize("date", ["0026-04-14", "1969-12-31", "10000-01-01", "4713-01-01 BC", "infinity", "-infinity"])
@pytest.mark.parametrize("tables", [[table] for table in DATED] + [DATED], ids="+".join)
def test_dates_that_the_service_does_not_write(month, superuser, tables, date):
    """Changes the dates of rows of one day, in one table or in all: of the first day, the last day, or one between."""
    rng = random.Random(f"{SEED} {tables} {date}")
    day = rng.choice([FIRST, FIRST + 7 * DAY, FIRST + (DAYS - 1) * DAY])
    rows = [Row(superuser, table, rng, f"business_date = '{day}'") for table in tables]
    moved = [row for row in rows if row.ctid and row.set("business_date", date)]
    if moved:
        assert_named(month, [str(day), re.escape(date)], f"{tables}: {day} became {date}, seed {SEED}")
    assert all(row.set("business_date", str(day)) for row in moved)


@pytest.mark.parametrize(
    "accounts, amounts",
    [
        ("accounts", "amounts || 0::bigint"),
        ("accounts || 0::bigint", "amounts"),
        ("accounts", "('[0:' || cardinality(amounts) - 1 || ']=' || amounts::text)::bigint[]"),
        ("ARRAY[accounts]", "ARRAY[amounts]"),
        ("accounts || NULL::bigint", "amounts || NULL::bigint"),
    ],
)
def test_arrays_that_could_be_read_in_two_ways(month, superuser, accounts, amounts):
    entry = random.Random(SEED).randrange(1, last_sealed(superuser))
    where = f"WHERE scheme = (SELECT id FROM scheme WHERE code = 'tern-bay') AND entry = {entry}"
    superuser.execute(f"SELECT accounts, amounts FROM entry {where}")
    before = superuser.fetchone()
    superuser.execute(f"UPDATE entry SET accounts = {accounts}, amounts = {amounts} {where}")
    assert_named(month, [rf"entry {entry} of .* no leaf can be written"], f"{accounts}, {amounts}")
    superuser.execute(f"UPDATE entry SET accounts = %s, amounts = %s {where}", before)


def test_hashes_that_are_too_long(month, superuser):
    """Each hash gets a byte more at its end. A reader of only the first 32 bytes would not see it."""
    for table, column in [
        ("entry", "hash"),
        ("settlement", "root"),
        ("settlement", "previous"),
        ("settlement", "seal"),
        ("particulars", "previous"),
        ("particulars", "parts"),
        ("particulars", "digest"),
        ("event_id", "digest"),
    ]:
        row = Row(superuser, table, random.Random(SEED))
        before = row.value(column)
        assert row.set(column, before + "00")
        assert_named(month, row.names(), f"{table}.{column}")
        assert row.set(column, before)


def test_one_who_hashes_anew_is_found_by_the_chain(month, superuser):
    """If an entry is changed with its hash, the day's root differs. If the root is changed as well, the seal
    differs; if the seal is changed as well, the next day's link does. Only a change of all later days leaves a whole
    chain, and its last seal differs from the seal that others hold."""

    def found():
        return " ".join(verify(month)[1])

    day = str(FIRST + 3 * DAY)
    where = f"WHERE scheme = (SELECT id FROM scheme WHERE code = 'tern-bay') AND business_date = '{day}'"
    superuser.execute(f"CREATE TEMP TABLE was AS SELECT * FROM settlement {where}")
    superuser.execute(f"UPDATE settlement SET root = sha256(root) {where}")
    assert f"root of {day}" in found() and f"seal of {day} is not that of its root" in found()
    superuser.execute(f"UPDATE settlement SET seal = sha256(seal) {where}")
    assert f"seal of {FIRST + 4 * DAY} does not follow that of the day before" in found()
    superuser.execute(
        "UPDATE settlement s SET root = was.root, seal = was.seal FROM was WHERE (s.scheme,"
        " s.business_date)"
        " = (was.scheme, was.business_date)"
    )
