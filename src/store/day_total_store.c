/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/day_total_store.h"

#include "sql.h"
#include "store/pg_ask.h"

enum store_result store_day_total_lock(struct pg *pg, int32_t scheme, int32_t site, struct date date,
                                       bool *begun)
{
    *begun = false;
    return pg_ask(pg, &sql_day_total_lock, PG_ARGS(arg_int(scheme), arg_int(site), arg_date(date)),
                  pg_one(NULL, take_bool, begun));
}

enum store_result store_day_total_add(struct pg *pg, const struct day_total_row *row)
{
    return pg_run(pg, &sql_day_total_add,
                  PG_ARGS(arg_int(row->scheme), arg_int(row->site), arg_date(row->date),
                          arg_instant(row->now), arg_int(row->key), arg_int(row->issued),
                          arg_int(row->returned), arg_int(row->collected.minor),
                          arg_int(row->refunded.minor)));
}

enum store_result store_day_total_get(struct pg *pg, int32_t scheme, int32_t site, struct date date,
                                      struct buffer *json, bool *found)
{
    return pg_ask(pg, &sql_day_total_get, PG_ARGS(arg_int(scheme), arg_int(site), arg_date(date)),
                  pg_maybe(NULL, take_text, json, found));
}
