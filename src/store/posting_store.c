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
            arg_int4s(COLUMN(entries, count, scheme)), arg_instant(posting->recorded_at),
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
    int32_t scheme;
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
        ids[count].scheme = row->scheme;
        ids[count].id = row->event->id;
        memcpy(ids[count].digest, row->event->digest.bytes, sizeof ids[count].digest);
        ids[count++].entry = row->entry;
    }
    if (count == 0)
        return STORE_OK;
    return pg_run(pg, &sql_post_event_ids,
                  PG_ARGS(arg_int4s(COLUMN(ids, count, scheme)), arg_uuids(COLUMN(ids, count, id)),
                          arg_bytes_array(ids->digest, sizeof ids->digest, count, sizeof *ids),
                          arg_int8s(COLUMN(ids, count, entry))));
}

static enum store_result post_balances(struct pg *pg, const struct posting_rows *posting)
{
    const struct movement_row *movements = posting->movements;
    size_t count = posting->movement_count;
    return pg_run(pg, &sql_post_balances,
                  PG_ARGS(arg_int4s(COLUMN(movements, count, scheme)),
                          arg_int8s(COLUMN(movements, count, account.code)),
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
                  PG_ARGS(arg_int4s(COLUMN(days, count, scheme)), arg_int4s(COLUMN(days, count, site)),
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

/* Each scheme's movements and site days are slices of the arrays, from the first to the last element,
 * counted from 1. */
static enum store_result post_recent(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    const struct posted_scheme *schemes = posting->schemes;
    const struct movement_row *movements = posting->movements;
    const struct site_day_row *days = posting->site_days;
    size_t scheme_count = posting->scheme_count, count = posting->movement_count,
           day_count = posting->site_day_count;
    return pg_run(
        pg, &sql_post_recent,
        PG_ARGS(arg_int4s(COLUMN(schemes, scheme_count, scheme)),
                arg_int8s(COLUMN(schemes, scheme_count, after_entry)),
                arg_int8s(COLUMN(schemes, scheme_count, last_entry)),
                arg_int4s(COMPUTED(arena, int32_t, schemes, scheme_count, (int32_t)row->first_movement + 1)),
                arg_int4s(COMPUTED(arena, int32_t, schemes, scheme_count,
                                   (int32_t)(row->first_movement + row->movement_count))),
                arg_int4s(COMPUTED(arena, int32_t, schemes, scheme_count, (int32_t)row->first_site_day + 1)),
                arg_int4s(COMPUTED(arena, int32_t, schemes, scheme_count,
                                   (int32_t)(row->first_site_day + row->site_day_count))),
                arg_int8s(COLUMN(movements, count, account.code)),
                arg_dates(COLUMN(movements, count, business_date)),
                arg_int8s(COLUMN(movements, count, amount)), arg_int4s(COLUMN(days, day_count, site)),
                arg_dates(COLUMN(days, day_count, business_date)), ACTIVITY_COLUMNS(days, day_count)));
}

enum store_result store_fold(struct pg *pg, const int32_t *schemes, size_t count)
{
    struct pg_args args = PG_ARGS(arg_int4s(ARRAY(schemes, count)));
    enum store_result result = pg_run(pg, &sql_fold_balances, args);
    if (result == STORE_OK)
        result = pg_run(pg, &sql_fold_site_days, args);
    return result == STORE_OK ? pg_run(pg, &sql_fold_forget, args) : result;
}

enum store_result store_fold_sums(struct pg *pg, const struct posting_rows *sums)
{
    enum store_result result = post_at_once(pg, sums);
    return result == STORE_OK ? pg_run(pg, &sql_fold_forget,
                                       PG_ARGS(arg_int4s(COLUMN(sums->schemes, sums->scheme_count, scheme))))
                              : result;
}

static enum store_result post_exceptions(struct pg *pg, struct arena *arena,
                                         const struct posting_rows *posting)
{
    const struct exception_row *exceptions = posting->exceptions;
    size_t count = posting->exception_count;
    return pg_run(
        pg, &sql_post_exceptions,
        PG_ARGS(
            arg_int4s(COLUMN(exceptions, count, scheme)), arg_int8s(COLUMN(exceptions, count, entry)),
            arg_int4s(COLUMN(exceptions, count, position)),
            arg_dates(COLUMN(exceptions, count, business_date)),
            arg_texts(COMPUTED(arena, const char *, exceptions, count, exception_word(row->exception.kind))),
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
                  PG_ARGS(arg_int4s(COLUMN(references, count, scheme)),
                          arg_int8s(COLUMN(references, count, referred)),
                          arg_int8s(COLUMN(references, count, entry)),
                          arg_int4s(COMPUTED(arena, int32_t, references, count, (int32_t)row->kind)),
                          arg_int4s(COLUMN(references, count, host))));
}

static enum store_result post_shipments(struct pg *pg, const struct posting_rows *posting)
{
    const struct fulfilment_row *rows = posting->fulfilments;
    size_t count = posting->fulfilment_count;
    return pg_run(pg, &sql_post_shipments,
                  PG_ARGS(arg_int4s(COLUMN(rows, count, scheme)), arg_int8s(COLUMN(rows, count, dispatch)),
                          arg_uuids(COLUMN(rows, count, shipment))));
}

/* The shortages are resolved after the references and exceptions of the same run are in. */
static enum store_result post_transfers(struct pg *pg, const struct posting_rows *posting)
{
    const struct transfer_row *transfers = posting->transfers;
    size_t count = posting->transfer_count;
    enum store_result result = pg_run(
        pg, &sql_post_transfers,
        PG_ARGS(arg_int4s(COLUMN(transfers, count, scheme)), arg_int8s(COLUMN(transfers, count, dispatch)),
                arg_int4s(COLUMN(transfers, count, cup_type)), arg_bools(COLUMN(transfers, count, damaged)),
                arg_dates(COLUMN(transfers, count, business_date)),
                arg_int4s(COLUMN(transfers, count, sender)), arg_int4s(COLUMN(transfers, count, receiver)),
                arg_int8s(COLUMN(transfers, count, sent)), arg_int8s(COLUMN(transfers, count, received)),
                arg_int8s(COLUMN(transfers, count, lost)), arg_int4s(COLUMN(transfers, count, home))));
    if (result != STORE_OK)
        return result;
    return pg_run(pg, &sql_post_shortages_resolved,
                  PG_ARGS(arg_int4s(COLUMN(transfers, count, scheme)),
                          arg_int8s(COLUMN(transfers, count, dispatch)), arg_instant(posting->recorded_at)));
}

/* Cups whose deposits are forfeited, and cups that reversals took back. */
static enum store_result post_cups(struct pg *pg, const struct posting_rows *posting)
{
    enum store_result result = STORE_OK;
    const struct forfeited_row *forfeited = posting->forfeited;
    const struct reversed_row *reversed = posting->reversed;
    size_t forfeited_count = posting->forfeited_count, count = posting->reversed_count;
    if (forfeited_count > 0)
        result = pg_run(pg, &sql_post_forfeited,
                        PG_ARGS(arg_int4s(COLUMN(forfeited, forfeited_count, scheme)),
                                arg_int4s(COLUMN(forfeited, forfeited_count, cup_type)),
                                arg_int8s(COLUMN(forfeited, forfeited_count, cups))));
    if (result == STORE_OK && count > 0)
        result = pg_run(
            pg, &sql_post_reversed,
            PG_ARGS(
                arg_int4s(COLUMN(reversed, count, scheme)), arg_dates(COLUMN(reversed, count, business_date)),
                arg_int4s(COLUMN(reversed, count, site)), arg_dates(COLUMN(reversed, count, original_date)),
                arg_int8s(COLUMN(reversed, count, issued)), arg_int8s(COLUMN(reversed, count, returned))));
    return result;
}

static enum store_result post_between(struct pg *pg, const struct posting_rows *posting)
{
    enum store_result result = STORE_OK;
    const struct agreed_row *agreed = posting->agreed;
    const struct followed_row *followed = posting->followed;
    size_t agreed_count = posting->agreed_count, count = posting->followed_count;
    if (agreed_count > 0)
        result = pg_run(pg, &sql_post_agreed,
                        PG_ARGS(arg_int4s(COLUMN(agreed, agreed_count, scheme)),
                                arg_int8s(COLUMN(agreed, agreed_count, entry)),
                                arg_int4s(COLUMN(agreed, agreed_count, agreed.home)),
                                arg_int4s(COLUMN(agreed, agreed_count, agreed.host)),
                                arg_int8s(COLUMN(agreed, agreed_count, agreed.exact.minor)),
                                arg_bools(COLUMN(agreed, agreed_count, agreed.in_host_currency)),
                                arg_int8s(COLUMN(agreed, agreed_count, agreed.rate_e12))));
    if (result == STORE_OK && count > 0)
        result = pg_run(
            pg, &sql_post_followed,
            PG_ARGS(arg_int4s(COLUMN(followed, count, scheme)), arg_int8s(COLUMN(followed, count, entry)),
                    arg_int4s(COLUMN(followed, count, followed.host)),
                    arg_int8s(COLUMN(followed, count, followed.entry)),
                    arg_uuids(COLUMN(followed, count, followed.event_id)),
                    arg_bytes_array(followed->followed.hash.bytes, SHA256_SIZE, count, sizeof *followed)));
    return result;
}

static struct blob frontier_blob(const struct frontier *frontier)
{
    return (struct blob){frontier->nodes, frontier_node_count(frontier) * SHA256_SIZE};
}

static enum store_result post_days(struct pg *pg, struct arena *arena, const struct posting_rows *posting)
{
    const struct day_counters *const *days = posting->days;
    size_t count = posting->day_count;
    return pg_run(
        pg, &sql_post_days,
        PG_ARGS(arg_int4s(COMPUTED(arena, int32_t, days, count, (*row)->scheme)),
                arg_dates(COMPUTED(arena, struct date, days, count, (*row)->date)),
                arg_int8s(COMPUTED(arena, int64_t, days, count, (*row)->entries)),
                arg_int8s(COMPUTED(arena, int64_t, days, count, (*row)->events)),
                arg_int8s(COMPUTED(arena, int64_t, days, count, (*row)->late_events)),
                arg_int8s(COMPUTED(arena, int64_t, days, count, (*row)->first_entry)),
                arg_int8s(COMPUTED(arena, int64_t, days, count, (*row)->last_entry)),
                arg_blobs(COMPUTED(arena, struct blob, days, count, frontier_blob(&(*row)->frontier)))));
}

static enum store_result post_heads(struct pg *pg, const struct posting_rows *posting)
{
    const struct posted_scheme *schemes = posting->schemes;
    size_t count = posting->scheme_count;
    return pg_run(
        pg, &sql_post_heads,
        PG_ARGS(arg_int4s(COLUMN(schemes, count, scheme)), arg_int8s(COLUMN(schemes, count, last_entry)),
                arg_int8s(COLUMN(schemes, count, gross)), arg_int4s(COLUMN(schemes, count, unfolded))));
}

enum store_result store_post(struct pg *pg, struct arena *arena, const struct posting_rows *rows)
{
    enum store_result result = post_event_ids(pg, arena, rows); /* the likeliest to be refused */
    if (result == STORE_OK)
        result = post_entries(pg, arena, rows);
    if (result == STORE_OK)
        result = rows->at_once ? post_at_once(pg, rows) : post_recent(pg, arena, rows);
    if (result == STORE_OK && rows->exception_count > 0)
        result = post_exceptions(pg, arena, rows);
    if (result == STORE_OK && rows->reference_count > 0)
        result = post_references(pg, arena, rows);
    if (result == STORE_OK && rows->fulfilment_count > 0) /* before the transfers, whose trigger reads it */
        result = post_shipments(pg, rows);
    if (result == STORE_OK && rows->transfer_count > 0)
        result = post_transfers(pg, rows);
    if (result == STORE_OK)
        result = post_cups(pg, rows);
    if (result == STORE_OK)
        result = post_between(pg, rows);
    if (result == STORE_OK)
        result = post_days(pg, arena, rows);
    if (result == STORE_OK)
        result = post_heads(pg, rows);
    return result;
}
