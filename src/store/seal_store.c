/* SPDX-License-Identifier: ISC */
/* Reading back the sealed rows. */
#include "store/seal_store.h"

#include "sql.h"
#include "store/json_slice.h"
#include "store/leg_rows.h"
#include "store/pg_ask.h"

#include <string.h>

enum { HASHES_AT_ONCE = 4096 };

static void take_hashes_of_seal(struct pg_row *row, struct sealed_day *day)
{
    row_hashes(row, day->root.bytes, SHA256_SIZE);
    row_hashes(row, day->previous.bytes, SHA256_SIZE);
    day->sealed = !row_is_null(row);
    row_hashes(row, day->seal.bytes, SHA256_SIZE);
}

static void take_day(struct pg_row *row, void *into)
{
    struct sealed_day *day = into;
    day->date = row_date(row);
    day->frontier = row_copy_bytes(row, &day->frontier_size);
    day->entries = row_int_or_0(row);
    take_hashes_of_seal(row, day);
}

enum store_result read_sealed_days(struct pg *pg, struct arena *arena, int32_t scheme,
                                   struct sealed_day **days, size_t *count)
{
    return pg_ask(pg, &sql_check_seal_days, PG_ARGS(arg_int(scheme)),
                  PG_LIST(arena, take_day, NULL, days, count));
}

/* Takes the first columns of the statements that read leaves. The legs come before the column that tells
 * whether they can be read. */
static void take_leaf(struct pg_row *row, void *into)
{
    struct leaf_row *leaf = into;
    leaf->entry = row_int(row);
    leaf->business_date = row_date(row);
    leaf->kind = (enum entry_kind)row_int32(row);
    leaf->event = row_copy_or_null(row);
    const char *accounts = row_text(row);
    const char *amounts = row_text(row);
    row_hashes(row, leaf->hash.bytes, SHA256_SIZE);
    leaf->sound = row_bool(row);
    leaf->agreed = row_copy_or_null(row);
    leaf->followed = row_copy_or_null(row);
    if (!leaf->sound)
        return;
    struct stored_legs list = row_legs_of_texts(row, accounts, amounts);
    leaf->legs = list.legs;
    leaf->leg_count = list.count;
}

/* Reads the leaves of the next `limit` numbers. */
static enum store_result read_range(struct pg *pg, struct arena *arena, const struct leaf_range *range,
                                    struct leaf_row **leaves, size_t *count)
{
    int64_t after = range->after;
    int64_t through = after < range->through - range->limit ? after + range->limit : range->through;
    return pg_ask(pg, &sql_check_seal_leaves,
                  PG_ARGS(arg_int(range->scheme), arg_int(after), arg_int(through)),
                  PG_LIST(arena, take_leaf, NULL, leaves, count));
}

static void take_leaf_range(struct pg_row *row, void *into)
{
    struct leaf_range *range = into;
    range->after = row_int(row);
    range->through = row_int(row);
}

enum store_result read_leaf_range(struct pg *pg, struct date first, struct date last, struct leaf_range *range)
{
    return pg_ask(pg, &sql_check_seal_range,
                  PG_ARGS(arg_int(range->scheme), arg_date(first), arg_date(last)),
                  pg_one(NULL, take_leaf_range, range));
}

/* The number of the next entry; 0: there is none. */
static void take_next_entry(struct pg_row *row, void *into)
{
    *(int64_t *)into = row_int_or_0(row);
}

enum store_result read_leaves(struct pg *pg, struct arena *arena, const struct leaf_range *range,
                              struct leaf_row **leaves, size_t *count)
{
    struct leaf_range beyond = *range;
    int64_t next = 0;
    enum store_result result = read_range(pg, arena, range, leaves, count);
    if (result != STORE_OK || *count > 0)
        return result;
    /* There is a gap, or the end. */
    result = pg_ask(pg, &sql_check_seal_next, PG_ARGS(arg_int(range->scheme), arg_int(range->after)),
                    pg_one(NULL, take_next_entry, &next));
    if (result != STORE_OK || next == 0 || next > range->through)
        return result;
    beyond.after = next - 1;
    return read_range(pg, arena, &beyond, leaves, count);
}

static void take_position(struct pg_row *row, void *into)
{
    struct position_row *position = into;
    position->participant = row_int32(row);
    position->amount.minor = row_int(row);
    position->carrying.carried = row_bool(row);
}

enum store_result read_positions(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                 struct position_row **positions, size_t *count)
{
    return pg_ask(pg, &sql_check_seal_positions, PG_ARGS(arg_int(scheme), arg_date(day)),
                  PG_LIST(arena, take_position, NULL, positions, count));
}

static void take_payment(struct pg_row *row, void *into)
{
    struct payment_row *payment = into;
    row_text_into(row, payment->payment_id, sizeof payment->payment_id);
    payment->payer = row_int32(row);
    payment->payee = row_int32(row);
    payment->amount.minor = row_int(row);
    payment->host = row_int32(row);
    payment->agreed.minor = row_int(row);
    payment->in_host_currency = row_bool(row);
}

enum store_result read_payments(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                struct payment_row **payments, size_t *count)
{
    return pg_ask(pg, &sql_check_seal_payments, PG_ARGS(arg_int(scheme), arg_date(day)),
                  PG_LIST(arena, take_payment, NULL, payments, count));
}

static void take_place(struct pg_row *row, void *into)
{
    struct entry_place *place = into;
    place->scheme = row_int32(row);
    place->entry = row_int(row);
}

enum store_result read_proof_event(struct pg *pg, const struct uuid *id, int32_t scheme,
                                   const struct visible_sites *visible, struct entry_place *place,
                                   size_t *count)
{
    return pg_ask(pg, &sql_proof_event, PG_ARGS(arg_uuid(id), arg_id(scheme), arg_sites(visible)),
                  pg_first(NULL, take_place, place, count));
}

static void take_proof(struct pg_row *row, void *into)
{
    struct proof_row *proof = into;
    *proof = (struct proof_row){0};
    take_leaf(row, &proof->leaf);
    proof->day.date = proof->leaf.business_date;
    proof->first_entry = row_int(row);
    proof->last_entry = row_int(row);
    proof->day.entries = row_int_or_0(row);
    take_hashes_of_seal(row, &proof->day);
}

enum store_result read_proof_entry(struct pg *pg, struct arena *arena, const struct entry_place *place,
                                   const struct visible_sites *visible, struct proof_row *proof, bool *found)
{
    return pg_ask(pg, &sql_proof_entry,
                  PG_ARGS(arg_int(place->scheme), arg_int(place->entry), arg_sites(visible)),
                  pg_maybe(arena, take_proof, proof, found));
}

/* Numbers have no gap as wide as a slice, unless somebody has tampered with them; then there is no proof. The
 * hashes come before their number. */
static void take_hash_slice(struct pg_row *row, void *into)
{
    struct hash_slice *slice = into;
    struct pg_row hashes = *row;
    row_skip(row);
    slice->count = (size_t)row_int(row);
    slice->more = row_int(row) > 0;
    slice->hashes = arena_array(row->arena, slice->count + 1, sizeof *slice->hashes);
    row_check_memory(row, slice->hashes);
    if (!row->failed && slice->count > 0)
        row_hashes(&hashes, slice->hashes, slice->count * sizeof *slice->hashes);
    row_check(row, !hashes.failed);
}

enum store_result read_hashes(struct pg *pg, struct arena *arena, const struct hash_range *range,
                              struct hash_slice *slice)
{
    int64_t last =
        range->through - range->after > HASHES_AT_ONCE ? range->after + HASHES_AT_ONCE : range->through;
    enum store_result result =
        pg_ask(pg, &sql_proof_hashes,
               PG_ARGS(arg_int(range->scheme), arg_date(range->day), arg_int(range->after), arg_int(last)),
               pg_one(arena, take_hash_slice, slice));
    slice->last = last;
    slice->more = slice->more && last < range->through;
    return result;
}

enum store_result read_seals(struct pg *pg, int32_t scheme, struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_seals_list),
                         PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit)), slice);
}
