# SPDX-License-Identifier: ISC
"""Checks, reports and messages that list accounts have each account that their list is about. The table of accounts
says which those are. An account that such a list lacks would be missing from figures, and nothing else would fail."""
import re

import pytest

from test_text import TOP

ROW = re.compile(r"^    X\((\w+), (\w+), \d+, SCOPE_(\w+), (\w+), (\w+), (\w+)\)", re.MULTILINE)
COVER = ["sql/checks/check-deposit-cover.sql", "sql/reports/report-deposit-cover.sql"]
JOURNALS = ["src/http/events/event_body.c", "src/app/posting/record_legs.c"]
LEDGER = "sql/reports/report-general-ledger.sql"
LEG_SITE = "sql/checks/check-entries-match-events.sql"
STOCK = ["sql/reports/report-stock.sql", "src/report/report.c"]


def text_of(path):
    return (TOP / path).read_text()


ACCOUNTS = ROW.findall(text_of("include/depositd/account.h"))


def words(chosen):
    """The words of the accounts whose scope, class, place of cups and openness to journals are as wanted."""
    found = {word for _, word, *members in ACCOUNTS if chosen(*members)}
    assert found
    return found


def of_site(scope, *_):
    return scope.startswith("SITE")


def listed(text):
    return set(re.findall(r":account_(\w+)", text))


def test_the_table_is_read():
    assert len(ACCOUNTS) == len(re.findall(r"^    X\(", text_of("include/depositd/account.h"), re.MULTILINE)) > 20


@pytest.mark.parametrize("path", COVER)
def test_deposit_cover_has_all_cups_in_the_pool_and_all_deposits(path):
    in_pool = words(lambda scope, kind, holds, _: holds in ("STOCK", "TRANSIT", "OUT"))
    deposits = {word for _, word, *_ in ACCOUNTS if word.endswith("_deposits")}
    assert listed(text_of(path)) - {"first_cups"} == in_pool | deposits, path


def test_the_site_of_an_entry_follows_from_all_accounts_of_sites():
    assert listed(text_of(LEG_SITE)) == words(of_site), LEG_SITE


def test_the_general_ledger_looks_for_each_account_where_its_entries_are():
    """It reads entries of the counter only for the accounts in its lists, and openings for those of sites."""
    rules = text_of("src/domain/posting_rules.c")
    moved, opened = (
        {name.lower() for name in re.findall(rf"{kinds},.*?\bACCOUNT_(\w+)", rules)}
        for kinds in (r"\{AT_COUNTER", r"\{ON\(OPENING\)")
    )
    anywhere, at_site, at_site_by_opening = (
        listed(found) for found in re.findall(r"account_kind_of\(\$2\) IN \(([^()]*)\)", text_of(LEDGER))
    )
    assert at_site == words(of_site), LEDGER
    assert anywhere == moved - at_site and len(anywhere) > 2, LEDGER
    assert at_site_by_opening == opened & at_site and len(at_site_by_opening) > 2, LEDGER


@pytest.mark.parametrize("path", STOCK)
def test_the_report_of_stock_names_each_place_outside_sites(path):
    places = words(lambda scope, kind, holds, _: holds != "MONEY" and scope == "CUP_TYPE")
    lists = [
        set(re.findall(r"\w+", found)) for found in re.findall(r"with_customers'?, .*? \S*supply\b", text_of(path))
    ]
    assert [found - {"or"} for found in lists] == [places], path


@pytest.mark.parametrize("path", JOURNALS)
def test_a_refused_journal_is_told_all_accounts_that_it_may_move(path):
    joined = re.sub(r'"\s+"', "", text_of(path))  # adjacent literals are one text
    [told] = re.findall(r'"([^"]*\bbank, bank_suspense\b[^"]*)"', joined)
    open_ = {word for _, word, _, kind, _, journals in ACCOUNTS if journals == "OPEN" and f"{kind}" not in told}
    shut = {word for _, word, _, _, _, journals in ACCOUNTS if journals == "SHUT"}
    named = set(re.findall(r"\w+", told))
    assert open_ <= named and not shut & named, path
