/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/purchase_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static void take_type(struct pg_row *row, void *into)
{
    struct purchase_type_row *type = into;
    type->cup_type = row_int32(row);
    type->mass_g = row_int(row);
    type->supplied = row_int(row);
    type->returned = row_int(row);
    type->retired = row_int(row);
    type->damaged = row_int(row);
    type->unaccounted = row_int(row);
    type->forfeited = row_int(row);
    type->at_sites = row_int(row);
    type->on_road = row_int(row);
    type->with_customers = row_int(row);
    type->queue_cups = row_int(row);
    type->queue_days = row_int(row);
    type->known_cups = row_int(row);
    type->known_seconds = row_int(row);
    if (row_is_null(row))
        row_skip(row);
    else
        type->more_out = row_ints(row, &type->weeks);
}

enum store_result store_purchase_types(struct pg *pg, struct arena *arena, int32_t scheme,
                                       struct plan_days days, struct purchase_type_row **types, size_t *count)
{
    return pg_ask(pg, &sql_purchase_types, PG_ARGS(arg_int(scheme), arg_date(days.from), arg_date(days.to)),
                  PG_LIST(arena, take_type, NULL, types, count));
}
