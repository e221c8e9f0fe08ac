/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/returns_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static void take_fate(struct pg_row *row, void *into)
{
    struct fate_row *fate = into;
    fate->first = row_date(row);
    fate->last = row_date(row);
    fate->out = row_int(row);
    fate->week = row_is_null(row) ? (row_int32_or_0(row), NO_WEEK) : row_int32(row);
    fate->later = row_int32(row);
    fate->cups = row_int(row);
}

enum store_result read_fates(struct pg *pg, struct arena *arena, int32_t scheme, int32_t cup_type, int weeks,
                             struct fate_rows *rows)
{
    return pg_ask(pg, &sql_returns_to_come, PG_ARGS(arg_int(scheme), arg_int(cup_type), arg_int(weeks)),
                  PG_LIST(arena, take_fate, NULL, &rows->items, &rows->count));
}
