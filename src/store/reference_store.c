/* SPDX-License-Identifier: ISC */
/* One function per statement: its parameters in their order, and its row. */
#include "store/reference_store.h"

#include "sql.h"

#include <stdio.h>

const char *const netting_words[] = {"central", "direct", NULL};
const char *const bearing_words[] = {"absorb", "charge", NULL};
const char *const stock_terms_words[] = {"on_loan", "on_deposit", NULL};
const char *const site_kind_words[] = {"cafe", "return_point", "hub", NULL};

static void add_int_if(struct pg_params *params, bool present, int64_t number)
{
    if (present)
        pg_add_int(params, number);
    else
        pg_add_null(params);
}

static void add_bool_if(struct pg_params *params, bool present, bool value)
{
    if (present)
        pg_add_bool(params, value);
    else
        pg_add_null(params);
}

static void add_date_if(struct pg_params *params, bool present, struct date date)
{
    if (present)
        pg_add_date(params, date);
    else
        pg_add_null(params);
}

static void add_bank_account(struct pg_params *params, const struct bank_account *account)
{
    pg_add_text(params, account->iban);
    pg_add_text(params, account->account);
    pg_add_text(params, account->bank_code);
}

/* For statements that touch no row when nothing changes. */
static enum store_result run_change(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                    bool *changed)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_query(pg, sql, params, &rows);
    if (result == STORE_OK && pg_affected(rows) > 0)
        *changed = true;
    return result;
}

static enum store_result begin_changes(struct pg *pg, const struct change_author *author, struct instant now)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, author->key);
    pg_add_instant(&params, now);
    pg_add_text(&params, author->why);
    pg_add_int(&params, author->proposal);
    return pg_query(pg, &sql_reference_begin_changes, &params, NULL);
}

enum store_result store_reference_lock(struct pg *pg, const struct change_author *author, struct instant now,
                                       int64_t *version)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    enum store_result result = pg_query(pg, &sql_reference_lock_network, NULL, &rows);
    if (result != STORE_OK)
        return result;
    *version = pg_int(rows, 0, 0);
    pg_params_init(&params, NULL);
    pg_add_int(&params, *version);
    result = begin_changes(pg, author, now);
    if (result == STORE_OK)
        result = pg_query(pg, &sql_reference_lock_heads, NULL, NULL);
    return result == STORE_OK ? pg_query(pg, &sql_reference_mark_heads, &params, NULL) : result;
}

enum store_result store_scheme_facts(struct pg *pg, const struct scheme_row *row, struct scheme_facts *facts)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, row->scheme);
    pg_add_text(&params, row->currency);
    pg_add_text(&params, row->time_zone);
    pg_add_int(&params, row->cut_off);
    pg_add_text(&params, stock_terms_words[row->stock_terms]);
    enum store_result result = pg_query(pg, &sql_reference_facts_scheme, &params, &rows);
    if (result == STORE_OK)
        *facts = (struct scheme_facts){
            .posted_or_closed = pg_bool(rows, 0, 0),
            .currency_changes = pg_bool(rows, 0, 1),
            .time_zone_changes = pg_bool(rows, 0, 2),
            .cut_off_changes = pg_bool(rows, 0, 3),
            .stock_terms_changes = pg_bool(rows, 0, 4),
            .time_zone_known = pg_bool(rows, 0, 5),
            .decimals_in_use = pg_is_null(rows, 0, 6) ? -1 : (int)pg_int(rows, 0, 6),
        };
    return result;
}

enum store_result store_dating_facts(struct pg *pg, const char *scheme, const char *cup_type,
                                     struct date effective_date, struct dating_facts *facts)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, scheme);
    pg_add_text(&params, cup_type);
    pg_add_date(&params, effective_date);
    enum store_result result = pg_query(pg, &sql_reference_facts_dating, &params, &rows);
    if (result == STORE_OK)
        *facts = (struct dating_facts){
            .scheme_known = pg_bool(rows, 0, 0),
            .cup_type_known = pg_bool(rows, 0, 1),
            .decimals = (int)pg_int(rows, 0, 2),
            .posted = pg_bool(rows, 0, 3),
            .posted_or_closed = pg_bool(rows, 0, 4),
            .starts_in_time = pg_bool(rows, 0, 5),
            .first_of_open_day = pg_bool(rows, 0, 6),
            .too_long_ago = pg_bool(rows, 0, 7),
            .before_the_days_made = pg_bool(rows, 0, 8),
        };
    return result;
}

/* The par stock as two parallel arrays. */
static void add_par_stock(struct pg_params *params, const struct reference_list *list, bool quantities)
{
    const struct par_stock_row *items = list->items;
    const char **codes = arena_array(params->arena, list->count + 1, sizeof *codes);
    int64_t *numbers = arena_array(params->arena, list->count + 1, sizeof *numbers);
    if (codes == NULL || numbers == NULL) {
        params->failed = true;
        return;
    }
    for (size_t i = 0; i < list->count; i++) {
        codes[i] = items[i].cup_type;
        numbers[i] = items[i].quantity;
    }
    pg_add_text_array(params, codes, list->count);
    if (quantities)
        pg_add_int8_array(params, numbers, list->count);
}

enum store_result store_site_facts(struct pg *pg, struct arena *arena, const struct site_row *row,
                                   struct site_facts *facts)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text(&params, row->site);
    pg_add_text(&params, row->scheme);
    pg_add_text(&params, row->participant);
    add_par_stock(&params, &row->par_stock, false);
    enum store_result result = pg_query(pg, &sql_reference_facts_site, &params, &rows);
    if (result != STORE_OK)
        return result;
    *facts = (struct site_facts){
        .scheme_known = pg_bool(rows, 0, 0),
        .participant_known = pg_bool(rows, 0, 1),
        .scheme_changes = pg_bool(rows, 0, 2),
        .participant_changes = pg_bool(rows, 0, 3),
        .posted = pg_bool(rows, 0, 4),
    };
    bool read = pg_int8_list(rows, 0, 5, arena, &facts->unknown_cup_types, &facts->unknown_cup_type_count);
    return read ? STORE_OK : STORE_FAILED;
}

enum store_result store_put_cup_type(struct pg *pg, const struct cup_type_row *row, bool *changed)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, row->cup_type);
    pg_add_text(&params, row->name);
    pg_add_int(&params, row->volume_ml);
    pg_add_int(&params, row->mass_g);
    pg_add_text(&params, row->grai);
    return run_change(pg, &sql_reference_put_cup_type, &params, changed);
}

enum store_result store_put_participant(struct pg *pg, const struct participant_row *row, bool *changed)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, row->participant);
    pg_add_text(&params, row->name);
    add_bank_account(&params, &row->bank_account);
    pg_add_text(&params, row->bic);
    add_bool_if(&params, row->has_tax_registered, row->tax_registered);
    pg_add_text(&params, row->mandate.id);
    add_date_if(&params, row->has_mandate, row->mandate.signed_on);
    return run_change(pg, &sql_reference_put_participant, &params, changed);
}

enum store_result store_put_scheme(struct pg *pg, struct arena *arena, const struct scheme_row *row,
                                   unsigned decimals, int64_t version, bool *changed)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text(&params, row->scheme);
    pg_add_text(&params, row->currency);
    pg_add_int(&params, decimals);
    pg_add_text(&params, row->time_zone);
    pg_add_int(&params, row->cut_off);
    add_int_if(&params, row->has_close_after_minutes, row->close_after_minutes);
    pg_add_text(&params, stock_terms_words[row->stock_terms]);
    add_int_if(&params, row->has_return_target, row->return_target.ppm);
    add_bool_if(&params, row->has_dual_control, row->dual_control);
    pg_add_int(&params, row->count_tolerance);
    add_int_if(&params, row->has_variance_limit, row->variance_limit.unscaled);
    add_int_if(&params, row->has_carry_days, row->carry_days);
    pg_add_text(&params, row->operator.name);
    add_bank_account(&params, &row->operator.bank_account);
    pg_add_text(&params, row->operator.bic);
    pg_add_text(&params, row->operator.creditor_id);
    pg_add_date_array(&params, row->holidays.items, row->holidays.count);
    enum store_result result = run_change(pg, &sql_reference_put_scheme, &params, changed);
    if (result != STORE_OK)
        return result;
    pg_params_init(&params, NULL);
    pg_add_text(&params, row->scheme);
    pg_add_int(&params, version);
    return pg_query(pg, &sql_reference_add_head, &params, NULL);
}

enum store_result store_put_terms(struct pg *pg, const char *scheme, const struct terms_row *row,
                                  bool *changed)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, scheme);
    pg_add_date(&params, row->effective_date);
    pg_add_text(&params, netting_words[row->netting]);
    pg_add_int(&params, row->minimum_payment.unscaled);
    pg_add_int(&params, row->service_fee.unscaled);
    pg_add_int(&params, row->handling_fee.unscaled);
    pg_add_int(&params, row->tax_rate.ppm);
    pg_add_text(&params, bearing_words[row->shortage_terms]);
    pg_add_text(&params, bearing_words[row->variance_terms]);
    return run_change(pg, &sql_reference_put_terms, &params, changed);
}

enum store_result store_put_refund_value(struct pg *pg, const char *scheme,
                                         const struct refund_value_row *row, bool *changed)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, scheme);
    pg_add_text(&params, row->cup_type);
    pg_add_date(&params, row->effective_date);
    pg_add_int(&params, row->amount.unscaled);
    return run_change(pg, &sql_reference_put_refund_value, &params, changed);
}

enum { DEGREES_TEXT_MAX = 32 };

/* Digits enough that the same number comes back. */
static const char *degrees_text(bool present, double degrees, char text[static DEGREES_TEXT_MAX])
{
    if (!present)
        return NULL;
    snprintf(text, DEGREES_TEXT_MAX, "%.17g", degrees);
    return text;
}

enum store_result store_put_site(struct pg *pg, struct arena *arena, const struct site_row *row,
                                 bool *changed)
{
    char latitude[DEGREES_TEXT_MAX], longitude[DEGREES_TEXT_MAX];
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text(&params, row->site);
    pg_add_text(&params, row->scheme);
    pg_add_text(&params, row->participant);
    pg_add_text(&params, row->name);
    pg_add_text(&params, site_kind_words[row->kind]);
    pg_add_date(&params, row->opened_on);
    add_date_if(&params, row->has_closed_on, row->closed_on);
    pg_add_text(&params, degrees_text(row->has_latitude, row->latitude, latitude));
    pg_add_text(&params, degrees_text(row->has_longitude, row->longitude, longitude));
    pg_add_text(&params, row->gln);
    add_par_stock(&params, &row->par_stock, true);
    return run_change(pg, &sql_reference_put_site, &params, changed);
}

enum store_result store_forget_days(struct pg *pg, const char *scheme)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, scheme);
    return pg_query(pg, &sql_reference_forget_days, &params, NULL);
}

/* How each kind is read, and whether what is seen of it depends on the key. */
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
};

enum store_result store_reference_read(struct pg *pg, struct arena *arena,
                                       const struct reference_query *query, struct buffer *json,
                                       struct json_slice *slice)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text_array(&params, query->names, REFERENCE_NAMES_MAX);
    pg_add_text(&params, query->after);
    json_slice_limit(&params, query->limit);
    if (reads[query->kind].by_reader) {
        const struct identity *reader = query->reader;
        enum role_reach reach = role_reach(reader->role);
        if (reach == REACH_SITES)
            pg_add_int4_array(&params, reader->sites, reader->site_count);
        else
            pg_add_null(&params);
        add_int_if(&params, reach == REACH_PARTICIPANT, reader->participant);
    }
    enum store_result result = pg_query(pg, reads[query->kind].sql, &params, &rows);
    if (result == STORE_OK)
        json_slice_add(rows, query->limit, json, slice);
    return result;
}
