/* SPDX-License-Identifier: ISC */
/* One function per statement, but for the statements that keep the sightings of a slice. */
#include "store/cup_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static void take_slice(struct pg_row *row, void *into)
{
    struct cup_slice *slice = into;
    slice->scheme = row_int32(row);
    slice->after = row_int(row);
    slice->through = row_int(row);
}

enum store_result store_cups_behind(struct pg *pg, struct arena *arena, int64_t most, int32_t last,
                                    struct cup_slice **slices, size_t *count)
{
    return pg_ask(pg, &sql_cups_behind, PG_ARGS(arg_int(most), arg_int(last)),
                  PG_LIST(arena, take_slice, NULL, slices, count));
}

enum store_result store_cups_lock(struct pg *pg, bool *locked)
{
    return pg_ask(pg, &sql_cups_lock, PG_NO_ARGS, pg_one(NULL, take_bool, locked));
}

/* The place moves first: the second of two instances finds it moved, and keeps nothing. Cups that are named
 * come before those that a receipt brings, because a dispatch in the same slice names them. Reversals are
 * noted before these, because what was reversed by then counts for nothing, and again for these. The cups
 * supplied and moved without names follow from all sightings, and findings follow from these. */
enum store_result store_cups_keep(struct pg *pg, const struct cup_slice *slice, struct instant now)
{
    static const struct sql *const statements[] = {&sql_cups_named, &sql_cups_reversed, &sql_cups_brought,
                                                   &sql_cups_reversed, &sql_cups_supplied, &sql_cups_unnamed};
    struct pg_args args = PG_ARGS(arg_int(slice->scheme), arg_int(slice->after), arg_int(slice->through));
    int64_t moved = 0;
    enum store_result result = pg_ask(pg, &sql_cups_move, args, pg_touched(&moved));
    if (result == STORE_OK && moved != 1)
        return STORE_CONFLICT;
    for (size_t i = 0; i < sizeof statements / sizeof statements[0] && result == STORE_OK; i++)
        result = pg_run(pg, statements[i], args);
    if (result == STORE_OK)
        result = pg_run(pg, &sql_cups_findings,
                        PG_ARGS(arg_int(slice->scheme), arg_int(slice->after), arg_int(slice->through),
                                arg_instant(now)));
    return result;
}

enum store_result read_cups(struct pg *pg, const struct cup_id *id, const struct visible_sites *visible,
                            struct list_slice *slice)
{
    return read_list_slice(pg, &sql_cups_list,
                           PG_ARGS(arg_int(slice->after), arg_limit(slice->limit), arg_sites(visible),
                                   arg_text(id != NULL ? id->text : NULL)),
                           slice);
}

enum store_result read_cup(struct pg *pg, const struct cup_id *id, const struct visible_sites *visible,
                           int sightings, struct buffer *json, bool *found)
{
    return pg_ask(pg, &sql_cup_get, PG_ARGS(arg_text(id->text), arg_sites(visible), arg_int(sightings)),
                  pg_maybe(NULL, take_text, json, found));
}
