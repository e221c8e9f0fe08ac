/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/payment_store.h"

#include "sql.h"
#include "store/leg_rows.h"
#include "store/pg_ask.h"

enum store_result store_payment_scheme(struct pg *pg, const char *payment_id, int32_t *scheme)
{
    *scheme = 0;
    return pg_ask(pg, &sql_payment_scheme, PG_ARGS(arg_text(payment_id)),
                  pg_maybe(NULL, take_int32, scheme, NULL));
}

/* The changes and keys come before the closing instant, the instants after it. */
static void take_payment(struct pg_row *row, void *into)
{
    struct payment *payment = into;
    row_check(row, payment_status_parse(row_text(row), &payment->status));
    payment->held = row_bool(row);
    payment->released = row_bool(row);
    payment->payer = row_int32_or_0(row);
    payment->payee = row_int32_or_0(row);
    payment->amount.minor = row_int(row);
    payment->dual_control = row_bool_or_false(row);
    payment->closed_by = row_int32_or_0(row);
    const int64_t *changes = row_ints(row, &payment->act_count);
    const int64_t *keys = row_ints_of(row, payment->act_count);
    payment->closed_at = row_instant(row);
    const int64_t *instants = row_ints_of(row, payment->act_count);
    payment->host = row_int32_or_0(row);
    payment->in_own_currency = row_bool(row);
    payment->agreed.minor = row_int(row);
    payment->signed_by = row_int32_or_0(row);
    struct payment_act *acts = arena_array(row->arena, payment->act_count + 1, sizeof *acts);
    row_check_memory(row, acts);
    for (size_t i = 0; !row->failed && i < payment->act_count; i++)
        acts[i] = (struct payment_act){(enum payment_change)changes[i], (int32_t)keys[i], {instants[i]}};
    payment->acts = acts;
}

enum store_result store_payment(struct pg *pg, struct arena *arena, int32_t scheme, const char *payment_id,
                                struct payment *payment, bool *found)
{
    return pg_ask(pg, &sql_payment_find, PG_ARGS(arg_int(scheme), arg_text(payment_id)),
                  pg_maybe(arena, take_payment, payment, found));
}

enum store_result store_payment_confirmation(struct pg *pg, struct arena *arena, int32_t scheme,
                                             const char *payment_id, struct leg **legs, size_t *count)
{
    struct stored_legs list;
    enum store_result result =
        pg_ask(pg, &sql_payment_confirmation, PG_ARGS(arg_int(scheme), arg_text(payment_id)),
               pg_one(arena, take_legs, &list));
    if (result == STORE_OK) {
        *legs = list.legs;
        *count = list.count;
    }
    return result;
}

/* If the day has no such payments, there is one row without an id. */
static void take_computed(struct pg_row *row, void *into)
{
    struct computed_payments *payments = row->shared;
    payments->closed = row_bool(row);
    *(const char **)into = row_copy_or_null(row);
}

enum store_result store_payments_computed(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                          struct computed_payments *payments)
{
    enum store_result result =
        pg_ask(pg, &sql_payments_of_day, PG_ARGS(arg_int(scheme), arg_date(day)),
               PG_LIST(arena, take_computed, payments, &payments->ids, &payments->count));
    if (result == STORE_OK && payments->count > 0 && payments->ids[0] == NULL)
        payments->count = 0;
    return result;
}

enum store_result store_payment_change(struct pg *pg, const struct payment_change_row *row)
{
    return pg_ask(pg, &sql_payment_change,
                  PG_ARGS(arg_int(row->scheme), arg_text(row->payment_id),
                          arg_text(payment_status_word(row->status)), arg_instant(row->changed_at),
                          arg_int(row->key), arg_text(payment_change_word(row->change)), arg_text(row->note),
                          arg_int(row->entry), arg_int(row->booked.minor)),
                  pg_touches_one());
}
