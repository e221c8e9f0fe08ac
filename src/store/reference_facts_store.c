/* SPDX-License-Identifier: ISC */
/* One function per statement: its arrays, and its row for each item. */
#include "store/reference_facts_store.h"

#include "sql.h"
#include "store/pg_ask.h"
#include "store/reference_columns.h"

static void take_scheme_facts(struct pg_row *row, void *into)
{
    struct scheme_facts *facts = into;
    facts->posted_or_closed = row_bool(row);
    facts->currency_changes = row_bool(row);
    facts->time_zone_changes = row_bool(row);
    facts->cut_off_changes = row_bool(row);
    facts->stock_terms_changes = row_bool(row);
    facts->time_zone_known = row_bool(row);
    bool in_use = !row_is_null(row);
    facts->decimals_in_use = row_int32_or_0(row);
    if (!in_use)
        facts->decimals_in_use = -1;
    facts->shares_bank_account = row_bool(row);
    facts->ends_too_soon = row_bool(row);
}

enum store_result store_scheme_facts(struct pg *pg, struct arena *arena, struct reference_items schemes,
                                     struct scheme_facts *facts)
{
    size_t count = schemes.count;
    const struct scheme_row *rows = column_rows(arena, schemes, sizeof *rows);
    return pg_ask(pg, &sql_reference_facts_scheme,
                  PG_ARGS(arg_codes(COLUMN(rows, count, scheme)), arg_texts(COLUMN(rows, count, currency)),
                          arg_texts(COLUMN(rows, count, time_zone)), arg_int8s(COLUMN(rows, count, cut_off)),
                          arg_texts(ARRAY(WORDS(arena, stock_terms_words, rows, count, stock_terms), count)),
                          arg_texts(COLUMN(rows, count, operator.bank_account.iban)),
                          arg_texts(COLUMN(rows, count, operator.bank_account.account)),
                          arg_texts(COLUMN(rows, count, operator.bank_account.bank_code)),
                          arg_bools(COLUMN(rows, count, has_closed_on)),
                          arg_dates(COLUMN(rows, count, closed_on))),
                  pg_fill(take_scheme_facts, facts, sizeof *facts, count));
}

static void take_dating_facts(struct pg_row *row, void *into)
{
    struct dating_facts *facts = into;
    facts->scheme_known = row_bool(row);
    facts->cup_type_known = row_bool(row);
    facts->decimals = row_int32_or_0(row);
    facts->posted = row_bool(row);
    facts->posted_or_closed = row_bool(row);
    facts->starts_in_time = row_bool(row);
    facts->first_of_open_day = row_bool(row);
    facts->too_long_ago = row_bool(row);
    facts->before_the_days_made = row_bool(row);
}

enum store_result store_dating_facts(struct pg *pg, const struct dated_value *values, size_t count,
                                     struct dating_facts *facts)
{
    return pg_ask(pg, &sql_reference_facts_dating,
                  PG_ARGS(arg_texts(COLUMN(values, count, scheme)),
                          arg_texts(COLUMN(values, count, cup_type)),
                          arg_dates(COLUMN(values, count, effective_date))),
                  pg_fill(take_dating_facts, facts, sizeof *facts, count));
}

static void take_site_facts(struct pg_row *row, void *into)
{
    struct site_facts *facts = into;
    facts->scheme_known = row_bool(row);
    facts->participant_known = row_bool(row);
    facts->scheme_changes = row_bool(row);
    facts->participant_changes = row_bool(row);
    facts->kind_changes = row_bool(row);
    facts->posted = row_bool(row);
    facts->kind_fixed = row_bool(row);
}

enum store_result store_site_facts(struct pg *pg, struct arena *arena, struct reference_items sites,
                                   struct site_facts *facts)
{
    size_t count = sites.count;
    const struct site_row *rows = column_rows(arena, sites, sizeof *rows);
    return pg_ask(pg, &sql_reference_facts_site,
                  PG_ARGS(arg_codes(COLUMN(rows, count, site)), arg_codes(COLUMN(rows, count, scheme)),
                          arg_codes(COLUMN(rows, count, participant)),
                          arg_texts(ARRAY(WORDS(arena, site_kind_words, rows, count, kind), count))),
                  pg_fill(take_site_facts, facts, sizeof *facts, count));
}

static void take_registration_facts(struct pg_row *row, void *into)
{
    struct registration_facts *facts = into;
    facts->changes = row_bool(row);
    facts->fixed = row_bool(row);
}

enum store_result store_registration_facts(struct pg *pg, struct arena *arena,
                                           struct reference_items participants,
                                           struct registration_facts *facts)
{
    size_t count = participants.count;
    const struct participant_row *rows = column_rows(arena, participants, sizeof *rows);
    return pg_ask(pg, &sql_reference_facts_registration,
                  PG_ARGS(arg_codes(COLUMN(rows, count, participant)),
                          arg_bools(COLUMN(rows, count, has_tax_registered)),
                          arg_bools(COLUMN(rows, count, tax_registered))),
                  pg_fill(take_registration_facts, facts, sizeof *facts, count));
}

static void take_starting_facts(struct pg_row *row, void *into)
{
    struct starting_facts *facts = into;
    facts->known = row_bool(row);
    facts->has_begun = row_bool(row);
}

enum store_result store_starting_facts(struct pg *pg, const struct starting_value *values, size_t count,
                                       struct starting_facts *facts)
{
    return pg_ask(pg, &sql_reference_facts_starting,
                  PG_ARGS(arg_codes(COLUMN(values, count, participant)),
                          arg_codes(COLUMN(values, count, site)),
                          arg_dates(COLUMN(values, count, effective_date))),
                  pg_fill(take_starting_facts, facts, sizeof *facts, count));
}

static void take_unknown_codes(struct pg_row *row, void *into)
{
    struct unknown_codes *unknown = into;
    unknown->participants = row_ints(row, &unknown->participant_count);
    unknown->cup_types = row_ints(row, &unknown->cup_type_count);
}

enum store_result store_unknown_codes(struct pg *pg, struct arena *arena, const struct named_codes *named,
                                      size_t count, struct unknown_codes *unknown)
{
    return pg_ask(
        pg, &sql_reference_facts_codes,
        PG_ARGS(arg_codes(COLUMN(named, count, participant)), arg_codes(COLUMN(named, count, cup_type))),
        pg_one(arena, take_unknown_codes, unknown));
}

/* The name of an account, with the place of its list, from 1. */
struct named_account {
    int64_t place;
    const char *account;
};

static struct named_account *list_names(struct arena *arena, struct reference_items lists, size_t *count)
{
    size_t filled = 0;
    *count = 0;
    for (size_t i = 0; i < lists.count; i++)
        *count += ((const struct office_accounts_row *)lists.items[i].row)->accounts.count;
    struct named_account *named = arena_array(arena, *count, sizeof *named);
    for (size_t i = 0; named != NULL && i < lists.count; i++) {
        const struct office_accounts_row *row = lists.items[i].row;
        const struct office_account_row *accounts = row->accounts.items;
        for (size_t k = 0; k < row->accounts.count; k++)
            named[filled++] = (struct named_account){(int64_t)i + 1, accounts[k].account};
    }
    return named;
}

enum store_result store_office_account_numbers(struct pg *pg, struct arena *arena,
                                               struct reference_items lists, int64_t **numbers)
{
    size_t count, found;
    const struct named_account *named = list_names(arena, lists, &count);
    return pg_ask(pg, &sql_reference_facts_office_accounts,
                  PG_ARGS(arg_texts(COLUMN(lists.items, lists.count, scheme)),
                          arg_int8s(COLUMN(named, count, place)), arg_texts(COLUMN(named, count, account))),
                  PG_LIST(arena, take_int, NULL, numbers, &found));
}
