# SPDX-License-Identifier: ISC
"""The schema: migrations from every earlier version, tables that mirror tables in C, and the statements that the
database itself refuses to the service's role."""
import pathlib
import re
import subprocess

import psycopg2
import pytest

from harness import Service, new_service
from model import DAY
from network import WORKED_DAY, WORKED_SITES, at, cups, event, worked_events, worked_reference

TOP = pathlib.Path(__file__).parents[2]
MIGRATIONS = sorted((TOP / "sql/migrations").glob("*.sql"))


def execute(dsn, *statements):
    connection = psycopg2.connect(dsn)
    try:
        with connection, connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
            return cursor.fetchall() if cursor.description else None
    finally:
        connection.close()


def schema_of(database):
    """All columns, constraints and function bodies, to be compared."""
    return database.rows(
        """
        SELECT table_name || '.' || column_name, data_type || ' ' || is_nullable || ' ' || coalesce(column_default, '')
          FROM information_schema.columns WHERE table_schema = 'public'
        UNION ALL SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint
            WHERE connamespace = 'public'::regnamespace
        UNION ALL SELECT proname, prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace
        UNION ALL SELECT grantee || ' ' || table_name, privilege_type FROM information_schema.role_table_grants
                   WHERE table_schema = 'public'
        ORDER BY 1, 2"""
    )


@pytest.mark.parametrize("version", range(1, len(MIGRATIONS)))
def test_migrates_from_every_earlier_version(database, service, version):
    complete = schema_of(database)
    service.stop()  # as operators do
    execute(
        database.owner_dsn,
        "DROP SCHEMA public CASCADE",
        "CREATE SCHEMA public",
        "CREATE TABLE schema_version (version integer PRIMARY KEY, name text NOT NULL,"
        " applied_at timestamptz NOT NULL DEFAULT now())",
    )
    for number, migration in enumerate(MIGRATIONS[:version], 1):
        execute(
            database.owner_dsn,
            migration.read_text(),
            f"INSERT INTO schema_version VALUES ({number}, '{migration.stem}')",
        )
    execute(database.owner_dsn, "GRANT USAGE ON SCHEMA public TO PUBLIC")
    Service(database).run("migrate")
    assert schema_of(database) == complete


def test_the_schema_has_the_version_of_the_newest_migration(database, service):
    """The numbers come from the files' names. The command names the last, the database notes each, and /readyz
    requires it."""
    assert [int(migration.stem[:4]) for migration in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))
    assert service.run("migrate") == f"the schema is at version {len(MIGRATIONS)}\n"
    assert database.rows("SELECT version, name FROM schema_version ORDER BY version") == [
        (number, migration.stem) for number, migration in enumerate(MIGRATIONS, 1)
    ]
    assert service.admin.send("GET", "/readyz").status == 200


def test_migrating_again_changes_nothing(database, service):
    before = schema_of(database)
    assert "version" in service.run("migrate")
    assert schema_of(database) == before


@pytest.mark.parametrize(
    "statement, advice",
    [
        (f"DELETE FROM schema_version WHERE version = {len(MIGRATIONS)}", "run `depositd migrate`"),
        # as before that grant existed
        ("REVOKE SELECT ON schema_version FROM depositd_service", "run `depositd migrate`"),
        ("DROP TABLE schema_version", "run `depositd migrate`"),
        (f"INSERT INTO schema_version VALUES ({len(MIGRATIONS) + 1}, 'of tomorrow')", "use a newer depositd"),
    ],
)
def test_a_database_of_another_version_is_not_served(database, statement, advice):
    service = Service(database)
    database.run(statement)
    done = subprocess.run(
        [service.binary, "serve"], env=service.environment, capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 1 and done.stderr.splitlines()[-1] == (
        f"depositd: the database is not at version {len(MIGRATIONS)}, with which this depositd works: {advice}"
    )


def c_table(header, table):
    """The rows of an X-macro table: lists of its arguments."""
    text = (TOP / "include/depositd" / header).read_text().replace("\\\n", " ")
    body = re.search(rf"#define {table}\(X\)(.*)", text)[1]
    return [[part.strip() for part in row.split(",")] for row in re.findall(r"X\(([^)]*)\)", body)]


def test_tables_mirror_those_in_c(database, service):
    kinds = database.rows("SELECT kind, word FROM entry_kind ORDER BY kind")
    in_c = c_table("event.h", "EVENT_KIND_TABLE") + c_table("event.h", "SERVICE_KIND_TABLE")
    assert kinds == sorted((int(number), word) for _, word, number, *_ in in_c), "a migration adds rows to entry_kind"
    accounts = database.rows("SELECT kind, word, 'SCOPE_' || upper(scope), class FROM account_kind ORDER BY kind")
    assert accounts == sorted(
        (int(number), word, scope, kind) for _, word, number, scope, kind, *_ in c_table("account.h", "ACCOUNT_TABLE")
    ), "a migration adds rows to account_kind"


@pytest.fixture(scope="module")
def posted(module_database):
    service = new_service(module_database)
    service.admin.load(worked_reference("on_loan"))
    service.admin.post(worked_events()[0])
    yield service
    service.stop()


@pytest.mark.parametrize(
    "table",
    [
        "entry",
        "event_id",
        "entry_reference",
        "exception",
        "exception_resolution",
        "day_cut",
        "month_decision",
        "settlement",
        "position",
        "payment_change",
        "day_total",
        "cup_day",
        "till_day",
        "fee_line",
        "fee_note",
        "fee_note_line",
        "remaking_batch",
        "remaking_batch_line",
        "remaking_batch_withdrawal",
        "particulars",
        "shipment_request",
        "shipment_line",
        "shipment_withdrawal",
        "shipment_dispatch",
        "agreed_amount",
        "followed_entry",
        "between_booked",
    ],
)
@pytest.mark.parametrize("statement", ["UPDATE {} SET scheme = scheme", "DELETE FROM {}", "TRUNCATE {}"])
def test_the_service_can_only_append(posted, table, statement):
    with pytest.raises(psycopg2.errors.InsufficientPrivilege):
        execute(posted.database.service_dsn, statement.format(table))


@pytest.mark.parametrize(
    "table",
    [
        "kind_balance",
        "kind_movement",
        "exception_open",
        "count_off_open",
        "bank_line_open",
        "payment_day",
        "proposal_listed",
        "shipment_listed",
        "between_day",
        "between_transit",
    ],
)
@pytest.mark.parametrize(
    "statement",
    ["INSERT INTO {0} SELECT * FROM {0}", "UPDATE {0} SET {1} = {1}", "DELETE FROM {0}", "TRUNCATE {0}"],
)
def test_sums_and_lists_are_kept_by_the_database_alone(posted, table, statement):
    column = "home" if table == "between_transit" else "scheme"
    with pytest.raises(psycopg2.errors.InsufficientPrivilege):
        execute(posted.database.service_dsn, statement.format(table, column))


ENTRY = """INSERT INTO entry SELECT 1, last_entry + {ahead}, (SELECT min(business_date) FROM business_day) + {days},
            {kind}, false, NULL,
           NULL, now(), now(), '', NULL, '{accounts}', '{amounts}' FROM scheme_head WHERE scheme = 1"""
MONEY = "1970324836974592,2533274790395904"  # bank, service_fees
CUPS_OF_ONE_TYPE, CUPS_OF_TWO_TYPES = (f"{32 << 48 | 1},{33 << 48 | 1 << 16 | n}" for n in (1, 2))


def entry(accounts=MONEY, amounts="5,-5", ahead=1, days=0, kind=4):
    """The statement that posts an entry; lists may also be arrays as PostgreSQL writes them."""
    braced = [text if "{" in text else f"{{{text}}}" for text in (accounts, amounts)]
    return ENTRY.format(ahead=ahead, days=days, kind=kind, accounts=braced[0], amounts=braced[1])


@pytest.mark.parametrize(
    "accounts, amounts",
    [
        (MONEY, "5,-4"),
        (MONEY, "5,5"),
        (MONEY, "5,NULL"),
        ("1970324836974592", "5"),
        ("1970324836974592", "5,-5"),  # more amounts than accounts
        (f"{MONEY},{MONEY}", "5,-5,3,-2"),
        (f"{MONEY},{MONEY}", "5,-4,3,-3"),
        (f"{MONEY},1970324836974592", "5,-4,-2"),
        (CUPS_OF_TWO_TYPES, "-5,5"),
        (f"{MONEY},{CUPS_OF_TWO_TYPES}", "5,-5,-5,5"),
        (f"{1 << 48},{32 << 48 | 1}", "5,-5"),
        (f"{32 << 48 | 1},NULL", "5,-5"),
        (f"[0:1]={{{CUPS_OF_TWO_TYPES}}}", "5,-5"),
        (f"[5:6]={{{CUPS_OF_TWO_TYPES}}}", "5,-5"),
        (f"{{{{{CUPS_OF_TWO_TYPES}}}}}", "5,-5"),
        (f"[0:3]={{{MONEY},{CUPS_OF_TWO_TYPES}}}", "5,-5,5,-5"),
        (f"{{{{{MONEY}}},{{{CUPS_OF_TWO_TYPES}}}}}", "5,-5,5,-5"),
    ],
)
def test_the_database_refuses_an_entry_that_does_not_balance(posted, accounts, amounts):
    with pytest.raises(psycopg2.errors.IntegrityConstraintViolation, match="does not balance"):
        execute(posted.database.service_dsn, entry(accounts, amounts))


@pytest.mark.parametrize(
    "wrong, message",
    [
        (entry(ahead=2), "not numbered on"),
        (entry(ahead=0, days=1), "not numbered on"),  # a number that another day has
        (entry(kind=20), "a day that does not take it"),  # an entry of a close, on a day that does not close
        (entry(days=1000), "a day that does not take it"),
    ],
)
def test_the_database_refuses_an_entry_that_is_out_of_place(posted, wrong, message):
    with pytest.raises(psycopg2.errors.IntegrityConstraintViolation, match=message):
        execute(posted.database.service_dsn, wrong)


@pytest.mark.parametrize(
    "accounts, amounts",
    [
        (MONEY, "5,-5"),
        (f"{MONEY},{CUPS_OF_ONE_TYPE}", "5,-5,-2,2"),
        (f"{MONEY},1970324836974592", "5,-3,-2"),
        (f"{CUPS_OF_ONE_TYPE},{MONEY},{CUPS_OF_ONE_TYPE}", "1,-1,7,-7,-2,2"),
        ("", ""),
    ],
)
def test_the_database_takes_an_entry_that_balances(posted, accounts, amounts):
    """Its amounts balance in pairs or as a whole. Then the test takes it back."""
    with pytest.raises(psycopg2.errors.DivisionByZero):
        execute(posted.database.service_dsn, entry(accounts, amounts), "SELECT 1 / 0")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE business_day SET ends_at = ends_at + interval '1 hour' WHERE entries > 0",
        "UPDATE business_day SET business_date = business_date - 1000",
        "UPDATE business_day SET state = 'closed' WHERE entries > 0",  # not through closing
        # unsettled
        "UPDATE business_day SET state = 'closing' WHERE entries > 0; UPDATE business_day SET state = 'closed' WHERE"
        " entries > 0",
        "UPDATE business_day SET entries = entries - 1 WHERE entries > 0",
        "UPDATE business_day SET first_entry = first_entry + 1 WHERE entries > 0",
        "UPDATE business_day SET last_entry = NULL WHERE entries > 0",
        "DELETE FROM business_day WHERE entries > 0",
        "INSERT INTO business_day SELECT scheme, '1999-01-01', starts_at, ends_at, 'closed' FROM business_day"
        " WHERE entries"
        " > 0",
        "INSERT INTO business_day SELECT scheme, '1999-01-01', starts_at, ends_at, 'open', 7 FROM business_day WHERE"
        " entries > 0",
    ],
)
def test_a_business_day_keeps_its_bounds_and_its_order_of_states(posted, statement):
    with pytest.raises(psycopg2.errors.IntegrityConstraintViolation):
        execute(posted.database.service_dsn, statement, "SELECT 1 / 0")


@pytest.fixture(scope="module")
def settled(posted):
    events = worked_events()[1:]
    for sent in events:
        posted.admin.post(sent)
    assert posted.admin.close("tern-bay", WORKED_DAY)["payments"]
    # The day after is open: a reversal of the closed one, and a batch that stands beside the balances.
    posted.admin.post(event("reversal", "anchor", at(WORKED_DAY + DAY), reverses=events[2]["event_id"]))
    each = cups(cup_300=1, cup_450=1)
    posted.admin.post_many(
        [event("supply", site, at(WORKED_DAY + DAY), cups=each) for site in WORKED_SITES]
        + [event("issue", site, at(WORKED_DAY + DAY), issued=each) for site in WORKED_SITES]
    )
    return posted


@pytest.mark.parametrize(
    "statement, error",
    [
        ("UPDATE payment SET amount = amount + 1", psycopg2.errors.InsufficientPrivilege),
        (
            "UPDATE payment SET status = 'confirmed'",
            psycopg2.errors.IntegrityConstraintViolation,
        ),  # nobody has approved it
        ("UPDATE payment SET status = 'paid'", psycopg2.errors.IntegrityConstraintViolation),
        (
            "UPDATE payment SET status = 'failed'; UPDATE payment SET status = 'computed'",
            psycopg2.errors.IntegrityConstraintViolation,
        ),
        (
            "UPDATE payment SET released = true; UPDATE payment SET released = false",
            psycopg2.errors.IntegrityConstraintViolation,
        ),
        ("DELETE FROM payment", psycopg2.errors.InsufficientPrivilege),
        ("DELETE FROM proposed_event", psycopg2.errors.InsufficientPrivilege),
        ("UPDATE proposed_event SET amounts = '{}'", psycopg2.errors.InsufficientPrivilege),
    ],
)
def test_what_a_close_fixed_and_a_key_proposed_stands(settled, statement, error):
    with pytest.raises(error):
        execute(settled.database.service_dsn, statement)


CLOSED, AFTER = f"business_date = '{WORKED_DAY}'", f"business_date = '{WORKED_DAY + DAY}'"
REFUSED, FORBIDDEN = psycopg2.errors.IntegrityConstraintViolation, psycopg2.errors.InsufficientPrivilege
ENTRY_ROW = (
    "(SELECT scheme, last_entry + {} AS entry, date '"
    + str(WORKED_DAY)
    + "' + {} AS business_date, 4::smallint, false, NULL::integer,"
    " NULL::integer, now(), now(), ''::bytea, NULL, '{{1970324836974592,2533274790395904}}'::bigint[],"
    " '{{{}}}'::bigint[]"
    " FROM scheme_head WHERE scheme = 1)"
)


def entries(*rows):
    """Several entries in one statement: (how far ahead of the head, days after the worked one, amounts)"""
    return "INSERT INTO entry " + " UNION ALL ".join(ENTRY_ROW.format(*row) for row in rows)


# Statements that the service's own role might try, through a bug of the program or a person who has its password.
AT_ONCE = "; SET CONSTRAINTS ALL IMMEDIATE"  # checks that otherwise run when the transaction ends
TRIES = {
    "a closing balance is changed": (f"UPDATE balance SET closing = closing + 1 WHERE {CLOSED}", REFUSED),
    "a closing balance is taken away": (f"UPDATE balance SET closing = NULL WHERE {CLOSED}", REFUSED),
    "a closed day's movement is changed": (f"UPDATE balance SET movement = movement + 1 WHERE {CLOSED}", REFUSED),
    "an open day's balance is closed": (f"UPDATE balance SET closing = 0 WHERE {AFTER}", REFUSED),
    "a balance is added to a closed day": (
        f"INSERT INTO balance SELECT scheme, account_of(8, 0, 0), business_date, 5 FROM settlement WHERE {CLOSED}",
        REFUSED,
    ),
    "a closing balance is added to a closed day": (
        f"INSERT INTO balance SELECT scheme, account_of(8, 0, 0), business_date, 0, 5 FROM settlement WHERE {CLOSED}",
        REFUSED,
    ),
    "a closing balance is added to an open day": (
        f"INSERT INTO balance SELECT scheme, account_of(8, 0, 0), business_date, 0, 5 FROM business_day WHERE {AFTER}",
        REFUSED,
    ),
    "a balance is added to a day that there is not": (
        "INSERT INTO balance SELECT scheme, account_of(8, 0, 0), '1999-01-01', 5 FROM settlement",
        REFUSED,
    ),
    "a balance becomes another account's": ("UPDATE balance SET account = account + 1", FORBIDDEN),
    "a balance becomes another day's": (
        f"UPDATE balance SET business_date = business_date - 1 WHERE {AFTER}",
        FORBIDDEN,
    ),
    "balances are deleted": ("DELETE FROM balance", FORBIDDEN),
    "a closed day's site is changed": (f"UPDATE site_day SET fees = fees + 1 WHERE {CLOSED}", REFUSED),
    "a site is added to a closed day": (
        "INSERT INTO site_day (scheme, business_date, site) SELECT scheme, business_date, 99 FROM settlement WHERE"
        f" {CLOSED}",
        REFUSED,
    ),
    "a site's day becomes another day's": (
        f"UPDATE site_day SET business_date = business_date + 1 WHERE {AFTER}",
        FORBIDDEN,
    ),
    "a reversal is added to a closed day": (
        "INSERT INTO reversed_day SELECT scheme, business_date, 1, business_date - 1, 5, 0 FROM settlement WHERE"
        f" {CLOSED}",
        REFUSED,
    ),
    "a reversal becomes another day's": ("UPDATE reversed_day SET original_date = original_date - 1", FORBIDDEN),
    "a closed day is opened": (f"UPDATE business_day SET state = 'open' WHERE {CLOSED}", REFUSED),
    "a closed day's counters are changed": (f"UPDATE business_day SET entries = entries + 1 WHERE {CLOSED}", REFUSED),
    "a closed day's tree is changed": (f"UPDATE business_day SET frontier = sha256(frontier) WHERE {CLOSED}", REFUSED),
    "a closed day ends later": (f"UPDATE business_day SET ends_at = ends_at + interval '1 s' WHERE {CLOSED}", REFUSED),
    "a closed day is deleted": (f"DELETE FROM business_day WHERE {CLOSED}", REFUSED),
    "a cut is added to an open day": (
        f"INSERT INTO day_cut SELECT scheme, '{WORKED_DAY + DAY}', last_entry, now() FROM scheme_head WHERE scheme = 1",
        REFUSED,
    ),
    "a day is cut without saying where": (
        f"UPDATE business_day SET state = 'closing' WHERE {AFTER}" + AT_ONCE,
        REFUSED,
    ),
    "a day is cut elsewhere": (
        f"UPDATE business_day SET state = 'closing' WHERE {AFTER}; INSERT INTO day_cut SELECT scheme, date '"
        f"{WORKED_DAY + DAY}', last_entry - 1, now() FROM scheme_head WHERE scheme = 1",
        REFUSED,
    ),
    "a day is settled that does not close": (
        "INSERT INTO settlement SELECT s.scheme, d.business_date, now(), NULL, 1, root, seal, root FROM settlement s,"
        " business_day d "
        f"WHERE d.{AFTER}",
        REFUSED,
    ),
    "a fee is added to a closed day": (
        f"INSERT INTO fee_line SELECT scheme, business_date, 1, 'standing', business_date, 0, 0, 1, 5 FROM settlement"
        f" WHERE {CLOSED}",
        REFUSED,
    ),
    "a fee note is added to a closed day": (
        f"INSERT INTO fee_note SELECT scheme, 99, business_date, 1, NULL, 'Mine', true FROM settlement WHERE {CLOSED}",
        REFUSED,
    ),
    "a line is added to a fee note of a closed day": (
        "INSERT INTO fee_note_line SELECT scheme, 99, 1, business_date, 'service', 0, 5, 0 FROM settlement WHERE"
        f" {CLOSED}",
        REFUSED,
    ),
    "a registration is put before a closed day": (
        "INSERT INTO tax_registration SELECT id, '2000-01-01', false FROM participant" + AT_ONCE,
        REFUSED,
    ),
    "a kind is put before a closed day": (
        "INSERT INTO site_kind SELECT id, '2000-01-01', 'hub' FROM site" + AT_ONCE,
        REFUSED,
    ),
    "a kind becomes another site's": ("UPDATE site_kind SET site = 1", FORBIDDEN),
    "a position is added to a closed day": (
        f"INSERT INTO position SELECT scheme, business_date, 99, 5, 0, NULL, false FROM settlement WHERE {CLOSED}",
        REFUSED,
    ),
    "a payment is added to a closed day": (
        "INSERT INTO payment SELECT scheme, 'mine', business_date, payer, payee, 5, due_on, 'computed' FROM payment"
        " LIMIT 1",
        REFUSED,
    ),
    "a payment is added that is approved": (
        "INSERT INTO payment SELECT scheme, 'mine', business_date, payer, payee, 5, due_on, 'approved' FROM payment"
        " LIMIT 1",
        REFUSED,
    ),
    **{
        f"{column} of a payment is changed": (f"UPDATE payment SET {column} = {value}", FORBIDDEN)
        for column, value in (
            ("amount", "1"),
            ("payee", "payer"),
            ("payer", "NULL"),
            ("due_on", "now()"),
            ("held", "NULL"),
            ("bank_account", "'{}'"),
            ("business_date", "business_date + 1"),
            ("payment_id", "'mine'"),
        )
    },
    **{
        f"{column} of a head goes back": (f"UPDATE scheme_head SET {column} = {column} - 1", REFUSED)
        for column in ("last_entry", "gross", "reference_version", "calendar_version", "folded_through")
    },
    "a head has folded what there is not": ("UPDATE scheme_head SET folded_through = last_entry + 1", REFUSED),
    "a head becomes another scheme's": (
        "INSERT INTO scheme SELECT 99, 'skerry', currency, decimals, time_zone, cut_off, close_after_minutes,"
        " stock_terms, return_target_ppm,"
        " dual_control, count_tolerance, variance_limit, carry_days, operator, holidays FROM scheme WHERE id = 1;"
        " UPDATE scheme_head SET scheme = 99",
        REFUSED,
    ),
    "the network's head goes back": ("UPDATE network_head SET reference_version = reference_version - 1", REFUSED),
    "a batch is lost": ("DELETE FROM recent_movement", REFUSED),
    "terms of a closed day are changed": ("UPDATE terms SET service_fee = service_fee + 1" + AT_ONCE, REFUSED),
    "terms are put before a closed day": (
        "INSERT INTO terms SELECT scheme, effective_date - 1, netting, minimum_payment, service_fee, handling_fee,"
        " tax_rate_ppm, "
        "shortage_terms, variance_terms FROM terms" + AT_ONCE,
        REFUSED,
    ),
    "terms of a closed day start later": ("UPDATE terms SET effective_date = effective_date + 100" + AT_ONCE, REFUSED),
    "a refund value of a closed day is changed": ("UPDATE refund_value SET amount = amount + 1" + AT_ONCE, REFUSED),
    "codes of accounts become another day's": (
        "UPDATE office_accounts SET effective_date = effective_date + 1",
        FORBIDDEN,
    ),
    "codes of accounts are removed": ("DELETE FROM office_accounts", FORBIDDEN),
    "a dispatch becomes another's": ("UPDATE transfer SET sender = receiver", FORBIDDEN),
    "forfeits become another type's": ("UPDATE forfeited SET cup_type = 9", FORBIDDEN),
    "two days have an entry of one number": (entries((1, 1, "5,-5"), (1, 2, "5,-5")), REFUSED),
    "two entries of one number balance each other": (entries((1, 1, "5,-4"), (1, 2, "-5,4"), (3, 1, "1,-1")), REFUSED),
    "a number stands twice in place of the next": (entries((1, 1, "5,-5"), (1, 2, "5,-5"), (3, 1, "5,-5")), REFUSED),
}


@pytest.mark.parametrize("name", TRIES)
def test_the_service_can_not_change_what_is_fixed(settled, name):
    statement, error = TRIES[name]
    touched = settled.database.rows(
        "SELECT count(*) FROM recent_movement r JOIN scheme_head h USING (scheme) WHERE"
        " r.last_entry > h.folded_through"
    )
    assert touched[0][0] > 0  # so that there is a batch to lose
    with pytest.raises(error):
        execute(settled.database.service_dsn, statement, "SELECT 1 / 0")  # takes back what is not refused


def test_what_an_older_version_reversed_is_taken_over(settled):
    """The migration finds the reversals of days that are not closed yet, and knows which days an older version
    closed."""
    [migration] = [m for m in MIGRATIONS if m.stem.endswith("_reversed_days")]
    connection = psycopg2.connect(settled.database.owner_dsn)
    cursor = connection.cursor()
    cursor.execute("SELECT * FROM reversed_day")
    before = cursor.fetchall()
    assert [(row[1:2], row[3:]) for row in before] == [((WORKED_DAY + DAY,), (WORKED_DAY, 40, 0))]
    cursor.execute("DROP TABLE reversed_day, older_fee_rule; DROP FUNCTION round_half_even CASCADE")
    cursor.execute(migration.read_text() + "; SELECT * FROM reversed_day")
    assert cursor.fetchall() == before
    cursor.execute("SELECT scheme, through FROM older_fee_rule")
    assert cursor.fetchall() == [(1, WORKED_DAY)]
    connection.close()  # and all is as it was


def test_several_entries_may_be_posted_at_once(settled):
    """They are numbered in sequence from the head, and may be of two days. Then the test takes them back."""
    with pytest.raises(psycopg2.errors.DivisionByZero):
        execute(settled.database.service_dsn, entries((1, 1, "5,-5"), (2, 2, "5,-5"), (3, 1, "5,-5")), "SELECT 1 / 0")
    settled.admin.assert_holds()
