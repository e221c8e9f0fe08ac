/* SPDX-License-Identifier: ISC */
/* Reading the ledger for the interface. */
#include "store/read_store.h"

#include "sql.h"

#include <assert.h>
#include <stdlib.h>

/* How many entries a slice of events looks at: some tens of milliseconds when none of them is wanted. A
 * search for a reference looks into each event. */
enum { EVENTS_SCAN_MAX = 50000, REFERENCE_SCAN_MAX = 20000, CELLS_MAX = 32 };

void add_visible_sites(struct pg_params *params, const struct visible_sites *visible)
{
    if (visible->all)
        pg_add_null(params);
    else
        pg_add_int4_array(params, visible->ids, visible->count);
}

static void add_optional_int(struct pg_params *params, int64_t number)
{
    if (number == 0)
        pg_add_null(params);
    else
        pg_add_int(params, number);
}

static void add_optional_date(struct pg_params *params, const struct date *date)
{
    if (date == NULL)
        pg_add_null(params);
    else
        pg_add_date(params, *date);
}

enum store_result read_list_slice(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                  struct list_slice *slice)
{
    PG_ROWS rows = NULL;
    struct json_slice json;
    enum store_result result = pg_query(pg, sql, params, &rows);
    if (result != STORE_OK)
        return result;
    json_slice_add(rows, slice->limit, slice->items, &json);
    slice->more = json.more;
    slice->last = json.count > 0 ? strtoll(json.last, NULL, 10) : slice->after;
    return STORE_OK;
}

/* The entries that a list of events has to look at: after the one, through the other. */
static enum store_result events_range(struct pg *pg, const struct events_filter *filter, int64_t *after,
                                      int64_t *through)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, filter->scheme);
    pg_add_int(&params, *after);
    add_optional_date(&params, filter->from);
    add_optional_date(&params, filter->to);
    enum store_result result = pg_query(pg, &sql_events_range, &params, &rows);
    if (result == STORE_OK) {
        *after = pg_int(rows, 0, 0);
        *through = pg_int(rows, 0, 1);
    }
    return result;
}

/* 0: it is not one. */
static int32_t only_site(const struct visible_sites *visible)
{
    return !visible->all && visible->count == 1 ? visible->ids[0] : 0;
}

enum store_result read_events(struct pg *pg, struct arena *arena, const struct events_filter *filter,
                              struct list_slice *slice)
{
    int64_t after = slice->after, through = 0;
    enum store_result result = events_range(pg, filter, &after, &through);
    if (result != STORE_OK)
        return result;
    int64_t most = filter->reference != NULL ? REFERENCE_SCAN_MAX : EVENTS_SCAN_MAX;
    int64_t end = through - after > most ? after + most : through;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, filter->scheme);
    pg_add_int(&params, after);
    pg_add_int(&params, end);
    json_slice_limit(&params, slice->limit);
    add_visible_sites(&params, &filter->visible);
    add_optional_int(&params, filter->site != 0 ? filter->site : only_site(&filter->visible));
    add_optional_int(&params, filter->kind);
    add_optional_date(&params, filter->from);
    add_optional_date(&params, filter->to);
    pg_add_text(&params, filter->reference);
    result = read_list_slice(pg, &sql_events_list, &params, slice);
    if (result == STORE_OK && !slice->more) {
        slice->more = end < through;
        slice->last = end > after ? end : after;
    }
    return result;
}

/* By its event id or, where that is NULL, by its number. */
static enum store_result read_recorded(struct pg *pg, struct arena *arena, const struct uuid *id,
                                       int64_t entry, int32_t scheme, const struct visible_sites *visible,
                                       struct buffer *json, int *found)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    if (id != NULL)
        pg_add_uuid(&params, id);
    else
        pg_add_null(&params);
    add_optional_int(&params, scheme);
    add_visible_sites(&params, visible);
    add_optional_int(&params, entry);
    enum store_result result = pg_query(pg, &sql_event_get, &params, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows);
    if (*found > 0)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return STORE_OK;
}

enum store_result read_event(struct pg *pg, struct arena *arena, const struct uuid *id, int32_t scheme,
                             const struct visible_sites *visible, struct buffer *json, int *found)
{
    return read_recorded(pg, arena, id, 0, scheme, visible, json, found);
}

enum store_result read_entry(struct pg *pg, struct arena *arena, int64_t entry, int32_t scheme,
                             const struct visible_sites *visible, struct buffer *json, bool *found)
{
    int count = 0;
    enum store_result result = read_recorded(pg, arena, NULL, entry, scheme, visible, json, &count);
    *found = count > 0;
    return result;
}

enum store_result read_days(struct pg *pg, int32_t scheme, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    return read_list_slice(pg, &sql_days_list, &params, slice);
}

enum store_result read_day_current(struct pg *pg, int32_t scheme, struct date *day, struct date *first)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, &sql_days_current, &params, &rows);
    if (result == STORE_OK) {
        *day = pg_date(rows, 0, 0);
        *first = pg_date(rows, 0, 1);
    }
    return result;
}

enum store_result read_settlements(struct pg *pg, struct arena *arena, int32_t scheme,
                                   const struct visible_sites *visible, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    add_visible_sites(&params, visible);
    return read_list_slice(pg, &sql_settlements_list, &params, slice);
}

/* A row of JSON, if there is one. */
static enum store_result read_one(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                  struct buffer *json, bool *found)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_query(pg, sql, params, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows) > 0;
    if (*found)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return STORE_OK;
}

enum store_result read_settlement(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                  const struct visible_sites *visible, struct buffer *json, bool *found)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_date(&params, day);
    add_visible_sites(&params, visible);
    return read_one(pg, &sql_settlement_get, &params, json, found);
}

enum store_result read_payment_list(struct pg *pg, struct arena *arena, const struct payments_filter *filter,
                                    const char *after, int limit, struct buffer *json,
                                    struct json_slice *slice)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, filter->scheme);
    pg_add_text(&params, after);
    json_slice_limit(&params, limit);
    pg_add_text(&params, filter->status);
    if (filter->held != NULL)
        pg_add_bool(&params, *filter->held);
    else
        pg_add_null(&params);
    add_optional_int(&params, filter->participant);
    add_optional_date(&params, filter->from);
    add_optional_date(&params, filter->to);
    enum store_result result = pg_query(pg, &sql_payments_list, &params, &rows);
    if (result == STORE_OK)
        json_slice_add(rows, limit, json, slice);
    return result;
}

enum store_result read_payment(struct pg *pg, struct arena *arena, const char *payment_id,
                               const struct visible_sites *visible, struct buffer *json, bool *found)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text(&params, payment_id);
    add_visible_sites(&params, visible);
    return read_one(pg, &sql_payment_get, &params, json, found);
}

enum store_result read_journals(struct pg *pg, int32_t scheme, const char *status, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    pg_add_text(&params, status);
    return read_list_slice(pg, &sql_journals_list, &params, slice);
}

enum store_result read_journal(struct pg *pg, int32_t scheme, const struct uuid *id, struct buffer *json,
                               bool *found)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_uuid(&params, id);
    return read_one(pg, &sql_journal_get, &params, json, found);
}

enum store_result read_glance(struct pg *pg, struct arena *arena, const int32_t *schemes, size_t count,
                              bool for_operator, int32_t participant, struct buffer *json)
{
    PG_ROWS rows = NULL;
    struct json_slice slice;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int4_array(&params, schemes, count);
    pg_add_bool(&params, for_operator);
    pg_add_int(&params, participant);
    enum store_result result = pg_query(pg, &sql_glance, &params, &rows);
    if (result == STORE_OK)
        json_slice_add(rows, 0, json, &slice);
    return result;
}

enum store_result read_accounts(struct pg *pg, int32_t scheme, const struct date *as_of,
                                struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    add_optional_date(&params, as_of);
    return read_list_slice(pg, &sql_accounts_list, &params, slice);
}

static void add_argument(struct pg_params *params, const struct report_argument *argument)
{
    switch (argument->kind) {
    case ARGUMENT_NULL:
        pg_add_null(params);
        break;
    case ARGUMENT_DAY:
        pg_add_date(params, argument->day);
        break;
    case ARGUMENT_NUMBER:
        pg_add_int(params, argument->number);
        break;
    }
}

struct report_reader {
    size_t column_count;
    report_row each;
    void *context;
};

static bool pass_row(void *context, const struct pg_rows *row)
{
    const struct report_reader *reader = context;
    const char *cells[CELLS_MAX];
    for (size_t i = 0; row != NULL && i < reader->column_count; i++)
        cells[i] = pg_is_null(row, 0, (int)i) ? NULL : pg_text(row, 0, (int)i);
    return reader->each(reader->context, row != NULL ? cells : NULL);
}

enum store_result read_report(struct pg *pg, struct arena *arena, const struct report_query *query,
                              report_row each, void *context)
{
    struct pg_params params;
    struct report_reader reader = {query->column_count, each, context};
    assert(query->column_count <= CELLS_MAX);
    pg_params_init(&params, arena);
    pg_add_int(&params, query->scheme);
    for (size_t i = 0; i < query->argument_count; i++)
        add_argument(&params, &query->arguments[i]);
    if (query->visible != NULL)
        add_visible_sites(&params, query->visible);
    if (query->by_entry)
        add_optional_int(&params, query->after_entry);
    return pg_query_each(pg, query->sql, &params, pass_row, &reader);
}

enum store_result read_check(struct pg *pg, struct arena *arena, const struct sql *sql, int32_t scheme,
                             struct check_figures *figures, char **findings)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, sql, &params, &rows);
    if (result != STORE_OK)
        return result;
    *figures = (struct check_figures){.examined = pg_int(rows, 0, 0), .broken = pg_int(rows, 0, 1)};
    *findings = arena_copy(arena, pg_text(rows, 0, 2), pg_length(rows, 0, 2));
    return *findings != NULL ? STORE_OK : STORE_FAILED;
}
