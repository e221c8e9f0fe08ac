/* SPDX-License-Identifier: ISC */
/* What posting writes: each table's rows become one statement, its columns one array each. */
#include "store/ledger_store.h"

#include "sql.h"

/* A column of the rows as an array: COLUMN(type, rows, count, expression of `row`). NULL when memory ran out,
 * which the parameter then reports. */
#define COLUMN(arena, type, rows, count, expression)                                                         \
    __extension__({                                                                                          \
        type *column_ = arena_array((arena), (count) + 1, sizeof(type));                                     \
        for (size_t i_ = 0; column_ != NULL && i_ < (count); i_++) {                                         \
            __typeof__(&(rows)[0]) row = &(rows)[i_];                                                        \
            column_[i_] = (expression);                                                                      \
        }                                                                                                    \
        column_;                                                                                             \
    })

/* The columns that most tables have. */
#define INT8(rows, count, expression)                                                                        \
    pg_add_int8_array(&params, COLUMN(arena, int64_t, rows, count, expression), count)
#define INT4(rows, count, expression)                                                                        \
    pg_add_int4_array(&params, COLUMN(arena, int32_t, rows, count, expression), count)
#define BOOL(rows, count, expression)                                                                        \
    pg_add_bool_array(&params, COLUMN(arena, bool, rows, count, expression), count)
#define DATE(rows, count, expression)                                                                        \
    pg_add_date_array(&params, COLUMN(arena, struct date, rows, count, expression), count)
#define TEXT(rows, count, expression)                                                                        \
    pg_add_text_array(&params, COLUMN(arena, const char *, rows, count, expression), count)

static enum store_result post_entries(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    struct pg_params params;
    const struct entry_row *entries = posting->entries;
    size_t count = posting->entry_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    pg_add_instant(&params, posting->recorded_at);
    INT8(entries, count, row->entry);
    DATE(entries, count, row->business_date);
    INT4(entries, count, (int32_t)row->kind);
    BOOL(entries, count, row->late);
    INT4(entries, count, row->site);
    INT4(entries, count, row->key);
    pg_add_instant_array(&params, COLUMN(arena, struct instant, entries, count, row->occurred_at), count);
    INT4(entries, count, (int32_t)row->first_leg + 1);
    INT4(entries, count, (int32_t)(row->first_leg + row->leg_count));
    INT8(posting->legs, posting->leg_count, row->account.code);
    INT8(posting->legs, posting->leg_count, row->amount);
    pg_add_bytes_array(&params, COLUMN(arena, struct sha256, entries, count, row->hash), SHA256_SIZE, count);
    TEXT(entries, count, row->event != NULL ? row->event->text : NULL);
    return pg_query(pg, &sql_post_entries, &params, NULL);
}

static enum store_result post_event_ids(struct pg *pg, struct arena *arena,
                                        const struct posting_rows *posting)
{
    struct half_digest {
        uint8_t bytes[SHA256_SIZE / 2];
    };
    struct pg_params params;
    size_t count = 0;
    const struct entry_row **events = arena_array(arena, posting->entry_count + 1, sizeof *events);
    if (events == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < posting->entry_count; i++)
        if (posting->entries[i].event != NULL)
            events[count++] = &posting->entries[i];
    if (count == 0)
        return STORE_OK;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    pg_add_uuid_array(&params, COLUMN(arena, struct uuid, events, count, (*row)->event->id), count);
    pg_add_bytes_array(&params,
                       COLUMN(arena, struct half_digest, events, count,
                              *(const struct half_digest *)(*row)->event->digest.bytes),
                       sizeof(struct half_digest), count);
    INT8(events, count, (*row)->entry);
    return pg_query(pg, &sql_post_event_ids, &params, NULL);
}

static enum store_result post_balances(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    struct pg_params params;
    const struct movement_row *movements = posting->movements;
    size_t count = posting->movement_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    INT8(movements, count, row->account.code);
    DATE(movements, count, row->business_date);
    INT8(movements, count, row->amount);
    return pg_query(pg, &sql_post_balances, &params, NULL);
}

static enum store_result post_site_days(struct pg *pg, struct arena *arena,
                                        const struct posting_rows *posting)
{
    struct pg_params params;
    const struct site_day_row *days = posting->site_days;
    size_t count = posting->site_day_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    INT4(days, count, row->site);
    DATE(days, count, row->business_date);
    INT8(days, count, row->activity.issued);
    INT8(days, count, row->activity.returned);
    INT8(days, count, row->activity.collected);
    INT8(days, count, row->activity.refunded);
    INT8(days, count, row->activity.stock);
    INT8(days, count, row->activity.other);
    INT8(days, count, row->fees);
    INT8(days, count, row->tax);
    return pg_query(pg, &sql_post_site_days, &params, NULL);
}

static enum store_result post_at_once(struct pg *pg, struct arena *arena, const struct posting_rows *rows)
{
    enum store_result result = STORE_OK;
    if (rows->movement_count > 0)
        result = post_balances(pg, arena, rows);
    if (result == STORE_OK && rows->site_day_count > 0)
        result = post_site_days(pg, arena, rows);
    return result;
}

static enum store_result post_recent(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    struct pg_params params;
    const struct movement_row *movements = posting->movements;
    const struct site_day_row *days = posting->site_days;
    size_t count = posting->movement_count, day_count = posting->site_day_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    pg_add_int(&params, posting->last_entry);
    INT8(movements, count, row->account.code);
    DATE(movements, count, row->business_date);
    INT8(movements, count, row->amount);
    INT4(days, day_count, row->site);
    DATE(days, day_count, row->business_date);
    INT8(days, day_count, row->activity.issued);
    INT8(days, day_count, row->activity.returned);
    INT8(days, day_count, row->activity.collected);
    INT8(days, day_count, row->activity.refunded);
    INT8(days, day_count, row->activity.stock);
    INT8(days, day_count, row->activity.other);
    pg_add_int(&params, posting->entries[0].entry - 1);
    return pg_query(pg, &sql_post_recent, &params, NULL);
}

static enum store_result run_for_scheme(struct pg *pg, const struct sql *sql, int32_t scheme)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    return pg_query(pg, sql, &params, NULL);
}

enum store_result store_fold(struct pg *pg, int32_t scheme)
{
    enum store_result result = run_for_scheme(pg, &sql_fold_balances, scheme);
    if (result == STORE_OK)
        result = run_for_scheme(pg, &sql_fold_site_days, scheme);
    return result == STORE_OK ? run_for_scheme(pg, &sql_fold_forget, scheme) : result;
}

enum store_result store_fold_sums(struct pg *pg, struct arena *arena, const struct posting_rows *sums)
{
    enum store_result result = post_at_once(pg, arena, sums);
    return result == STORE_OK ? run_for_scheme(pg, &sql_fold_forget, sums->scheme) : result;
}

static enum store_result post_exceptions(struct pg *pg, struct arena *arena,
                                         const struct posting_rows *posting)
{
    struct pg_params params;
    const struct exception_row *exceptions = posting->exceptions;
    size_t count = posting->exception_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    INT8(exceptions, count, row->entry);
    INT4(exceptions, count, row->position);
    DATE(exceptions, count, row->business_date);
    TEXT(exceptions, count, exception_word(row->exception.kind));
    INT4(exceptions, count, row->site);
    INT4(exceptions, count, row->exception.cup_type);
    BOOL(exceptions, count, row->exception.has_quantity);
    INT8(exceptions, count, row->exception.quantity);
    BOOL(exceptions, count, row->exception.has_amount);
    INT8(exceptions, count, row->exception.amount.minor);
    return pg_query(pg, &sql_post_exceptions, &params, NULL);
}

static enum store_result post_references(struct pg *pg, struct arena *arena,
                                         const struct posting_rows *posting)
{
    struct pg_params params;
    const struct reference_row *references = posting->references;
    size_t count = posting->reference_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    INT8(references, count, row->referred);
    INT8(references, count, row->entry);
    INT4(references, count, (int32_t)row->kind);
    return pg_query(pg, &sql_post_references, &params, NULL);
}

static enum store_result post_transfers(struct pg *pg, struct arena *arena,
                                        const struct posting_rows *posting)
{
    struct pg_params params;
    const struct transfer_row *transfers = posting->transfers;
    size_t count = posting->transfer_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    INT8(transfers, count, row->dispatch);
    INT4(transfers, count, row->cup_type);
    BOOL(transfers, count, row->damaged);
    DATE(transfers, count, row->business_date);
    INT4(transfers, count, row->sender);
    INT4(transfers, count, row->receiver);
    INT8(transfers, count, row->sent);
    INT8(transfers, count, row->received);
    INT8(transfers, count, row->lost);
    return pg_query(pg, &sql_post_transfers, &params, NULL);
}

/* After the references and exceptions of the same run are in. */
static enum store_result resolve_shortages(struct pg *pg, struct arena *arena,
                                           const struct posting_rows *posting)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    INT8(posting->transfers, posting->transfer_count, row->dispatch);
    pg_add_instant(&params, posting->recorded_at);
    return pg_query(pg, &sql_post_shortages_resolved, &params, NULL);
}

static enum store_result post_forfeited(struct pg *pg, struct arena *arena,
                                        const struct posting_rows *posting)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    INT4(posting->forfeited, posting->forfeited_count, row->cup_type);
    INT8(posting->forfeited, posting->forfeited_count, row->cups);
    return pg_query(pg, &sql_post_forfeited, &params, NULL);
}

static enum store_result post_reversed(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    struct pg_params params;
    const struct reversed_row *reversed = posting->reversed;
    size_t count = posting->reversed_count;
    pg_params_init(&params, arena);
    pg_add_int(&params, posting->scheme);
    DATE(reversed, count, row->business_date);
    INT4(reversed, count, row->site);
    DATE(reversed, count, row->original_date);
    INT8(reversed, count, row->issued);
    INT8(reversed, count, row->returned);
    return pg_query(pg, &sql_post_reversed, &params, NULL);
}

static enum store_result post_days(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < posting->day_count && result == STORE_OK; i++) {
        const struct day_counters *day = &posting->days[i];
        struct pg_params params;
        if (day->last_entry < posting->entries[0].entry)
            continue; /* none of these entries is in it */
        pg_params_init(&params, arena);
        pg_add_int(&params, posting->scheme);
        pg_add_date(&params, day->date);
        pg_add_int(&params, day->entries);
        pg_add_int(&params, day->events);
        pg_add_int(&params, day->late_events);
        pg_add_int(&params, day->first_entry);
        pg_add_int(&params, day->last_entry);
        pg_add_bytes(&params, day->frontier.nodes, frontier_node_count(&day->frontier) * SHA256_SIZE);
        result = pg_query(pg, &sql_post_day, &params, NULL);
    }
    return result;
}

static enum store_result post_head(struct pg *pg, const struct posting_rows *posting)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, posting->scheme);
    pg_add_int(&params, posting->last_entry);
    pg_add_int(&params, posting->gross);
    pg_add_int(&params, posting->unfolded);
    return pg_query(pg, &sql_post_head, &params, NULL);
}

enum store_result store_post(struct pg *pg, struct arena *arena, const struct posting_rows *rows)
{
    enum store_result result = post_event_ids(pg, arena, rows); /* the likeliest to be refused */
    if (result == STORE_OK)
        result = post_entries(pg, arena, rows);
    if (result == STORE_OK)
        result = rows->at_once ? post_at_once(pg, arena, rows) : post_recent(pg, arena, rows);
    if (result == STORE_OK && rows->exception_count > 0)
        result = post_exceptions(pg, arena, rows);
    if (result == STORE_OK && rows->reference_count > 0)
        result = post_references(pg, arena, rows);
    if (result == STORE_OK && rows->transfer_count > 0)
        result = post_transfers(pg, arena, rows);
    if (result == STORE_OK && rows->transfer_count > 0)
        result = resolve_shortages(pg, arena, rows);
    if (result == STORE_OK && rows->forfeited_count > 0)
        result = post_forfeited(pg, arena, rows);
    if (result == STORE_OK && rows->reversed_count > 0)
        result = post_reversed(pg, arena, rows);
    if (result == STORE_OK)
        result = post_days(pg, arena, rows);
    if (result == STORE_OK)
        result = post_head(pg, rows);
    return result;
}
