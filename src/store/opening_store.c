/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/opening_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static void take_last(struct pg_row *row, void *into)
{
    enum last_entry *last = into;
    bool is_opening = row_bool(row), is_reversed = row_bool(row);
    *last = is_opening ? LAST_IS_OPENING : is_reversed ? LAST_IS_REVERSED_OPENING : LAST_IS_OTHER;
}

enum store_result store_opening_last(struct pg *pg, int32_t scheme, enum last_entry *last)
{
    bool found;
    *last = LAST_IS_NONE;
    return pg_ask(pg, &sql_opening_last, PG_ARGS(arg_int(scheme)), pg_maybe(NULL, take_last, last, &found));
}

enum store_result store_opening_pending(struct pg *pg, int32_t scheme, bool *pending)
{
    return pg_ask(pg, &sql_opening_pending, PG_ARGS(arg_int(scheme)), pg_one(NULL, take_bool, pending));
}

enum store_result store_balance_sheet(struct pg *pg, struct arena *arena, int32_t scheme,
                                      const struct leg *legs, size_t count, const char **sheet)
{
    return pg_ask(pg, &sql_opening_sheet,
                  PG_ARGS(arg_int(scheme), arg_int8s(COLUMN(legs, count, account.code)),
                          arg_int8s(COLUMN(legs, count, amount))),
                  pg_one(arena, take_copy, sheet));
}

enum store_result store_proposed_sheet(struct pg *pg, struct arena *arena, int32_t scheme,
                                       const struct uuid *id, const char **sheet)
{
    bool found;
    *sheet = NULL;
    return pg_ask(pg, &sql_proposed_sheet, PG_ARGS(arg_int(scheme), arg_uuid(id)),
                  pg_maybe(arena, take_copy, sheet, &found));
}

static void take_uuid(struct pg_row *row, void *into)
{
    *(struct uuid *)into = row_uuid(row);
}

enum store_result store_ids_taken(struct pg *pg, struct arena *arena, int32_t scheme, struct pg_arg ids,
                                  struct uuid **taken, size_t *count)
{
    return pg_ask(pg, &sql_event_ids_taken, PG_ARGS(arg_int(scheme), ids),
                  PG_LIST(arena, take_uuid, NULL, taken, count));
}

enum store_result store_opening_shipments(struct pg *pg, int32_t scheme, int64_t entry)
{
    return pg_run(pg, &sql_opening_shipments, PG_ARGS(arg_int(scheme), arg_int(entry)));
}

enum store_result store_opening_shipments_reverse(struct pg *pg, int32_t scheme, int64_t entry)
{
    return pg_run(pg, &sql_opening_shipments_reverse, PG_ARGS(arg_int(scheme), arg_int(entry)));
}
