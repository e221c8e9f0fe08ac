/* SPDX-License-Identifier: ISC */
/* One function per statement: its parameters in their order, and its row. */
#include "store/reference_store.h"

#include "sql.h"
#include "store/pg_ask.h"

#include <stdio.h>

const char *const netting_words[] = {[NETTING_CENTRAL] = "central", [NETTING_DIRECT] = "direct", NULL};
const char *const bearing_words[] = {"absorb", "charge", NULL};
const char *const stock_terms_words[] = {[ON_LOAN] = "on_loan", [ON_DEPOSIT] = "on_deposit", NULL};
#define X(name, word) #word,
const char *const loss_bearer_words[] = {BEARER_TABLE(X) NULL};
#undef X
const char *const site_kind_words[] = {
    [SITE_CAFE] = "cafe",
    [SITE_RETURN_POINT] = "return_point",
    [SITE_HUB] = "hub",
    [SITE_KINDS] = NULL,
};

/* For statements that touch no row if nothing changes. */
static enum store_result run_change(struct pg *pg, const struct sql *sql, struct pg_args args, bool *changed)
{
    int64_t count = 0;
    enum store_result result = pg_ask(pg, sql, args, pg_touched(&count));
    *changed = *changed || count > 0;
    return result;
}

enum store_result store_reference_lock(struct pg *pg, const struct change_author *author, struct instant now,
                                       int64_t *version)
{
    enum store_result result =
        pg_ask(pg, &sql_reference_lock_network, PG_NO_ARGS, pg_one(NULL, take_int, version));
    if (result == STORE_OK)
        result = pg_run(pg, &sql_reference_begin_changes,
                        PG_ARGS(arg_int(author->key), arg_instant(now), arg_text(author->why),
                                arg_int(author->proposal)));
    if (result == STORE_OK)
        result = pg_run(pg, &sql_reference_lock_heads, PG_NO_ARGS);
    return result == STORE_OK ? pg_run(pg, &sql_reference_mark_heads, PG_ARGS(arg_int(*version))) : result;
}

/* --- facts ---------------------------------------------------------------------------------------------- */

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

enum store_result store_scheme_facts(struct pg *pg, const struct scheme_row *row, struct scheme_facts *facts)
{
    static const struct bank_account none = {0};
    const struct bank_account *bank = row->has_operator ? &row->operator.bank_account : & none;
    return pg_ask(pg, &sql_reference_facts_scheme,
                  PG_ARGS(arg_text(row->scheme), arg_text(row->currency), arg_text(row->time_zone),
                          arg_int(row->cut_off), arg_text(stock_terms_words[row->stock_terms]),
                          arg_text(bank->iban), arg_text(bank->account), arg_text(bank->bank_code),
                          arg_date_if(row->has_closed_on, row->closed_on)),
                  pg_one(NULL, take_scheme_facts, facts));
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

enum store_result store_dating_facts(struct pg *pg, const char *scheme, const char *cup_type,
                                     struct date effective_date, struct dating_facts *facts)
{
    return pg_ask(pg, &sql_reference_facts_dating,
                  PG_ARGS(arg_text(scheme), arg_text(cup_type), arg_date(effective_date)),
                  pg_one(NULL, take_dating_facts, facts));
}

static void take_site_facts(struct pg_row *row, void *into)
{
    struct site_facts *facts = into;
    facts->scheme_known = row_bool(row);
    facts->participant_known = row_bool(row);
    facts->scheme_changes = row_bool(row);
    facts->participant_changes = row_bool(row);
    facts->posted = row_bool(row);
    facts->kind_fixed = row_bool(row);
    facts->unknown_cup_types = row_ints(row, &facts->unknown_cup_type_count);
}

enum store_result store_site_facts(struct pg *pg, struct arena *arena, const struct site_row *row,
                                   struct site_facts *facts)
{
    const struct par_stock_row *stock = row->par_stock.items;
    return pg_ask(pg, &sql_reference_facts_site,
                  PG_ARGS(arg_text(row->site), arg_text(row->scheme), arg_text(row->participant),
                          arg_codes(COLUMN(stock, row->par_stock.count, cup_type)),
                          arg_text(site_kind_words[row->kind])),
                  pg_one(arena, take_site_facts, facts));
}

static void take_office_accounts_facts(struct pg_row *row, void *into)
{
    struct office_accounts_facts *facts = into;
    facts->scheme_known = row_bool(row);
    facts->numbers = row_ints(row, &facts->count);
}

enum store_result store_office_accounts_facts(struct pg *pg, struct arena *arena, const char *scheme,
                                              const struct office_accounts_row *row,
                                              struct office_accounts_facts *facts)
{
    const struct office_account_row *accounts = row->accounts.items;
    return pg_ask(pg, &sql_reference_facts_office_accounts,
                  PG_ARGS(arg_text(scheme), arg_texts(COLUMN(accounts, row->accounts.count, account))),
                  pg_one(arena, take_office_accounts_facts, facts));
}

enum store_result store_registration_fixed(struct pg *pg, const struct participant_row *row, bool *fixed)
{
    *fixed = false;
    return pg_ask(
        pg, &sql_reference_facts_registration,
        PG_ARGS(arg_text(row->participant), arg_bool_if(row->has_tax_registered, row->tax_registered)),
        pg_maybe(NULL, take_bool, fixed, NULL));
}

static void take_starting_facts(struct pg_row *row, void *into)
{
    struct starting_facts *facts = into;
    facts->known = row_bool(row);
    facts->has_begun = row_bool(row);
}

enum store_result store_starting_facts(struct pg *pg, const char *participant, const char *site,
                                       struct date effective_date, struct starting_facts *facts)
{
    return pg_ask(pg, &sql_reference_facts_starting,
                  PG_ARGS(arg_text(participant), arg_text(site), arg_date(effective_date)),
                  pg_one(NULL, take_starting_facts, facts));
}

static void take_fee_facts(struct pg_row *row, void *into)
{
    struct fee_facts *facts = into;
    facts->unknown_participants = row_ints(row, &facts->unknown_participant_count);
    facts->unknown_cup_types = row_ints(row, &facts->unknown_cup_type_count);
}

enum store_result store_fee_facts(struct pg *pg, struct arena *arena, const struct reference_list *fees,
                                  struct fee_facts *facts)
{
    const struct fee_row_row *rows = fees->items;
    return pg_ask(pg, &sql_reference_facts_fees,
                  PG_ARGS(arg_codes(COLUMN(rows, fees->count, participant)),
                          arg_codes(COLUMN(rows, fees->count, cup_type))),
                  pg_one(arena, take_fee_facts, facts));
}

/* --- putting rows --------------------------------------------------------------------------------------- */

enum store_result store_put_cup_type(struct pg *pg, const struct cup_type_row *row, bool *changed)
{
    return run_change(pg, &sql_reference_put_cup_type,
                      PG_ARGS(arg_text(row->cup_type), arg_text(row->name), arg_int(row->volume_ml),
                              arg_int(row->mass_g), arg_text(row->grai)),
                      changed);
}

enum store_result store_put_participant(struct pg *pg, const struct participant_row *row, bool *changed)
{
    const struct bank_account *account = &row->bank_account;
    return run_change(pg, &sql_reference_put_participant,
                      PG_ARGS(arg_text(row->participant), arg_text(row->name), arg_text(account->iban),
                              arg_text(account->account), arg_text(account->bank_code), arg_text(row->bic),
                              arg_bool_if(row->has_tax_registered, row->tax_registered),
                              arg_text(row->mandate.id),
                              arg_date_if(row->has_mandate, row->mandate.signed_on)),
                      changed);
}

enum store_result store_put_scheme(struct pg *pg, const struct scheme_row *row, unsigned decimals,
                                   int64_t version, bool *changed)
{
    const struct bank_account *account = &row->operator.bank_account;
    const struct date *holidays = row->holidays.items;
    enum store_result result = run_change(
        pg, &sql_reference_put_scheme,
        PG_ARGS(arg_text(row->scheme), arg_text(row->currency), arg_int(decimals), arg_text(row->time_zone),
                arg_int(row->cut_off), arg_int_if(row->has_close_after_minutes, row->close_after_minutes),
                arg_text(stock_terms_words[row->stock_terms]),
                arg_int_if(row->has_return_target, row->return_target.ppm),
                arg_bool_if(row->has_dual_control, row->dual_control), arg_int(row->count_tolerance),
                arg_int_if(row->has_variance_limit, row->variance_limit.unscaled),
                arg_int_if(row->has_carry_days, row->carry_days), arg_text(row->operator.name),
                arg_text(account->iban), arg_text(account->account), arg_text(account->bank_code),
                arg_text(row->operator.bic), arg_text(row->operator.creditor_id),
                arg_dates(ARRAY(holidays, row->holidays.count)),
                arg_date_if(row->has_closed_on, row->closed_on),
                arg_text(row->has_loss_bearer ? loss_bearer_words[row->loss_bearer] : NULL),
                arg_int_if(row->has_group, row->group)),
        changed);
    if (result != STORE_OK)
        return result;
    return pg_run(pg, &sql_reference_add_head, PG_ARGS(arg_text(row->scheme), arg_int(version)));
}

enum store_result store_put_terms(struct pg *pg, const char *scheme, const struct terms_row *row,
                                  bool *changed)
{
    const struct fee_row_row *fees = row->fees.items;
    size_t count = row->fees.count;
    const char *kinds[FEE_ROWS_MAX];
    for (size_t i = 0; i < count; i++)
        kinds[i] = fees[i].has_site_kind ? site_kind_words[fees[i].site_kind] : NULL;
    return run_change(
        pg, &sql_reference_put_terms,
        PG_ARGS(arg_text(scheme), arg_date(row->effective_date), arg_text(netting_words[row->netting]),
                arg_int(row->minimum_payment.unscaled), arg_int(row->service_fee.unscaled),
                arg_int(row->handling_fee.unscaled), arg_int(row->tax_rate.ppm),
                arg_text(bearing_words[row->shortage_terms]), arg_text(bearing_words[row->variance_terms]),
                arg_int_if(row->has_monthly_fee, row->monthly_fee.unscaled),
                arg_codes(COLUMN(fees, count, participant)), arg_texts(ARRAY(kinds, count)),
                arg_codes(COLUMN(fees, count, cup_type)), arg_bools(COLUMN(fees, count, has_service_fee)),
                arg_int8s(COLUMN(fees, count, service_fee.unscaled)),
                arg_bools(COLUMN(fees, count, has_handling_fee)),
                arg_int8s(COLUMN(fees, count, handling_fee.unscaled)),
                arg_bools(COLUMN(fees, count, has_monthly_fee)),
                arg_int8s(COLUMN(fees, count, monthly_fee.unscaled)), arg_int(row->pay_days.weekdays),
                arg_int(row->pay_days.month_days)),
        changed);
}

enum store_result store_put_refund_value(struct pg *pg, const char *scheme,
                                         const struct refund_value_row *row, bool *changed)
{
    return run_change(pg, &sql_reference_put_refund_value,
                      PG_ARGS(arg_text(scheme), arg_text(row->cup_type), arg_date(row->effective_date),
                              arg_int(row->amount.unscaled)),
                      changed);
}

enum store_result store_put_office_accounts(struct pg *pg, const char *scheme,
                                            const struct office_accounts_row *row, const int64_t *numbers,
                                            bool *changed)
{
    const struct office_account_row *accounts = row->accounts.items;
    return run_change(pg, &sql_reference_put_office_accounts,
                      PG_ARGS(arg_text(scheme), arg_date(row->effective_date),
                              arg_int8s(ARRAY(numbers, row->accounts.count)),
                              arg_texts(COLUMN(accounts, row->accounts.count, code)),
                              arg_texts(COLUMN(accounts, row->accounts.count, name))),
                      changed);
}

enum { DEGREES_TEXT_MAX = 32 };

/* Writes enough digits that the same number comes back. */
static const char *degrees_text(bool present, double degrees, char text[static DEGREES_TEXT_MAX])
{
    if (!present)
        return NULL;
    snprintf(text, DEGREES_TEXT_MAX, "%.17g", degrees);
    return text;
}

enum store_result store_put_site(struct pg *pg, const struct site_row *row, bool *changed)
{
    char latitude[DEGREES_TEXT_MAX], longitude[DEGREES_TEXT_MAX];
    const struct par_stock_row *stock = row->par_stock.items;
    return run_change(pg, &sql_reference_put_site,
                      PG_ARGS(arg_text(row->site), arg_text(row->scheme), arg_text(row->participant),
                              arg_text(row->name), arg_text(site_kind_words[row->kind]),
                              arg_date(row->opened_on), arg_date_if(row->has_closed_on, row->closed_on),
                              arg_text(degrees_text(row->has_latitude, row->latitude, latitude)),
                              arg_text(degrees_text(row->has_longitude, row->longitude, longitude)),
                              arg_text(row->gln), arg_codes(COLUMN(stock, row->par_stock.count, cup_type)),
                              arg_int8s(COLUMN(stock, row->par_stock.count, quantity)),
                              arg_int_if(row->has_count_days, row->count_days)),
                      changed);
}

enum store_result store_put_tax_registration(struct pg *pg, const struct tax_registration_row *row,
                                             bool *changed)
{
    return run_change(
        pg, &sql_reference_put_tax_registration,
        PG_ARGS(arg_text(row->participant), arg_date(row->effective_date), arg_bool(row->tax_registered)),
        changed);
}

enum store_result store_put_site_kind(struct pg *pg, const struct site_kind_row *row, bool *changed)
{
    return run_change(
        pg, &sql_reference_put_site_kind,
        PG_ARGS(arg_text(row->site), arg_date(row->effective_date), arg_text(site_kind_words[row->kind])),
        changed);
}

enum store_result store_forget_days(struct pg *pg, const char *scheme)
{
    return pg_run(pg, &sql_reference_forget_days, PG_ARGS(arg_text(scheme)));
}

/* The statement that reads each kind of data, and whether its rows depend on the key. */
static const struct {
    const struct sql *sql;
    bool by_reader;
} reads[] = {
    [REFERENCE_CUP_TYPE] = {&sql_reference_read_cup_type, false},
    [REFERENCE_PARTICIPANT] = {&sql_reference_read_participant, true},
    [REFERENCE_SCHEME] = {&sql_reference_read_scheme, true},
    [REFERENCE_TERMS] = {&sql_reference_read_terms, true},
    [REFERENCE_REFUND_VALUE] = {&sql_reference_read_refund_value, true},
    [REFERENCE_SITE] = {&sql_reference_read_site, true},
    [REFERENCE_OFFICE_ACCOUNTS] = {&sql_reference_read_office_accounts, true},
    [REFERENCE_TAX_REGISTRATION] = {&sql_reference_read_tax_registration, true},
    [REFERENCE_SITE_KIND] = {&sql_reference_read_site_kind, true},
    [REFERENCE_AGREEMENT] = {&sql_reference_read_agreement, true},
};

enum store_result store_reference_read(struct pg *pg, const struct reference_query *query,
                                       struct buffer *json, struct json_slice *slice)
{
    const struct identity *reader = query->reader;
    enum role_reach reach = role_reach(reader->role);
    struct pg_args args = PG_ARGS(
        arg_texts(ARRAY(query->names, REFERENCE_NAMES_MAX)), arg_text(query->after), arg_limit(query->limit),
        reach == REACH_SITES ? arg_int4s(ARRAY(reader->sites, reader->site_count)) : arg_null(),
        arg_int_if(reach == REACH_PARTICIPANT, reader->participant));
    if (!reads[query->kind].by_reader)
        args.count -= 2; /* the reader */
    return json_slice_read(pg, reads[query->kind].sql, args, query->limit, json, slice);
}
