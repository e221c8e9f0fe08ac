/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/month_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static void take_state(struct pg_row *row, void *into)
{
    struct month_state *state = into;
    state->exists = row_bool(row);
    state->ended = row_bool(row);
    state->closed = row_bool(row);
}

enum store_result store_month_state(struct pg *pg, int32_t scheme, struct date day, struct month_state *state)
{
    *state = (struct month_state){0};
    return pg_ask(pg, &sql_month_state, PG_ARGS(arg_int(scheme), arg_date(day)),
                  pg_one(NULL, take_state, state));
}

enum store_result store_month_decide(struct pg *pg, const struct month_change *change)
{
    return pg_run(pg, &sql_month_decide,
                  PG_ARGS(arg_int(change->scheme), arg_date(change->first), arg_bool(change->closes),
                          arg_int(change->proposal), arg_instant(change->now), arg_int(change->key)));
}

enum store_result read_months(struct pg *pg, int32_t scheme, struct list_slice *slice)
{
    return read_list_slice(pg, &sql_months_list,
                           PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit)), slice);
}

enum store_result read_month(struct pg *pg, int32_t scheme, struct date first, struct buffer *json,
                             bool *found)
{
    return pg_ask(pg, &sql_month_get, PG_ARGS(arg_int(scheme), arg_date(first)),
                  pg_maybe(NULL, take_text, json, found));
}
