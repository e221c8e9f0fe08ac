/* SPDX-License-Identifier: ISC */
/* The statements with which posting writes: one for the rows of each table, with an array for each column. */
#include "store/ledger_store.h"

#include "sql.h"

#include <string.h>

/* A column that is computed from each `row`, as an array. It is NULL if memory ran out, which pg_run then
 * reports. */
#define COMPUTED(arena, type, rows, count, expression)                                                       \
    ARRAY(__extension__({                                                                                    \
              type *column_ = arena_array((arena), (count) + 1, sizeof(type));                               \
              for (size_t i_ = 0; column_ != NULL && i_ < (count); i_++) {                                   \
                  __typeof__(&(rows)[0]) row = &(rows)[i_];                                                  \
                  column_[i_] = (expression);                                                                \
              }                                                                                              \
              column_;                                                                                       \
          }),                                                                                                \
          count)

static enum store_result post_entries(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    const struct entry_row *entries = posting->entries;
    size_t count = posting->entry_count;
    return pg_run(
        pg, &sql_post_entries,
        PG_ARGS(
            arg_int(posting->scheme), arg_instant(posting->recorded_at),
            arg_int8s(COLUMN(entries, count, entry)), arg_dates(COLUMN(entries, count, business_date)),
            arg_int4s(COMPUTED(arena, int32_t, entries, count, (int32_t)row->kind)),
            arg_bools(COLUMN(entries, count, late)), arg_int4s(COLUMN(entries, count, site)),
            arg_int4s(COLUMN(entries, count, key)), arg_instants(COLUMN(entries, count, occurred_at)),
            arg_int4s(COMPUTED(arena, int32_t, entries, count, (int32_t)row->first_leg + 1)),
            arg_int4s(COMPUTED(arena, int32_t, entries, count, (int32_t)(row->first_leg + row->leg_count))),
            arg_int8s(COLUMN(posting->legs, posting->leg_count, account.code)),
            arg_int8s(COLUMN(posting->legs, posting->leg_count, amount)),
            arg_bytes_array(entries != NULL ? entries->hash.bytes : NULL, SHA256_SIZE, count,
                            sizeof *entries),
            arg_texts(COMPUTED(arena, const char *, entries, count,
                               row->event != NULL ? row->event->text : NULL))));
}

struct event_id_row {
    struct uuid id;
    uint8_t digest[SHA256_SIZE / 2];
    int64_t entry;
};

static enum store_result post_event_ids(struct pg *pg, struct arena *arena,
                                        const struct posting_rows *posting)
{
    size_t count = 0;
    struct event_id_row *ids = arena_array(arena, posting->entry_count + 1, sizeof *ids);
    if (ids == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < posting->entry_count; i++) {
        const struct entry_row *row = &posting->entries[i];
        if (row->event == NULL)
            continue;
        ids[count].id = row->event->id;
        memcpy(ids[count].digest, row->event->digest.bytes, sizeof ids[count].digest);
        ids[count++].entry = row->entry;
    }
    if (count == 0)
        return STORE_OK;
    return pg_run(pg, &sql_post_event_ids,
                  PG_ARGS(arg_int(posting->scheme), arg_uuids(COLUMN(ids, count, id)),
                          arg_bytes_array(ids->digest, sizeof ids->digest, count, sizeof *ids),
                          arg_int8s(COLUMN(ids, count, entry))));
}

static enum store_result post_balances(struct pg *pg, const struct posting_rows *posting)
{
    const struct movement_row *movements = posting->movements;
    size_t count = posting->movement_count;
    return pg_run(pg, &sql_post_balances,
                  PG_ARGS(arg_int(posting->scheme), arg_int8s(COLUMN(movements, count, account.code)),
                          arg_dates(COLUMN(movements, count, business_date)),
                          arg_int8s(COLUMN(movements, count, amount))));
}

/* The six figures of an activity, as six arguments. */
#define ACTIVITY_COLUMNS(days, count)                                                                        \
    arg_int8s(COLUMN(days, count, activity.issued)), arg_int8s(COLUMN(days, count, activity.returned)),      \
        arg_int8s(COLUMN(days, count, activity.collected)),                                                  \
        arg_int8s(COLUMN(days, count, activity.refunded)), arg_int8s(COLUMN(days, count, activity.stock)),   \
        arg_int8s(COLUMN(days, count, activity.other))

static enum store_result post_site_days(struct pg *pg, const struct posting_rows *posting)
{
    const struct site_day_row *days = posting->site_days;
    size_t count = posting->site_day_count;
    return pg_run(pg, &sql_post_site_days,
                  PG_ARGS(arg_int(posting->scheme), arg_int4s(COLUMN(days, count, site)),
                          arg_dates(COLUMN(days, count, business_date)), ACTIVITY_COLUMNS(days, count),
                          arg_int8s(COLUMN(days, count, fees)), arg_int8s(COLUMN(days, count, tax))));
}

static enum store_result post_at_once(struct pg *pg, const struct posting_rows *rows)
{
    enum store_result result = STORE_OK;
    if (rows->movement_count > 0)
        result = post_balances(pg, rows);
    if (result == STORE_OK && rows->site_day_count > 0)
        result = post_site_days(pg, rows);
    return result;
}

static enum store_result post_recent(struct pg *pg, const struct posting_rows *posting)
{
    const struct movement_row *movements = posting->movements;
    const struct site_day_row *days = posting->site_days;
    size_t count = posting->movement_count, day_count = posting->site_day_count;
    return pg_run(pg, &sql_post_recent,
                  PG_ARGS(arg_int(posting->scheme), arg_int(posting->last_entry),
                          arg_int8s(COLUMN(movements, count, account.code)),
                          arg_dates(COLUMN(movements, count, business_date)),
                          arg_int8s(COLUMN(movements, count, amount)),
                          arg_int4s(COLUMN(days, day_count, site)),
                          arg_dates(COLUMN(days, day_count, business_date)),
                          ACTIVITY_COLUMNS(days, day_count), arg_int(posting->entries[0].entry - 1)));
}

static enum store_result run_for_scheme(struct pg *pg, const struct sql *sql, int32_t scheme)
{
    return pg_run(pg, sql, PG_ARGS(arg_int(scheme)));
}

enum store_result store_fold(struct pg *pg, int32_t scheme)
{
    enum store_result result = run_for_scheme(pg, &sql_fold_balances, scheme);
    if (result == STORE_OK)
        result = run_for_scheme(pg, &sql_fold_site_days, scheme);
    return result == STORE_OK ? run_for_scheme(pg, &sql_fold_forget, scheme) : result;
}

enum store_result store_fold_sums(struct pg *pg, const struct posting_rows *sums)
{
    enum store_result result = post_at_once(pg, sums);
    return result == STORE_OK ? run_for_scheme(pg, &sql_fold_forget, sums->scheme) : result;
}

static enum store_result post_exceptions(struct pg *pg, struct arena *arena,
                                         const struct posting_rows *posting)
{
    const struct exception_row *exceptions = posting->exceptions;
    size_t count = posting->exception_count;
    return pg_run(pg, &sql_post_exceptions,
                  PG_ARGS(arg_int(posting->scheme), arg_int8s(COLUMN(exceptions, count, entry)),
                          arg_int4s(COLUMN(exceptions, count, position)),
                          arg_dates(COLUMN(exceptions, count, business_date)),
                          arg_texts(COMPUTED(arena, const char *, exceptions, count,
                                             exception_word(row->exception.kind))),
                          arg_int4s(COLUMN(exceptions, count, site)),
                          arg_int4s(COLUMN(exceptions, count, exception.cup_type)),
                          arg_bools(COLUMN(exceptions, count, exception.has_quantity)),
                          arg_int8s(COLUMN(exceptions, count, exception.quantity)),
                          arg_bools(COLUMN(exceptions, count, exception.has_amount)),
                          arg_int8s(COLUMN(exceptions, count, exception.amount.minor))));
}

static enum store_result post_references(struct pg *pg, struct arena *arena,
                                         const struct posting_rows *posting)
{
    const struct reference_row *references = posting->references;
    size_t count = posting->reference_count;
    return pg_run(pg, &sql_post_references,
                  PG_ARGS(arg_int(posting->scheme), arg_int8s(COLUMN(references, count, referred)),
                          arg_int8s(COLUMN(references, count, entry)),
                          arg_int4s(COMPUTED(arena, int32_t, references, count, (int32_t)row->kind))));
}

/* The shortages are resolved after the references and exceptions of the same run are in. */
static enum store_result post_transfers(struct pg *pg, const struct posting_rows *posting)
{
    const struct transfer_row *transfers = posting->transfers;
    size_t count = posting->transfer_count;
    enum store_result result = pg_run(
        pg, &sql_post_transfers,
        PG_ARGS(arg_int(posting->scheme), arg_int8s(COLUMN(transfers, count, dispatch)),
                arg_int4s(COLUMN(transfers, count, cup_type)), arg_bools(COLUMN(transfers, count, damaged)),
                arg_dates(COLUMN(transfers, count, business_date)),
                arg_int4s(COLUMN(transfers, count, sender)), arg_int4s(COLUMN(transfers, count, receiver)),
                arg_int8s(COLUMN(transfers, count, sent)), arg_int8s(COLUMN(transfers, count, received)),
                arg_int8s(COLUMN(transfers, count, lost))));
    if (result != STORE_OK)
        return result;
    return pg_run(pg, &sql_post_shortages_resolved,
                  PG_ARGS(arg_int(posting->scheme), arg_int8s(COLUMN(transfers, count, dispatch)),
                          arg_instant(posting->recorded_at)));
}

/* Cups whose deposits are forfeited, and cups that reversals took back. */
static enum store_result post_cups(struct pg *pg, const struct posting_rows *posting)
{
    enum store_result result = STORE_OK;
    const struct forfeited_row *forfeited = posting->forfeited;
    const struct reversed_row *reversed = posting->reversed;
    size_t forfeited_count = posting->forfeited_count, count = posting->reversed_count;
    if (forfeited_count > 0)
        result =
            pg_run(pg, &sql_post_forfeited,
                   PG_ARGS(arg_int(posting->scheme), arg_int4s(COLUMN(forfeited, forfeited_count, cup_type)),
                           arg_int8s(COLUMN(forfeited, forfeited_count, cups))));
    if (result == STORE_OK && count > 0)
        result = pg_run(pg, &sql_post_reversed,
                        PG_ARGS(arg_int(posting->scheme), arg_dates(COLUMN(reversed, count, business_date)),
                                arg_int4s(COLUMN(reversed, count, site)),
                                arg_dates(COLUMN(reversed, count, original_date)),
                                arg_int8s(COLUMN(reversed, count, issued)),
                                arg_int8s(COLUMN(reversed, count, returned))));
    return result;
}

static enum store_result post_days(struct pg *pg, const struct posting_rows *posting)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < posting->day_count && result == STORE_OK; i++) {
        const struct day_counters *day = &posting->days[i];
        if (day->last_entry < posting->entries[0].entry)
            continue; /* none of these entries is in it */
        result = pg_run(
            pg, &sql_post_day,
            PG_ARGS(arg_int(posting->scheme), arg_date(day->date), arg_int(day->entries),
                    arg_int(day->events), arg_int(day->late_events), arg_int(day->first_entry),
                    arg_int(day->last_entry),
                    arg_bytes(day->frontier.nodes, frontier_node_count(&day->frontier) * SHA256_SIZE)));
    }
    return result;
}

static enum store_result post_head(struct pg *pg, const struct posting_rows *posting)
{
    return pg_run(pg, &sql_post_head,
                  PG_ARGS(arg_int(posting->scheme), arg_int(posting->last_entry), arg_int(posting->gross),
                          arg_int(posting->unfolded)));
}

enum store_result store_post(struct pg *pg, struct arena *arena, const struct posting_rows *rows)
{
    enum store_result result = post_event_ids(pg, arena, rows); /* the likeliest to be refused */
    if (result == STORE_OK)
        result = post_entries(pg, arena, rows);
    if (result == STORE_OK)
        result = rows->at_once ? post_at_once(pg, rows) : post_recent(pg, rows);
    if (result == STORE_OK && rows->exception_count > 0)
        result = post_exceptions(pg, arena, rows);
    if (result == STORE_OK && rows->reference_count > 0)
        result = post_references(pg, arena, rows);
    if (result == STORE_OK && rows->transfer_count > 0)
        result = post_transfers(pg, rows);
    if (result == STORE_OK)
        result = post_cups(pg, rows);
    if (result == STORE_OK)
        result = post_days(pg, rows);
    if (result == STORE_OK)
        result = post_head(pg, rows);
    return result;
}
