/* SPDX-License-Identifier: ISC */
/* Reading back what was sealed. */
#include "store/seal_store.h"

#include "sql.h"

#include <stdio.h>

static void read_digest(const struct pg_rows *rows, int row, int column, struct sha256 *digest)
{
    *digest = (struct sha256){{0}};
    pg_bytes(rows, row, column, digest->bytes, sizeof digest->bytes);
}

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
        read_digest(rows, row, 3, &day->root);
        read_digest(rows, row, 4, &day->previous);
        read_digest(rows, row, 5, &day->seal);
    }
    return STORE_OK;
}

static bool read_legs(const struct pg_rows *rows, int row, struct arena *arena, struct leaf_row *leaf)
{
    int64_t *accounts, *amounts;
    size_t account_count, amount_count;
    if (!pg_int8_list(rows, row, 4, arena, &accounts, &account_count) ||
        !pg_int8_list(rows, row, 5, arena, &amounts, &amount_count))
        return false;
    leaf->leg_count = account_count < amount_count ? account_count : amount_count;
    leaf->legs = arena_array(arena, leaf->leg_count + 1, sizeof *leaf->legs);
    if (leaf->legs == NULL)
        return false;
    for (size_t i = 0; i < leaf->leg_count; i++)
        leaf->legs[i] = (struct leg){{accounts[i]}, amounts[i]};
    return true;
}

enum store_result read_leaves(struct pg *pg, struct arena *arena, int32_t scheme, int64_t after, int limit,
                              struct leaf_row **leaves, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, after);
    pg_add_int(&params, limit);
    enum store_result result = pg_query(pg, &sql_check_seal_leaves, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *leaves = arena_array(arena, *count + 1, sizeof **leaves);
    if (*leaves == NULL)
        return STORE_FAILED;
    for (int row = 0; row < (int)*count; row++) {
        struct leaf_row *leaf = &(*leaves)[row];
        leaf->entry = pg_int(rows, row, 0);
        leaf->business_date = pg_date(rows, row, 1);
        leaf->kind = (enum entry_kind)pg_int(rows, row, 2);
        if (!pg_is_null(rows, row, 3))
            leaf->event = arena_copy(arena, pg_text(rows, row, 3), pg_length(rows, row, 3));
        read_digest(rows, row, 6, &leaf->hash);
        if (!read_legs(rows, row, arena, leaf))
            return STORE_FAILED;
    }
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
