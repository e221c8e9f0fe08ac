/* SPDX-License-Identifier: ISC */
/* What posting reads. */
#include "store/ledger_store.h"

#include "sql.h"

#include <string.h>

static enum store_result ask_heads(struct pg *pg, const struct sql *sql, struct arena *arena,
                                   const int32_t *schemes, size_t count, struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int4_array(&params, schemes, count);
    return pg_query(pg, sql, &params, rows);
}

static struct head read_head(const struct pg_rows *rows, int row)
{
    return (struct head){
        .scheme = (int32_t)pg_int(rows, row, 0),
        .last_entry = pg_int(rows, row, 1),
        .reference_version = pg_int(rows, row, 2),
        .calendar_version = pg_int(rows, row, 3),
        .gross = pg_int(rows, row, 4),
        .unfolded = (int32_t)pg_int(rows, row, 5),
        .folded_through = pg_int(rows, row, 6),
    };
}

enum store_result store_head_lock(struct pg *pg, struct arena *arena, int32_t scheme, struct head *head)
{
    PG_ROWS rows = NULL;
    enum store_result result = ask_heads(pg, &sql_heads_lock, arena, &scheme, 1, &rows);
    if (result != STORE_OK)
        return result;
    if (pg_row_count(rows) != 1)
        return STORE_FAILED;
    *head = read_head(rows, 0);
    return STORE_OK;
}

enum store_result store_calendar(struct pg *pg, struct arena *arena, int32_t scheme,
                                 struct calendar *calendar)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, &sql_calendar, &params, &rows);
    if (result != STORE_OK)
        return result;
    size_t count = (size_t)pg_row_count(rows);
    struct business_day *days = arena_array(arena, count + 1, sizeof *days);
    if (days == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++)
        days[i] = (struct business_day){
            .date = pg_date(rows, i, 0),
            .starts_at = pg_instant(rows, i, 1),
            .ends_at = pg_instant(rows, i, 2),
            .state = (enum day_state)pg_int(rows, i, 3),
        };
    *calendar = (struct calendar){days, count};
    return STORE_OK;
}

enum store_result store_calendar_extend(struct pg *pg, int32_t scheme, struct instant until, bool *extended)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_instant(&params, until);
    enum store_result result = pg_query(pg, &sql_calendar_extend, &params, &rows);
    if (result != STORE_OK)
        return result;
    *extended = pg_affected(rows) > 0;
    return STORE_OK;
}

enum store_result store_calendar_changed(struct pg *pg, int32_t scheme)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    return pg_query(pg, &sql_head_calendar, &params, NULL);
}

static enum store_result ask_known(struct pg *pg, struct arena *arena, const struct head_request *request,
                                   struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, request->scheme);
    pg_add_uuid_array(&params, request->ids, request->id_count);
    return pg_query(pg, &sql_events_find, &params, rows);
}

static enum store_result read_known(const struct pg_rows *rows, struct arena *arena,
                                    struct head_request *request)
{
    request->known_count = (size_t)pg_row_count(rows);
    request->known = arena_array(arena, request->known_count + 1, sizeof *request->known);
    if (request->known == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++) {
        struct known_event *event = &request->known[i];
        if (!uuid_parse(pg_text(rows, i, 0), pg_length(rows, i, 0), &event->id))
            return STORE_FAILED;
        pg_bytes(rows, i, 1, event->digest, sizeof event->digest);
        event->entry = pg_int(rows, i, 2);
        event->business_date = pg_date(rows, i, 3);
        event->late = pg_bool(rows, i, 4);
        event->has_exceptions = pg_bool(rows, i, 5);
    }
    return STORE_OK;
}

static enum store_result ask_recent(struct pg *pg, const struct head_request *request, struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, request->scheme);
    pg_add_int(&params, request->since);
    return pg_query(pg, &sql_recent_since, &params, rows);
}

enum {
    RECENT_LISTS = 11,
    RECENT_FIRST_LIST = 2,
    RECENT_SITES = 3
}; /* of the columns; the sites' among the lists */

/* Numbers from lists that are equally long, but for those of the accounts and those of the sites. */
static enum store_result read_recent_batch(const struct pg_rows *rows, int row, struct arena *arena,
                                           struct recent_batch *batch)
{
    int64_t *lists[RECENT_LISTS];
    size_t counts[RECENT_LISTS];
    for (int i = 0; i < RECENT_LISTS; i++)
        if (!pg_int8_list(rows, row, RECENT_FIRST_LIST + i, arena, &lists[i], &counts[i]) ||
            counts[i] != counts[i < RECENT_SITES ? 0 : RECENT_SITES])
            return STORE_FAILED;
    *batch = (struct recent_batch){
        .after_entry = pg_int(rows, row, 0),
        .last_entry = pg_int(rows, row, 1),
        .movement_count = counts[0],
        .movements = arena_array(arena, counts[0] + 1, sizeof *batch->movements),
        .site_day_count = counts[RECENT_SITES],
        .site_days = arena_array(arena, counts[RECENT_SITES] + 1, sizeof *batch->site_days),
    };
    if (batch->movements == NULL || batch->site_days == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < batch->movement_count; i++)
        batch->movements[i] = (struct movement_row){{lists[0][i]}, {(int32_t)lists[1][i]}, lists[2][i]};
    for (size_t i = 0; i < batch->site_day_count; i++)
        batch->site_days[i] = (struct site_day_row){
            .site = (int32_t)lists[3][i],
            .business_date = {(int32_t)lists[4][i]},
            .activity = {.issued = lists[5][i],
                         .returned = lists[6][i],
                         .collected = lists[7][i],
                         .refunded = lists[8][i],
                         .stock = lists[9][i],
                         .other = lists[10][i]},
        };
    return STORE_OK;
}

static enum store_result read_recent(const struct pg_rows *rows, struct arena *arena,
                                     struct head_request *request)
{
    enum store_result result = STORE_OK;
    request->recent_count = (size_t)pg_row_count(rows);
    request->recent = arena_array(arena, request->recent_count + 1, sizeof *request->recent);
    if (request->recent == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows) && result == STORE_OK; i++)
        result = read_recent_batch(rows, i, arena, &request->recent[i]);
    return result;
}

static enum store_result ask_days(struct pg *pg, const struct head_request *request, struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, request->scheme);
    pg_add_int(&params, request->since);
    return pg_query(pg, &sql_day_counters_since, &params, rows);
}

static enum store_result read_day_counters(const struct pg_rows *rows, int row, struct day_counters *counters)
{
    uint8_t nodes[FRONTIER_NODES_MAX * SHA256_SIZE];
    *counters = (struct day_counters){
        .date = pg_date(rows, row, 0),
        .entries = pg_int(rows, row, 1),
        .events = pg_int(rows, row, 2),
        .late_events = pg_int(rows, row, 3),
        .first_entry = pg_int(rows, row, 4),
        .last_entry = pg_int(rows, row, 5),
    };
    size_t length = pg_bytes(rows, row, 6, nodes, sizeof nodes);
    return frontier_restore(&counters->frontier, (uint64_t)counters->entries, nodes, length / SHA256_SIZE)
               ? STORE_OK
               : STORE_FAILED;
}

static enum store_result read_days(const struct pg_rows *rows, struct arena *arena,
                                   struct head_request *request)
{
    enum store_result result = STORE_OK;
    request->day_count = (size_t)pg_row_count(rows);
    request->days = arena_array(arena, request->day_count + 1, sizeof *request->days);
    if (request->days == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows) && result == STORE_OK; i++)
        result = read_day_counters(rows, i, &request->days[i]);
    return result;
}

/* The answers of a batch's begin, in the order in which they were asked for. */
struct batch_answers {
    struct pg_rows *heads, *version;
    struct pg_rows **known, **recent, **days; /* parallel to the requests */
};

static enum store_result take_heads(struct pg *pg, const int32_t *schemes, size_t count, int wait_ms,
                                    struct arena *arena, struct pg_rows **heads)
{
    if (wait_ms == 0)
        return ask_heads(pg, &sql_heads_lock_free, arena, schemes, count, heads);
    enum store_result result = pg_set_lock_wait(pg, wait_ms);
    return result == STORE_OK ? ask_heads(pg, &sql_heads_lock, arena, schemes, count, heads) : result;
}

static enum store_result ask_batch(struct pg *pg, struct arena *arena,
                                   const struct head_request *head_requests, size_t count, int wait_ms,
                                   struct batch_answers *answers)
{
    int32_t *schemes = arena_array(arena, count, sizeof *schemes);
    if (schemes == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        schemes[i] = head_requests[i].scheme;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = take_heads(pg, schemes, count, wait_ms, arena, &answers->heads);
    if (result == STORE_OK)
        result = pg_query(pg, &sql_network_version, NULL, &answers->version);
    for (size_t i = 0; i < count && result == STORE_OK; i++)
        if (head_requests[i].ids != NULL)
            result = ask_known(pg, arena, &head_requests[i], &answers->known[i]);
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        if (!head_requests[i].has_since)
            continue;
        result = ask_recent(pg, &head_requests[i], &answers->recent[i]);
        if (result == STORE_OK)
            result = ask_days(pg, &head_requests[i], &answers->days[i]);
    }
    return result == STORE_OK ? pg_pipeline_end(pg) : result;
}

static enum store_result read_head_request(const struct batch_answers *answers, size_t i, struct arena *arena,
                                           struct head_request *request)
{
    enum store_result result = STORE_OK;
    if (request->ids != NULL)
        result = read_known(answers->known[i], arena, request);
    if (result == STORE_OK && request->has_since)
        result = read_recent(answers->recent[i], arena, request);
    if (result == STORE_OK && request->has_since)
        result = read_days(answers->days[i], arena, request);
    return result;
}

/* The heads that were taken come in the order of the requests. */
static enum store_result read_batch(const struct batch_answers *answers, struct arena *arena,
                                    struct head_request *head_requests, size_t count, int64_t *version)
{
    enum store_result result = STORE_OK;
    int row = 0;
    if (pg_row_count(answers->version) != 1)
        return STORE_FAILED;
    *version = pg_int(answers->version, 0, 0);
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        head_requests[i].taken =
            row < pg_row_count(answers->heads) && pg_int(answers->heads, row, 0) == head_requests[i].scheme;
        if (!head_requests[i].taken)
            continue;
        head_requests[i].head = read_head(answers->heads, row++);
        result = read_head_request(answers, i, arena, &head_requests[i]);
    }
    return result == STORE_OK && row != pg_row_count(answers->heads) ? STORE_FAILED : result;
}

enum store_result store_batch_begin(struct pg *pg, struct arena *arena, struct head_request *head_requests,
                                    size_t count, int wait_ms, int64_t *version)
{
    struct batch_answers answers = {.known = arena_array(arena, count, sizeof *answers.known),
                                    .recent = arena_array(arena, count, sizeof *answers.recent),
                                    .days = arena_array(arena, count, sizeof *answers.days)};
    if (answers.known == NULL || answers.recent == NULL || answers.days == NULL)
        return STORE_FAILED;
    enum store_result result = pg_pipeline_begin(pg);
    if (result == STORE_OK)
        result = ask_batch(pg, arena, head_requests, count, wait_ms, &answers);
    if (result == STORE_OK)
        result = read_batch(&answers, arena, head_requests, count, version);
    pg_rows_free(&answers.heads);
    pg_rows_free(&answers.version);
    for (size_t i = 0; i < count; i++) {
        pg_rows_free(&answers.known[i]);
        pg_rows_free(&answers.recent[i]);
        pg_rows_free(&answers.days[i]);
    }
    return result;
}

enum store_result store_heads_expect(struct pg *pg, struct arena *arena,
                                     const struct head_request *head_requests, size_t count, int64_t version)
{
    struct pg_params params;
    int32_t *schemes = arena_array(arena, count, sizeof *schemes);
    int64_t *entries = arena_array(arena, count, sizeof *entries);
    int64_t *calendars = arena_array(arena, count, sizeof *calendars);
    if (schemes == NULL || entries == NULL || calendars == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        schemes[i] = head_requests[i].scheme;
        entries[i] = head_requests[i].head.last_entry;
        calendars[i] = head_requests[i].head.calendar_version;
    }
    pg_params_init(&params, arena);
    pg_add_int4_array(&params, schemes, count);
    pg_add_int8_array(&params, entries, count);
    pg_add_int8_array(&params, calendars, count);
    pg_add_int(&params, version);
    return pg_query(pg, &sql_heads_expect, &params, NULL);
}

static enum store_result exception_kind_parse(const char *word, enum exception_kind *kind)
{
    for (int k = 0; k < EXCEPTION_KINDS; k++)
        if (strcmp(word, exception_word((enum exception_kind)k)) == 0) {
            *kind = (enum exception_kind)k;
            return STORE_OK;
        }
    return STORE_FAILED;
}

enum store_result store_exceptions_of(struct pg *pg, struct arena *arena, int32_t scheme, int64_t entry,
                                      struct exception **exceptions, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, entry);
    enum store_result result = pg_query(pg, &sql_exceptions_of_entry, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *exceptions = arena_array(arena, *count + 1, sizeof **exceptions);
    if (*exceptions == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows) && result == STORE_OK; i++) {
        struct exception *exception = &(*exceptions)[i];
        result = exception_kind_parse(pg_text(rows, i, 0), &exception->kind);
        exception->cup_type = (int32_t)pg_int(rows, i, 1);
        exception->has_quantity = !pg_is_null(rows, i, 2);
        exception->quantity = pg_int(rows, i, 2);
        exception->has_amount = !pg_is_null(rows, i, 3);
        exception->amount.minor = pg_int(rows, i, 3);
    }
    return result;
}

enum store_result store_balances(struct pg *pg, struct arena *arena, int32_t scheme, const int64_t *accounts,
                                 size_t count, int64_t *balances)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_int8_array(&params, accounts, count);
    enum store_result result = pg_query(pg, &sql_balances_of_accounts, &params, &rows);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < count; i++)
        balances[i] = pg_int(rows, (int)i, 0);
    return STORE_OK;
}

enum store_result store_day_counters(struct pg *pg, int32_t scheme, struct date date,
                                     struct day_counters *counters)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_date(&params, date);
    enum store_result result = pg_query(pg, &sql_day_counters, &params, &rows);
    if (result != STORE_OK)
        return result;
    return pg_row_count(rows) == 1 ? read_day_counters(rows, 0, counters) : STORE_FAILED;
}

enum store_result store_read_legs(const struct pg_rows *rows, int row, int column, struct arena *arena,
                                  struct leg **legs, size_t *count)
{
    int64_t *accounts, *amounts;
    size_t amount_count;
    if (!pg_int8_list(rows, row, column, arena, &accounts, count) ||
        !pg_int8_list(rows, row, column + 1, arena, &amounts, &amount_count) || amount_count != *count)
        return STORE_FAILED;
    *legs = arena_array(arena, *count + 1, sizeof **legs);
    if (*legs == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        (*legs)[i] = (struct leg){{accounts[i]}, amounts[i]};
    return STORE_OK;
}

static enum store_result read_moved_cups(const struct pg_rows *rows, int column, struct arena *arena,
                                         struct moved_cups **cups, size_t *count)
{
    int64_t *types, *damaged, *quantities;
    size_t damaged_count, quantity_count;
    if (!pg_int8_list(rows, 0, column, arena, &types, count) ||
        !pg_int8_list(rows, 0, column + 1, arena, &damaged, &damaged_count) ||
        !pg_int8_list(rows, 0, column + 2, arena, &quantities, &quantity_count))
        return STORE_FAILED;
    *cups = arena_array(arena, *count + 1, sizeof **cups);
    if (*cups == NULL || damaged_count != *count || quantity_count != *count)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        (*cups)[i] = (struct moved_cups){(int32_t)types[i], damaged[i] != 0, quantities[i]};
    return STORE_OK;
}

enum store_result store_referred(struct pg *pg, struct arena *arena, int32_t scheme, const struct uuid *id,
                                 struct referred *referred)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    *referred = (struct referred){0};
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_uuid(&params, id);
    enum store_result result = pg_query(pg, &sql_referred, &params, &rows);
    if (result != STORE_OK || pg_row_count(rows) == 0)
        return result;
    referred->found = true;
    referred->entry = pg_int(rows, 0, 0);
    referred->business_date = pg_date(rows, 0, 1);
    referred->kind = (enum entry_kind)pg_int(rows, 0, 2);
    referred->site = (int32_t)pg_int(rows, 0, 3);
    referred->reversed = pg_bool(rows, 0, 6);
    referred->arrived = pg_bool(rows, 0, 7);
    referred->refers = pg_int(rows, 0, 8);
    result = store_read_legs(rows, 0, 4, arena, &referred->legs, &referred->leg_count);
    return result == STORE_OK ? read_moved_cups(rows, 9, arena, &referred->cups, &referred->cup_count)
                              : result;
}

enum store_result store_transfer(struct pg *pg, struct arena *arena, int32_t scheme, int64_t dispatch,
                                 struct transfer *transfer)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, dispatch);
    enum store_result result = pg_query(pg, &sql_transfer, &params, &rows);
    if (result != STORE_OK)
        return result;
    int count = pg_row_count(rows);
    *transfer = (struct transfer){.line_count = (size_t)count};
    transfer->lines = arena_array(arena, (size_t)count + 1, sizeof *transfer->lines);
    if (count == 0 || transfer->lines == NULL)
        return STORE_FAILED; /* every dispatch has at least one line */
    for (int i = 0; i < count; i++)
        transfer->lines[i] = (struct transfer_open){
            .cup_type = (int32_t)pg_int(rows, i, 0),
            .damaged = pg_bool(rows, i, 1),
            .sent = pg_int(rows, i, 2),
            .received = pg_int(rows, i, 3),
            .lost = pg_int(rows, i, 4),
        };
    transfer->sender = (int32_t)pg_int(rows, 0, 5);
    transfer->receiver = (int32_t)pg_int(rows, 0, 6);
    transfer->business_date = pg_date(rows, 0, 7);
    return STORE_OK;
}

enum store_result store_book_after(struct pg *pg, struct arena *arena, int32_t scheme, int32_t site,
                                   struct instant instant, struct date day, struct leg **legs, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, site);
    pg_add_instant(&params, instant);
    pg_add_date(&params, day);
    enum store_result result = pg_query(pg, &sql_book_after, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *legs = arena_array(arena, *count + 1, sizeof **legs);
    if (*legs == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        (*legs)[i] = (struct leg){{pg_int(rows, (int)i, 0)}, pg_int(rows, (int)i, 1)};
    return STORE_OK;
}

enum store_result store_forfeited(struct pg *pg, int32_t scheme, int32_t cup_type, int64_t *cups)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, cup_type);
    enum store_result result = pg_query(pg, &sql_forfeited, &params, &rows);
    if (result == STORE_OK)
        *cups = pg_row_count(rows) > 0 ? pg_int(rows, 0, 0) : 0;
    return result;
}
