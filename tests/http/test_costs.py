# SPDX-License-Identifier: ISC
"""The cost of a read depends only on the rows that it shows. In a network of many, the test reads ten rows of each
list, at its start and far into it, and with each filter. It also reads the start page. PostgreSQL counts the pages
that it reads (its buffers, by EXPLAIN), and they may not exceed what so many rows need. The test runs with plans for
the given values and with generic plans, because the service may get either."""
import re
from datetime import timedelta

import psycopg2
import pytest

from crowd import Crowd
from statements import SQL, embed, statement_text

QUERIES = SQL / "queries"
ROWS = 10
PER_ROW, AT_ALL = 20, 60  # pages: some indexes for each thing in a row; and for any statement
PER_SCHEME = 140  # at a glance, with some accounts in arrears, some payments that wait, and four weeks' cups out
CROWD = Crowd()


class Asked:
    """A database connection like the service's."""

    def __init__(self, database):
        self.connection = psycopg2.connect(database.service_dsn)
        self.connection.autocommit = True
        self.cursor = self.connection.cursor()
        self.cursor.execute("SET jit = off; SET TimeZone = 'UTC'; SET max_parallel_workers_per_gather = 0")

    def pages(self, name, values, mode, folder="queries", way=embed.FORTH):
        """The pages that a statement read, without planning, and the rows that it gave."""
        plan = self.plan(name, values, mode, folder, way)
        return plan["Shared Hit Blocks"] + plan["Shared Read Blocks"], plan["Actual Rows"]

    def plan(self, name, values, mode, folder, way=embed.FORTH):
        """The plan that a statement ran with."""
        self.cursor.execute(f"DEALLOCATE ALL; SET plan_cache_mode = {mode}")
        self.cursor.execute("PREPARE asked AS " + statement_text(next((SQL / folder).rglob(f"{name}.sql")), way))
        call = "EXECUTE asked (" + ", ".join(self.literal(v) for v in values) + ")"
        self.cursor.execute(call)  # so that a function's first call in a connection does not count the catalog
        self.cursor.execute("EXPLAIN (ANALYZE, BUFFERS, TIMING off, FORMAT JSON) " + call)
        return self.cursor.fetchone()[0][0]["Plan"]

    def count(self, statement, *values):
        self.cursor.execute(statement, values)
        return self.cursor.fetchone()[0]

    def literal(self, value):
        if isinstance(value, tuple):  # a text array
            return "ARRAY[" + ", ".join(self.literal(v) for v in value) + "]::text[]"
        return self.cursor.mogrify("%s::int[]" if isinstance(value, list) else "%s", [value]).decode()


@pytest.fixture(scope="module")
def crowd(shared):
    CROWD.fill(shared.database)
    asked = Asked(shared.database)
    # Not from business_day, because in the last minutes of a day the service adds the next day there.
    asked.last = shared.database.rows("SELECT max(business_date) FROM settlement WHERE scheme = 1")[0][0]
    [asked.entries_of_last] = shared.database.rows(
        "SELECT first_entry - 1, last_entry FROM business_day WHERE scheme = 1 AND business_date = %s", asked.last
    )
    asked.accounts = [
        a for a, in shared.database.rows("SELECT DISTINCT account FROM balance WHERE scheme = 1 ORDER BY" " 1")
    ]
    asked.open_line = shared.database.rows("SELECT min(line) FROM bank_line_open WHERE scheme = 1")
    asked.schemes = [s for s, in shared.database.rows("SELECT id FROM scheme ORDER BY code")]
    yield asked
    asked.connection.close()


N = (None, None, None)


def events(after, through=20000, *, site=None, kind=None, first=None, last=None, late=None):
    return (1, after, through, ROWS, None, site, kind, first, last, None, late, kind is not None and kind > 3)


def days(crowd):
    return crowd.last - timedelta(days=CROWD.days // 2), crowd.last


def number(day):
    return (day - day.replace(year=1970, month=1, day=1)).days


# Each list: its statement and its arguments. `half` is a day half way back, `last` the last closed day.
LISTS = {
    "accounts": ("accounts-list", lambda c, half, last: (1, -1, ROWS, None, None)),
    "accounts of a kind": ("accounts-list", lambda c, half, last: (1, -1, ROWS, last, 4)),
    "accounts, far in": (
        "accounts-list",
        lambda c, half, last: (1, c.accounts[len(c.accounts) // 2], ROWS, None, None),
    ),
    "accounts as of a day": ("accounts-list", lambda c, half, last: (1, c.accounts[5], ROWS, half, None)),
    "bank lines": ("bank-lines-list", lambda c, half, last: (1, -1, ROWS, None, None)),
    "bank lines, far in": ("bank-lines-list", lambda c, half, last: (1, 2000, ROWS, None, None)),
    "bank lines, open": ("bank-lines-list", lambda c, half, last: (1, -1, ROWS, True, None)),
    "bank lines, not open": ("bank-lines-list", lambda c, half, last: (1, 2000, ROWS, False, None)),
    "bank lines of a statement": ("bank-lines-list", lambda c, half, last: (1, -1, ROWS, None, 5)),
    "days": ("days-list", lambda c, half, last: (1, -1, ROWS, None)),
    "days, far in": ("days-list", lambda c, half, last: (1, number(half), ROWS, None)),
    "days to close": ("days-list", lambda c, half, last: (1, -1, ROWS, "close")),
    "days without a statement": ("days-list", lambda c, half, last: (1, -1, ROWS, "statement")),
    "schemes with a task": (
        "tasks",
        lambda c, half, last: (c.schemes[1:], 0, 1001, ("exceptions_open",), False, ROWS, 30),
    ),
    "today": ("days-current", lambda c, half, last: (1,)),
    "settlements": ("settlements-list", lambda c, half, last: (1, -1, ROWS, None)),
    "settlements of a participant": ("settlements-list", lambda c, half, last: (1, number(half), ROWS, [3, 203])),
    "fee notes": ("fee-notes-list", lambda c, half, last: (1, -1, ROWS, None, None)),
    "fee notes, far in": ("fee-notes-list", lambda c, half, last: (1, 1000, ROWS, None, None)),
    "fee notes of a participant": ("fee-notes-list", lambda c, half, last: (1, 4000, ROWS, [3, 203], None)),
    "batches": ("remaking-batches-list", lambda c, half, last: (1, -1, ROWS)),
    "batches, far in": ("remaking-batches-list", lambda c, half, last: (1, 30, ROWS)),
    "shipments": ("shipments-list", lambda c, half, last: (1, -1, ROWS, None, None, "all", None)),
    "shipments, far in": ("shipments-list", lambda c, half, last: (1, 1000, ROWS, None, None, "withdrawn", None)),
    "shipments, open": ("shipments-list", lambda c, half, last: (1, -1, ROWS, None, None, "open", None)),
    "shipments of sites": ("shipments-list", lambda c, half, last: (1, 500, ROWS, [2, 7, 12], None, "all", None)),
    "shipments of a site": ("shipments-list", lambda c, half, last: (1, -1, ROWS, None, 7, "sender", None)),
    "shipments of a counter": ("counter-shipments", lambda c, half, last: (7, ROWS)),
    "seals": ("seals-list", lambda c, half, last: (1, number(half), ROWS)),
    "statements": ("statements-list", lambda c, half, last: (1, None, ROWS, None, None)),
    "statements, far in": ("statements-list", lambda c, half, last: (1, f"{half}/1", ROWS, None, None)),
    "statements of days": ("statements-list", lambda c, half, last: (1, None, ROWS, half, last)),
    "a statement": ("statement-get", lambda c, half, last: (1, 5, ROWS)),
    "payments": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, None, None, None, None, None, None, None, None),
    ),
    "payments to other pools": (
        "payments-list",
        lambda c, half, last: (1, f"{half}/x", ROWS, None, None, None, None, None, None, None, True),
    ),
    "payments to other pools that wait": (
        "payments-list",
        lambda c, half, last: (1, None, 3, None, None, None, None, None, True, None, True),
    ),
    "payments, far in": (
        "payments-list",
        lambda c, half, last: (1, f"{half}/x", ROWS, None, None, None, None, None, None, None, None),
    ),
    "payments from a day": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, None, None, None, half, None, None, None, None),
    ),
    "payments that failed": (
        "payments-list",
        lambda c, half, last: (1, f"{half}/x", ROWS, "failed", None, None, None, None, None, None, None),
    ),
    "payments that wait": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, "computed", None, None, None, None, None, None, None),
    ),
    "payments of no such status": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, "instructed", None, None, None, None, None, None, None),
    ),
    "payments held": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, None, True, None, None, None, None, None, None),
    ),
    "payments not held": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, None, False, None, None, None, None, None, None),
    ),
    "payments of a participant": (
        "payments-list",
        lambda c, half, last: (1, f"{half}/x", ROWS, None, None, 7, None, None, None, None, None),
    ),
    "payments that wait, in any state": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, None, None, None, None, None, True, None, None),
    ),
    "payments that a participant makes": (
        "payments-list",
        lambda c, half, last: (1, None, ROWS, None, None, 7, last - timedelta(days=2), None, True, "payer", None),
    ),
    "journals, open": ("proposed-list", lambda c, half, last: (1, -1, ROWS, "open", True, False, 1001)),
    "journals, approved": ("proposed-list", lambda c, half, last: (1, 1000, ROWS, "approved", True, None, 1)),
    "journals, none withdrawn": ("proposed-list", lambda c, half, last: (1, -1, ROWS, "withdrawn", True, None, 1)),
    "openings, none approved": ("proposed-list", lambda c, half, last: (1, -1, ROWS, "approved", False, None, 1)),
    "files": ("files-list", lambda c, half, last: (1, last, -1, ROWS)),
    "keys": ("key-read", lambda c, half, last: (None, None, ROWS)),
    "keys, far in": ("key-read", lambda c, half, last: (None, "member-00100/7", ROWS)),
    "sessions": ("sessions-list", lambda c, half, last: (1001, -1, ROWS, 0, last, 1800, 14400, 43200)),
    "sessions, far in": ("sessions-list", lambda c, half, last: (1001, 2000, ROWS, 0, last, 1800, 14400, 43200)),
    "a key": ("key-read", lambda c, half, last: ("member-00100", None, 1)),
    "events": ("events-list", lambda c, half, last: events(0)),
    "events, far in": ("events-list", lambda c, half, last: events(10000)),
    "events that are late": ("events-list", lambda c, half, last: events(100, late=True)),
    "events that are not late": ("events-list", lambda c, half, last: events(100, late=False)),
    "late events of a site": ("events-list", lambda c, half, last: events(0, site=101, late=True)),
    "events of a kind": ("events-list", lambda c, half, last: events(100, kind=2)),
    "events of a kind that is rare": ("events-list", lambda c, half, last: events(100, kind=10)),
    "events of a kind that there is none of": ("events-list", lambda c, half, last: events(0, kind=11)),
    "events of a rare kind at a site": ("events-list", lambda c, half, last: events(0, site=2, kind=10)),
    "events of a day": ("events-list", lambda c, half, last: events(*c.entries_of_last, first=last, last=last)),
    "late events of a day": (
        "events-list",
        lambda c, half, last: events(*c.entries_of_last, first=last, last=last, late=True),
    ),
    "entries to follow, none": ("follow-entries", lambda c, half, last: (1, 2, 0, ROWS)),
    "the end of a feed": ("feed-ends", lambda c, half, last: ([1],)),
    "cuts in a feed": ("feed-cuts", lambda c, half, last: (1, 0, -1, 10**9, ROWS)),
    "events of a site": ("events-list", lambda c, half, last: events(100, site=7)),
    "events of a site on a day": (
        "events-list",
        lambda c, half, last: events(*c.entries_of_last, site=7, first=last, last=last),
    ),
    "a counter": ("counter-place", lambda c, half, last: (7, last)),
    "events of a counter": ("counter-events", lambda c, half, last: (7, last, ROWS, None)),
    "sites": ("reference-read-site", lambda c, half, last: (N, None, ROWS, *4 * [None])),
    "sites, far in": ("reference-read-site", lambda c, half, last: (N, "site-00300", ROWS, *4 * [None])),
    "sites of a till": ("reference-read-site", lambda c, half, last: (N, None, ROWS, [7], *3 * [None])),
    "sites of a participant": ("reference-read-site", lambda c, half, last: (N, None, ROWS, None, 7, None, None)),
    "sites of a scheme": ("reference-read-site", lambda c, half, last: (N, "site-00010", ROWS, None, None, 1, None)),
    "sites by participant": ("reference-read-site", lambda c, half, last: (N, None, ROWS, *3 * [None], 7)),
    "sites of both": ("reference-read-site", lambda c, half, last: (N, None, ROWS, None, None, 1, 7)),
    "a site": ("reference-read-site", lambda c, half, last: (("site-00300", None, None), *6 * [None])),
    "participants": ("reference-read-participant", lambda c, half, last: (N, "member-00100", ROWS, *3 * [None])),
    "participant of a till": ("reference-read-participant", lambda c, half, last: (N, None, ROWS, [7], None, None)),
    "a participant": (
        "reference-read-participant",
        lambda c, half, last: (("member-00077", None, None), *5 * [None]),
    ),
    "registrations": ("reference-read-tax-registration", lambda c, half, last: (N, None, ROWS, None, None)),
    "registrations of a participant": (
        "reference-read-tax-registration",
        lambda c, half, last: (("member-00077", None, None), None, ROWS, None, 7),
    ),
    "kinds": ("reference-read-site-kind", lambda c, half, last: (N, None, ROWS, None, None)),
    "kinds of a site": (
        "reference-read-site-kind",
        lambda c, half, last: (("site-00300", None, None), None, ROWS, None, None),
    ),
    "schemes": ("reference-read-scheme", lambda c, half, last: (N, None, ROWS, None, None)),
    "schemes of a till": ("reference-read-scheme", lambda c, half, last: (N, None, ROWS, [7], None)),
    "schemes of a participant": ("reference-read-scheme", lambda c, half, last: (N, None, ROWS, None, 7)),
    "cup types": ("reference-read-cup-type", lambda c, half, last: (N, None, ROWS)),
    "proposals, open": ("proposals-list", lambda c, half, last: (None, -1, ROWS, "open", False, 1001)),
    "proposals, approved": ("proposals-list", lambda c, half, last: (1, 500, ROWS, "approved", None, 1)),
    "months": ("months-list", lambda c, half, last: (1, -1, ROWS)),
    "months, far in": ("months-list", lambda c, half, last: (1, last.year * 12 + last.month, ROWS)),
    "proposals of a scheme, open": ("proposals-list", lambda c, half, last: (1, -1, ROWS, "open", None, 1)),
    "changes of a kind": ("changes-list", lambda c, half, last: (None, 100, ROWS, "site", None, None, None)),
    "changes of a kind that is rare": (
        "changes-list",
        lambda c, half, last: (None, -1, ROWS, "terms", None, None, None),
    ),
    "changes of a kind in a scheme": ("changes-list", lambda c, half, last: (1, -1, ROWS, "terms", None, None, None)),
    "changes by a key": ("changes-list", lambda c, half, last: (None, -1, ROWS, None, "till-site-00003", None, None)),
    "changes by a holder": ("changes-list", lambda c, half, last: (None, -1, ROWS, "site", "till 3", None, None)),
    "changes of late days": (
        "changes-list",
        lambda c, half, last: (None, -1, ROWS, None, None, last - timedelta(days=9), last - timedelta(days=8)),
    ),
    "changes": ("changes-list", lambda c, half, last: (None, -1, ROWS, None, None, None, None)),
    "changes of a scheme, far in": ("changes-list", lambda c, half, last: (1, 2500, ROWS, None, None, None, None)),
    "refund values": (
        "reference-read-refund-value",
        lambda c, half, last: (("bay-0001", None, None), None, ROWS, [7], None),
    ),
    "codes of the office's ledger": (
        "reference-read-office-accounts",
        lambda c, half, last: (("bay-0001", None, None), None, ROWS, None, None),
    ),
    "agreements": (
        "reference-read-agreement",
        lambda c, half, last: (("bay-0001", None, None), None, ROWS, None, None),
    ),
    "terms": ("reference-read-terms", lambda c, half, last: (("bay-0001", None, None), None, ROWS, [7], None)),
    "a till's key": ("me-read", lambda c, half, last: (1007,)),
    "schemes at a glance": ("glance", lambda c, half, last: (c.schemes[1 : ROWS + 1], True, 0, True)),
    "schemes at a glance, for a participant": ("glance", lambda c, half, last: (c.schemes[:ROWS], False, 7, False)),
}


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
@pytest.mark.parametrize("name", LISTS)
def test_a_page_reads_no_more_than_it_shows(crowd, name, mode):
    statement, values = LISTS[name]
    pages, rows = crowd.pages(statement, values(crowd, *days(crowd)), mode)
    print(f"{name}, {mode}: {pages} pages for {rows} rows")
    if statement == "tasks":  # looks into each scheme
        assert 0 < rows == ROWS and pages <= AT_ALL + 10 * len(crowd.schemes)
    else:
        assert pages <= AT_ALL + (PER_SCHEME if statement == "glance" else PER_ROW) * rows


def from_the_end(values):
    """The arguments of a list that begins with the newest, where they would begin it with the oldest."""
    return tuple(END if value == -1 and not isinstance(value, bool) else value for value in values)


END = 2**63 - 1
BOTH_WAYS = {
    name: (statement, values)
    for name, (statement, values) in LISTS.items()
    if ":onward" in next(QUERIES.rglob(f"{statement}.sql")).read_text()
}


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
@pytest.mark.parametrize("name", BOTH_WAYS)
def test_a_page_from_the_newest_on_reads_no_more(crowd, name, mode):
    """One index serves both ways."""
    statement, values = BOTH_WAYS[name]
    pages, rows = crowd.pages(statement, from_the_end(values(crowd, *days(crowd))), mode, way=embed.BACK)
    print(f"{name}, {mode}: {pages} pages for {rows} rows")
    assert pages <= AT_ALL + PER_ROW * rows
    assert (
        rows == ROWS
        or "none" in name
        or "no such" in name
        or crowd.pages(statement, values(crowd, *days(crowd)), mode)[1] < ROWS
    )


OFFICE_TASKS = (
    *("days_not_closed", "statements_missing", "bank_lines_open", "payments_held", "payments_to_approve"),
    *("payments_to_send", "payments_unconfirmed", "exceptions_open", "openings_to_approve", "journals_to_approve"),
    *("proposals_to_approve", "shipments_late", "totals_missing", "sites_to_count", "second_counts"),
    *("openings_proposed", "journals_proposed", "proposals_made"),
)
OWN_TASKS = ("payments_to_make", "payments_to_get")
PER_THING = 5  # pages: of an index and of the row, for each thing that a task counts
PER_SITE = 20  # pages: for each site that may have to be counted, or whose till may have to state its totals


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
@pytest.mark.parametrize("large", [True, False])
def test_tasks_read_no_more_than_they_count(crowd, large, mode):
    """Of each scheme some probes, and the things that wait there. They are counted here one by one."""
    schemes = crowd.schemes[:1] if large else crowd.schemes[1:]
    pages, rows = crowd.pages("tasks", (schemes, 0, 1001, OFFICE_TASKS, False, None, 30), mode)
    things = sum(
        crowd.count(f"SELECT count(*) FROM {of} AND scheme = ANY (%s)", schemes)
        for of in (
            "payment WHERE status NOT IN ('confirmed', 'failed')",
            "exception_open WHERE true",
            "bank_line_open WHERE true",
            "proposed_event WHERE status = 'open'",
            "transfer WHERE sent <> received + lost",
        )
    ) + crowd.count("SELECT count(*) FROM proposal")
    print(f"large {large}, {mode}: {pages} pages for {rows} rows of {things} things")
    assert rows >= (7 if large else len(schemes))
    sites = crowd.count("SELECT count(*) FROM site WHERE scheme = ANY (%s)", schemes)
    assert pages <= AT_ALL + 40 * len(schemes) + PER_THING * things + PER_SITE * sites
    pages, rows = crowd.pages("tasks", (schemes, 7, 1001, OWN_TASKS, False, None, 30), mode)
    assert pages <= AT_ALL + 10 * len(schemes) + PER_THING * things


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
def test_the_page_of_all_schemes_reads_some_pages_of_each(crowd, mode):
    """Of each scheme a few sums that are kept, the accounts in arrears, and the payments that wait."""
    pages, rows = crowd.pages("overview", (crowd.schemes,), mode)
    waiting = crowd.count("SELECT count(*) FROM payment WHERE status NOT IN ('confirmed', 'failed')")
    print(f"all schemes, {mode}: {pages} pages for {rows} rows, {waiting} payments wait")
    assert rows == len(crowd.schemes) and pages <= AT_ALL + PER_SCHEME * rows + PER_THING * waiting


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
def test_candidates_are_looked_for_among_the_newest(crowd, mode):
    """However many payments there are: at most 500 of each of four statuses, by an index."""
    [(line,)] = crowd.open_line
    pages, rows = crowd.pages("bank-line-candidates", (1, line), mode)
    print(f"candidates, {mode}: {pages} pages")
    assert rows == 1 and pages <= 1000


# Reports that show few rows, in a network with many accounts, events and exceptions, with the pages for each row.
REPORTS = {
    "deposit cover": ("report-deposit-cover", lambda c, half, last: (1, last), 20),
    "trial balance": ("report-trial-balance", lambda c, half, last: (1, last, None), 20),
    "trial balance of a period": ("report-trial-balance", lambda c, half, last: (1, last, half), 30),
    "income statement": ("report-income-statement", lambda c, half, last: (1, half, last), 20),
    "tax of a day": ("report-tax", lambda c, half, last: (1, last, last), 60),
    "ageing": ("report-ageing", lambda c, half, last: (2, last, None), 40),
    "withdrawable": ("report-withdrawable", lambda c, half, last: (1,), 40),
    # a payment by hand from before the first statement is in one figure, and any other in a row
    "bank reconciliation": (
        "report-bank-reconciliation",
        lambda c, half, last: (1, last + timedelta(days=9), None),
        60,
    ),
    "what does not tie at the bank": (
        "report-bank-reconciliation",
        lambda c, half, last: (1, last + timedelta(days=9), 1),
        120,
    ),
    "open exceptions of a day": ("report-exceptions", lambda c, half, last: (1, last, last, None, 1, 1, None), 20),
    "day totals of closed days": (
        "report-day-totals",
        lambda c, half, last: (1, last - timedelta(days=8), last, None, None),
        4,
    ),
    "day totals of a site": (
        "report-day-totals",
        lambda c, half, last: (1, last - timedelta(days=8), last, 7, None),
        20,
    ),
    "when sites were counted": ("report-counts", lambda c, half, last: (1, None, None), 30),
    "counts to repeat": ("report-second-counts", lambda c, half, last: (1,), 40),
    "journal summary": (
        "report-journal-summary",
        lambda c, half, last: (1, last - timedelta(days=1), last, None, None),
        20,
    ),
    "journal summary of a participant": (
        "report-participant-journal-summary",
        lambda c, half, last: (1, last - timedelta(days=1), last, 7, None, None),
        60,
    ),
    "settlement": ("report-settlement", lambda c, half, last: (1, last, None), 10),
    "stock": ("report-stock", lambda c, half, last: (1, last, None, None), 30),
    # without the day in its plan, PostgreSQL reads the sums of all sites' days instead of those of one
    "recovery of a day": ("report-recovery", lambda c, half, last: (1, last, last), 700),
    "between two schemes": ("report-between-schemes", lambda c, half, last: (1,), 40),
    "transfers": ("report-transfers", lambda c, half, last: (1, last, None, 1), 20),
    "open things of a scheme": ("report-winding-up", lambda c, half, last: (1, None), 20),
    "statements of a day": ("report-participant-statement", lambda c, half, last: (1, last, last, None, None), 30),
    "statements of account of a day": (
        "report-statement-of-account",
        lambda c, half, last: (1, last, last, None, None),
        30,
    ),
    "journal of a day": ("report-journal", lambda c, half, last: (1, last, last, None, None), 1),
    "ledger of a day": ("report-general-ledger", lambda c, half, last: (1, 1 << 48 | 1, last, last, 1, None, None), 1),
    "figures of a site": ("report-site-figures", lambda c, half, last: (1, last, last, 7, 1, None, None), 20),
    "figures of all sites": ("report-site-figures", lambda c, half, last: (1, last, last, None, None, None, None), 5),
}


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
@pytest.mark.parametrize("name", REPORTS)
def test_a_report_reads_no_more_than_it_shows(crowd, name, mode):
    statement, values, per_row = REPORTS[name]
    pages, rows = crowd.pages(statement, values(crowd, *days(crowd)), mode, "reports")
    print(f"{name}, {mode}: {pages} pages for {rows} rows")
    assert rows > 0 and pages <= AT_ALL + per_row * rows


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
def test_what_two_schemes_owe_costs_by_what_is_under_way(crowd, mode):
    """The check adds up no entry and no payment that both banks have told."""
    pages, _ = crowd.pages("check-between-money", (1,), mode, "checks")
    print(f"{mode}: {pages} pages")
    assert pages <= AT_ALL + 200


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
def test_a_plan_reads_no_old_dispatches(crowd, mode):
    """Some never balance, because more arrived than was sent, or because nobody gives up the rest."""
    last = crowd.last
    values = (1, last - timedelta(days=1), last, last)
    before, rows = crowd.pages("plan-cells", values, mode)
    crowd.cursor.execute("BEGIN")
    crowd.cursor.execute(
        """INSERT INTO transfer (scheme, dispatch, cup_type, damaged, business_date, sender, receiver, sent, received)
           SELECT 1, -n, 1, false, %s, 1, 2, 1, 2 FROM generate_series(1, 20000) AS n""",
        [last - timedelta(days=30)],  # before all entries
    )
    after, rows_after = crowd.pages("plan-cells", values, mode)
    crowd.cursor.execute("ROLLBACK")
    print(f"{mode}: {before} pages for {rows} rows, {after} with old dispatches")
    assert rows == rows_after > 0 and after <= before + 20


def nodes(plan):
    yield plan
    for below in plan.get("Plans", ()):
        yield from nodes(below)


@pytest.mark.parametrize("mode", ["force_custom_plan", "force_generic_plan"])
def test_the_check_of_some_days_reads_no_other_entries(crowd, mode):
    """Of 20,000 entries it takes those of one day, once, by the primary key."""
    plan = crowd.plan("check-month-matches", (1, crowd.last, crowd.last), mode, "checks")
    first, last = crowd.entries_of_last
    scans = [node for node in nodes(plan) if node.get("Relation Name") == "entry"]
    print(f"{mode}: {[(scan['Node Type'], scan['Actual Rows']) for scan in scans]}")
    [scan] = scans
    assert scan.get("Index Name") == "entry_pkey" and scan.get("Rows Removed by Filter", 0) == 0
    assert 0 < scan["Actual Rows"] * scan["Actual Loops"] == last - first <= CROWD.entries / 2


def test_every_report_that_reads_entries_is_among_them():
    """All others read figures that are kept by account or by day."""
    reading = {
        path.stem
        for path in (SQL / "reports").glob("*.sql")
        if re.search(r"\b(?:FROM|JOIN) (?:entry|leg)\b", re.sub(r"--.*", "", path.read_text()))
    }
    unbounded = reading - {statement for statement, *_ in REPORTS.values()}
    assert reading and not unbounded, "REPORTS in tests/http/test_costs.py"


def test_every_list_is_among_them():
    paged = {
        p.stem for p in QUERIES.rglob("*.sql") if re.search(r"LIMIT \$\d", p.read_text()) and "after" in p.read_text()
    }
    assert paged and paged <= {statement for statement, _ in LISTS.values()}
