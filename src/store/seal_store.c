/* SPDX-License-Identifier: ISC */
/* Reading back what was sealed. */
#include "store/seal_store.h"

#include "sql.h"
#include "store/json_slice.h"

#include <stdio.h>
#include <string.h>

enum { HASHES_AT_ONCE = 4096 };

enum store_result read_sealed_days(struct pg *pg, struct arena *arena, int32_t scheme,
                                   struct sealed_day **days, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, &sql_check_seal_days, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *days = arena_array(arena, *count + 1, sizeof **days);
    if (*days == NULL)
        return STORE_FAILED;
    for (int row = 0; row < (int)*count; row++) {
        struct sealed_day *day = &(*days)[row];
        size_t size = pg_length(rows, row, 1) / 2; /* bytea comes as \\x and two digits a byte */
        *day = (struct sealed_day){.date = pg_date(rows, row, 0),
                                   .frontier = arena_alloc(arena, size + 1),
                                   .sealed = !pg_is_null(rows, row, 5),
                                   .entries = pg_int(rows, row, 2)};
        if (day->frontier == NULL)
            return STORE_FAILED;
        day->frontier_size = pg_bytes(rows, row, 1, day->frontier, size);
        pg_digest(rows, row, 3, day->root.bytes);
        pg_digest(rows, row, 4, day->previous.bytes);
        pg_digest(rows, row, 5, day->seal.bytes);
    }
    return STORE_OK;
}

/* False: out of memory, here and below. */
static bool read_legs(const struct pg_rows *rows, int row, struct arena *arena, struct leaf_row *leaf)
{
    int64_t *accounts, *amounts;
    size_t account_count, amount_count;
    if (!pg_int8_list(rows, row, 4, arena, &accounts, &account_count) ||
        !pg_int8_list(rows, row, 5, arena, &amounts, &amount_count))
        return false;
    if (account_count != amount_count)
        return false;
    leaf->leg_count = account_count;
    leaf->legs = arena_array(arena, leaf->leg_count + 1, sizeof *leaf->legs);
    if (leaf->legs == NULL)
        return false;
    for (size_t i = 0; i < leaf->leg_count; i++)
        leaf->legs[i] = (struct leg){{accounts[i]}, amounts[i]};
    return true;
}

/* The first columns of the statements that read leaves are the same. */
static bool read_leaf(const struct pg_rows *rows, int row, struct arena *arena, struct leaf_row *leaf)
{
    *leaf = (struct leaf_row){
        .entry = pg_int(rows, row, 0),
        .business_date = pg_date(rows, row, 1),
        .kind = (enum entry_kind)pg_int(rows, row, 2),
        .sound = pg_bool(rows, row, 7),
    };
    pg_digest(rows, row, 6, leaf->hash.bytes);
    if (!pg_is_null(rows, row, 3)) {
        leaf->event = arena_copy(arena, pg_text(rows, row, 3), pg_length(rows, row, 3));
        if (leaf->event == NULL)
            return false;
    }
    return !leaf->sound || read_legs(rows, row, arena, leaf);
}

/* Those of the next `limit` numbers. */
static enum store_result query_range(struct pg *pg, int32_t scheme, int64_t after, int limit,
                                     struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, after);
    pg_add_int(&params, after < INT64_MAX - limit ? after + limit : INT64_MAX);
    return pg_query(pg, &sql_check_seal_leaves, &params, rows);
}

/* After a gap. *after becomes the number before the next entry. False: there is none, or *result is a
 * failure.
 */
static bool skip_gap(struct pg *pg, int32_t scheme, int64_t *after, enum store_result *result)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, *after);
    *result = pg_query(pg, &sql_check_seal_next, &params, &rows);
    if (*result != STORE_OK || pg_is_null(rows, 0, 0))
        return false;
    *after = pg_int(rows, 0, 0) - 1;
    return true;
}

enum store_result read_leaves(struct pg *pg, struct arena *arena, int32_t scheme, int64_t after, int limit,
                              struct leaf_row **leaves, size_t *count)
{
    PG_ROWS rows = NULL;
    *count = 0;
    enum store_result result = query_range(pg, scheme, after, limit, &rows);
    if (result == STORE_OK && pg_row_count(rows) == 0) {
        if (!skip_gap(pg, scheme, &after, &result))
            return result;
        pg_rows_free(&rows);
        result = query_range(pg, scheme, after, limit, &rows);
    }
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *leaves = arena_array(arena, *count + 1, sizeof **leaves);
    if (*leaves == NULL)
        return STORE_FAILED;
    for (int row = 0; row < (int)*count; row++)
        if (!read_leaf(rows, row, arena, &(*leaves)[row]))
            return STORE_FAILED;
    return STORE_OK;
}

static enum store_result query_day(struct pg *pg, const struct sql *sql, int32_t scheme, struct date day,
                                   struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_date(&params, day);
    return pg_query(pg, sql, &params, rows);
}

enum store_result read_positions(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                 struct position_row **positions, size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, &sql_check_seal_positions, scheme, day, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *positions = arena_array(arena, *count + 1, sizeof **positions);
    if (*positions == NULL)
        return STORE_FAILED;
    for (int row = 0; row < (int)*count; row++)
        (*positions)[row] = (struct position_row){.participant = (int32_t)pg_int(rows, row, 0),
                                                  .amount = {pg_int(rows, row, 1)},
                                                  .carried = pg_bool(rows, row, 2)};
    return STORE_OK;
}

enum store_result read_payments(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                struct payment_row **payments, size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, &sql_check_seal_payments, scheme, day, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *payments = arena_array(arena, *count + 1, sizeof **payments);
    if (*payments == NULL)
        return STORE_FAILED;
    for (int row = 0; row < (int)*count; row++) {
        struct payment_row *payment = &(*payments)[row];
        *payment = (struct payment_row){.payer = (int32_t)pg_int(rows, row, 1),
                                        .payee = (int32_t)pg_int(rows, row, 2),
                                        .amount = {pg_int(rows, row, 3)}};
        snprintf(payment->payment_id, sizeof payment->payment_id, "%s", pg_text(rows, row, 0));
    }
    return STORE_OK;
}

enum store_result read_proof_event(struct pg *pg, struct arena *arena, const struct uuid *id,
                                   int32_t of_scheme, const struct visible_sites *visible, int *count,
                                   int32_t *scheme, int64_t *entry)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_uuid(&params, id);
    if (of_scheme != 0)
        pg_add_int(&params, of_scheme);
    else
        pg_add_null(&params);
    add_visible_sites(&params, visible);
    enum store_result result = pg_query(pg, &sql_proof_event, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = pg_row_count(rows);
    if (*count > 0) {
        *scheme = (int32_t)pg_int(rows, 0, 0);
        *entry = pg_int(rows, 0, 1);
    }
    return STORE_OK;
}

enum store_result read_proof_entry(struct pg *pg, struct arena *arena, int32_t scheme, int64_t entry,
                                   const struct visible_sites *visible, struct proof_row *proof, bool *found)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_int(&params, entry);
    add_visible_sites(&params, visible);
    enum store_result result = pg_query(pg, &sql_proof_entry, &params, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows) > 0;
    if (!*found)
        return STORE_OK;
    *proof = (struct proof_row){
        .first_entry = pg_int(rows, 0, 8),
        .last_entry = pg_int(rows, 0, 9),
        .day = {.date = pg_date(rows, 0, 1),
                .sealed = !pg_is_null(rows, 0, 13),
                .entries = pg_int(rows, 0, 10)},
    };
    pg_digest(rows, 0, 11, proof->day.root.bytes);
    pg_digest(rows, 0, 12, proof->day.previous.bytes);
    pg_digest(rows, 0, 13, proof->day.seal.bytes);
    return read_leaf(rows, 0, arena, &proof->leaf) ? STORE_OK : STORE_FAILED;
}

enum store_result read_hashes(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                              int64_t after, int64_t through, struct hash_slice *slice)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    int64_t last = through - after > HASHES_AT_ONCE ? after + HASHES_AT_ONCE : through;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_date(&params, day);
    pg_add_int(&params, after);
    pg_add_int(&params, last);
    enum store_result result = pg_query(pg, &sql_proof_hashes, &params, &rows);
    if (result != STORE_OK)
        return result;
    /* Numbers have no gap as wide as a slice, unless somebody has tampered with them: then there is no proof.
     */
    *slice = (struct hash_slice){
        .count = (size_t)pg_int(rows, 0, 1), .last = last, .more = pg_int(rows, 0, 2) > 0 && last < through};
    slice->hashes = arena_array(arena, slice->count + 1, sizeof *slice->hashes);
    if (slice->hashes == NULL)
        return STORE_FAILED;
    size_t size = pg_bytes(rows, 0, 0, slice->hashes, slice->count * sizeof *slice->hashes);
    memset((uint8_t *)slice->hashes + size, 0xff, slice->count * sizeof *slice->hashes - size);
    return STORE_OK;
}

enum store_result read_seals(struct pg *pg, int32_t scheme, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    return read_list_slice(pg, &sql_seals_list, &params, slice);
}
