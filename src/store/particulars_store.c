/* SPDX-License-Identifier: ISC */
/* Reading the particulars of a day, and keeping their hashes. */
#include "store/particulars_store.h"

#include "sql.h"
#include "store/pg_ask.h"

enum { SLICE_ENTRIES = 1000 };

/* The parts that the last columns of a row tell of: whether changes were kept, whether lines of fees were,
 * and whether fee notes were. */
static size_t part_count(struct pg_row *row)
{
    bool changes_kept = row_bool(row);
    bool fees_kept = row_bool(row);
    bool notes_kept = row_bool(row);
    return notes_kept     ? PARTICULARS_PARTS
           : fees_kept    ? PARTICULARS_FEE_NOTES
           : changes_kept ? PARTICULARS_FEES
                          : PARTICULARS_CHANGES;
}

static void take_wanting(struct pg_row *row, void *into)
{
    struct particulars_day *day = into;
    day->scheme = row_int32(row);
    day->date = row_date(row);
    if (row_is_null(row))
        row_skip(row);
    else
        row_hashes(row, day->previous.bytes, SHA256_SIZE);
    row_hashes(row, day->seal.bytes, SHA256_SIZE);
    day->first_entry = row_int(row);
    day->last_entry = row_int(row);
    day->part_count = part_count(row);
}

enum store_result particulars_wanting(struct pg *pg, struct arena *arena, struct particulars_day **days,
                                      size_t *count)
{
    return pg_ask(pg, &sql_particulars_wanting, PG_NO_ARGS, PG_LIST(arena, take_wanting, NULL, days, count));
}

enum store_result particulars_add(struct pg *pg, const struct particulars_day *day)
{
    return pg_run(pg, &sql_particulars_add,
                  PG_ARGS(arg_int(day->scheme), arg_date(day->date),
                          arg_bytes(day->previous.bytes, SHA256_SIZE),
                          arg_bytes(day->parts, day->part_count * sizeof *day->parts),
                          arg_bytes(day->digest.bytes, SHA256_SIZE)));
}

/* The parts come before the columns that tell how many parts there must be. */
static void take_day(struct pg_row *row, void *into)
{
    struct particulars_day *day = into;
    struct pg_row parts;
    day->scheme = *(const int32_t *)row->shared;
    day->date = row_date(row);
    row_hashes(row, day->seal.bytes, SHA256_SIZE);
    row_hashes(row, day->previous.bytes, SHA256_SIZE);
    parts = *row;
    row_skip(row);
    day->kept = !row_is_null(row);
    row_hashes(row, day->digest.bytes, SHA256_SIZE);
    day->first_entry = row_int(row);
    day->last_entry = row_int(row);
    day->part_count = part_count(row);
    if (day->kept)
        row_hashes(&parts, day->parts, day->part_count * sizeof *day->parts);
    row_check(row, !parts.failed);
}

enum store_result particulars_days(struct pg *pg, struct arena *arena, int32_t scheme,
                                   struct particulars_day **days, size_t *count)
{
    return pg_ask(pg, &sql_check_particulars_days, PG_ARGS(arg_int(scheme)),
                  PG_LIST(arena, take_day, &scheme, days, count));
}

static void take_slice(struct pg_row *row, void *into)
{
    struct particulars_slice *slice = into;
    slice->entries = row_copy_or_empty(row);
    slice->exceptions = row_copy_or_empty(row);
    slice->more = row_int(row) > 0;
}

/* The numbers of a day's entries have no gap as wide as a slice, unless somebody has tampered with them. So
 * an empty slice ends the search. */
enum store_result particulars_entries(struct pg *pg, struct arena *arena, const struct particulars_day *day,
                                      int64_t after, struct particulars_slice *slice)
{
    int64_t through = day->last_entry - after > SLICE_ENTRIES ? after + SLICE_ENTRIES : day->last_entry;
    enum store_result result =
        pg_ask(pg, &sql_particulars_entries,
               PG_ARGS(arg_int(day->scheme), arg_date(day->date), arg_int(after), arg_int(through)),
               pg_one(arena, take_slice, slice));
    slice->last = through;
    slice->more = slice->more && through < day->last_entry;
    return result;
}

enum store_result particulars_text(struct pg *pg, struct arena *arena, const struct particulars_day *day,
                                   enum particulars_part part, const char **text)
{
    static const struct sql *const statements[PARTICULARS_PARTS] = {
        [PARTICULARS_SITES] = &sql_particulars_sites,
        [PARTICULARS_DAY] = &sql_particulars_day,
        [PARTICULARS_PAYMENTS] = &sql_particulars_payments,
        [PARTICULARS_CHANGES] = &sql_particulars_changes,
        [PARTICULARS_FEES] = &sql_particulars_fees,
        [PARTICULARS_FEE_NOTES] = &sql_particulars_fee_notes,
    };
    *text = "";
    return pg_ask(pg, statements[part], PG_ARGS(arg_int(day->scheme), arg_date(day->date)),
                  pg_maybe(arena, take_copy, text, NULL));
}
