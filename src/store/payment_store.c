/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/payment_store.h"

#include "sql.h"

#include <string.h>

static enum store_result query_payment(struct pg *pg, const struct sql *sql, int32_t scheme,
                                       const char *payment_id, struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_text(&params, payment_id);
    return pg_query(pg, sql, &params, rows);
}

enum store_result store_payment_scheme(struct pg *pg, const char *payment_id, int32_t *scheme)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, payment_id);
    enum store_result result = pg_query(pg, &sql_payment_scheme, &params, &rows);
    if (result == STORE_OK)
        *scheme = pg_row_count(rows) > 0 ? (int32_t)pg_int(rows, 0, 0) : 0;
    return result;
}

static enum store_result read_acts(const struct pg_rows *rows, struct arena *arena, struct payment *payment)
{
    int64_t *changes, *keys, *instants;
    size_t key_count, instant_count;
    if (!pg_int8_list(rows, 0, 8, arena, &changes, &payment->act_count) ||
        !pg_int8_list(rows, 0, 9, arena, &keys, &key_count) || key_count != payment->act_count ||
        !pg_int8_list(rows, 0, 11, arena, &instants, &instant_count) || instant_count != key_count)
        return STORE_FAILED;
    struct payment_act *acts = arena_array(arena, key_count + 1, sizeof *acts);
    if (acts == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < key_count; i++)
        acts[i] = (struct payment_act){(enum payment_change)changes[i], (int32_t)keys[i], {instants[i]}};
    payment->acts = acts;
    return STORE_OK;
}

enum store_result store_payment(struct pg *pg, struct arena *arena, int32_t scheme, const char *payment_id,
                                struct payment *payment, bool *found)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_payment(pg, &sql_payment_find, scheme, payment_id, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows) > 0;
    if (!*found)
        return STORE_OK;
    *payment = (struct payment){
        .held = pg_bool(rows, 0, 1),
        .released = pg_bool(rows, 0, 2),
        .payer = (int32_t)pg_int(rows, 0, 3),
        .payee = (int32_t)pg_int(rows, 0, 4),
        .amount = {pg_int(rows, 0, 5)},
        .dual_control = pg_bool(rows, 0, 6),
        .closed_by = (int32_t)pg_int(rows, 0, 7),
        .closed_at = pg_instant(rows, 0, 10),
    };
    if (!payment_status_parse(pg_text(rows, 0, 0), &payment->status))
        return STORE_FAILED;
    return read_acts(rows, arena, payment);
}

enum store_result store_payment_confirmation(struct pg *pg, struct arena *arena, int32_t scheme,
                                             const char *payment_id, struct leg **legs, size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_payment(pg, &sql_payment_confirmation, scheme, payment_id, &rows);
    if (result != STORE_OK)
        return result;
    if (pg_row_count(rows) != 1)
        return STORE_FAILED;
    return store_read_legs(rows, 0, 0, arena, legs, count);
}

enum store_result store_payments_computed(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                          const char ***payment_ids, size_t *count, bool *closed)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_date(&params, day);
    enum store_result result = pg_query(pg, &sql_payments_of_day, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = 0;
    *closed = pg_bool(rows, 0, 0);
    *payment_ids = arena_array(arena, (size_t)pg_row_count(rows), sizeof **payment_ids);
    if (*payment_ids == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++) {
        if (pg_is_null(rows, i, 1))
            continue; /* there are none */
        const char *id = arena_copy(arena, pg_text(rows, i, 1), pg_length(rows, i, 1));
        if (id == NULL)
            return STORE_FAILED;
        (*payment_ids)[(*count)++] = id;
    }
    return STORE_OK;
}

enum store_result store_payment_change(struct pg *pg, const struct payment_change_row *row)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, row->scheme);
    pg_add_text(&params, row->payment_id);
    pg_add_text(&params, payment_status_word(row->status));
    pg_add_instant(&params, row->changed_at);
    pg_add_int(&params, row->key);
    pg_add_text(&params, payment_change_word(row->change));
    pg_add_text(&params, row->note);
    pg_add_int(&params, row->entry);
    enum store_result result = pg_query(pg, &sql_payment_change, &params, &rows);
    if (result == STORE_OK && pg_affected(rows) != 1)
        return STORE_FAILED;
    return result;
}
