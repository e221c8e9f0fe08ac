/* SPDX-License-Identifier: ISC */
/* Reading what is fixed with a day, and keeping the hashes of it. */
#include "store/particulars_store.h"

#include "sql.h"

#include <string.h>

enum { SLICE_ENTRIES = 1000 };

static size_t part_count(bool changes_kept)
{
    return changes_kept ? PARTICULARS_PARTS : PARTICULARS_CHANGES;
}

enum store_result particulars_wanting(struct pg *pg, struct arena *arena, struct particulars_day **days,
                                      size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_query(pg, &sql_particulars_wanting, NULL, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *days = arena_array(arena, *count + 1, sizeof **days);
    if (*days == NULL)
        return STORE_FAILED;
    for (int row = 0; row < (int)*count; row++) {
        struct particulars_day *day = &(*days)[row];
        *day = (struct particulars_day){.scheme = (int32_t)pg_int(rows, row, 0),
                                        .date = pg_date(rows, row, 1),
                                        .first_entry = pg_int(rows, row, 4),
                                        .last_entry = pg_int(rows, row, 5),
                                        .part_count = part_count(pg_bool(rows, row, 6))};
        if (!pg_is_null(rows, row, 2))
            pg_digest(rows, row, 2, day->previous.bytes);
        pg_digest(rows, row, 3, day->seal.bytes);
    }
    return STORE_OK;
}

enum store_result particulars_add(struct pg *pg, const struct particulars_day *day)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, day->scheme);
    pg_add_date(&params, day->date);
    pg_add_bytes(&params, day->previous.bytes, sizeof day->previous);
    pg_add_bytes(&params, day->parts, day->part_count * sizeof *day->parts);
    pg_add_bytes(&params, day->digest.bytes, sizeof day->digest);
    return pg_query(pg, &sql_particulars_add, &params, NULL);
}

/* Parts of another length are read as such that nothing has. */
static void read_parts(const struct pg_rows *rows, int row, int column, struct particulars_day *day)
{
    size_t size = pg_length(rows, row, column) / 2 - 1; /* bytea comes as \x and two digits a byte */
    memset(day->parts, 0xff, sizeof day->parts);
    if (size == day->part_count * sizeof *day->parts)
        pg_bytes(rows, row, column, day->parts, sizeof day->parts);
}

enum store_result particulars_days(struct pg *pg, struct arena *arena, int32_t scheme,
                                   struct particulars_day **days, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, &sql_check_particulars_days, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *days = arena_array(arena, *count + 1, sizeof **days);
    if (*days == NULL)
        return STORE_FAILED;
    for (int row = 0; row < (int)*count; row++) {
        struct particulars_day *day = &(*days)[row];
        *day = (struct particulars_day){.scheme = scheme,
                                        .date = pg_date(rows, row, 0),
                                        .kept = !pg_is_null(rows, row, 4),
                                        .first_entry = pg_int(rows, row, 5),
                                        .last_entry = pg_int(rows, row, 6),
                                        .part_count = part_count(pg_bool(rows, row, 7))};
        pg_digest(rows, row, 1, day->seal.bytes);
        pg_digest(rows, row, 2, day->previous.bytes);
        pg_digest(rows, row, 4, day->digest.bytes);
        if (day->kept)
            read_parts(rows, row, 3, day);
    }
    return STORE_OK;
}

/* The numbers of a day's entries have no gap as wide as a slice, or somebody has tampered with them: it is
 * not worth looking beyond. */
enum store_result particulars_entries(struct pg *pg, struct arena *arena, const struct particulars_day *day,
                                      int64_t after, struct particulars_slice *slice)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    int64_t through = day->last_entry - after > SLICE_ENTRIES ? after + SLICE_ENTRIES : day->last_entry;
    pg_params_init(&params, NULL);
    pg_add_int(&params, day->scheme);
    pg_add_date(&params, day->date);
    pg_add_int(&params, after);
    pg_add_int(&params, through);
    enum store_result result = pg_query(pg, &sql_particulars_entries, &params, &rows);
    if (result != STORE_OK)
        return result;
    *slice = (struct particulars_slice){
        .entries = arena_copy(arena, pg_text(rows, 0, 0), pg_length(rows, 0, 0)),
        .exceptions = arena_copy(arena, pg_text(rows, 0, 1), pg_length(rows, 0, 1)),
        .last = through,
        .more = pg_int(rows, 0, 2) > 0 && through < day->last_entry,
    };
    return slice->entries != NULL && slice->exceptions != NULL ? STORE_OK : STORE_FAILED;
}

enum store_result particulars_text(struct pg *pg, struct arena *arena, const struct particulars_day *day,
                                   enum particulars_part part, const char **text)
{
    static const struct sql *const statements[PARTICULARS_PARTS] = {
        [PARTICULARS_SITES] = &sql_particulars_sites,
        [PARTICULARS_DAY] = &sql_particulars_day,
        [PARTICULARS_PAYMENTS] = &sql_particulars_payments,
        [PARTICULARS_CHANGES] = &sql_particulars_changes,
    };
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, day->scheme);
    pg_add_date(&params, day->date);
    enum store_result result = pg_query(pg, statements[part], &params, &rows);
    if (result != STORE_OK)
        return result;
    bool any = pg_row_count(rows) > 0;
    *text = arena_copy(arena, any ? pg_text(rows, 0, 0) : "", any ? pg_length(rows, 0, 0) : 0);
    return *text != NULL ? STORE_OK : STORE_FAILED;
}
