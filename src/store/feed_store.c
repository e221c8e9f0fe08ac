/* SPDX-License-Identifier: ISC */
/* Reading the feed. A slice first asks which entry is the last. Entries and cuts that are recorded after that
 * come later in the order than all that the slice reads, so its statements need no common snapshot. */
#include "store/feed_store.h"

#include "sql.h"
#include "store/pg_ask.h"

struct feed_cut {
    const char *json;
    int64_t after; /* the entry that it stands after */
    int64_t day;
};

struct feed_reader {
    struct list_slice *slice;
    const char *code;            /* of the scheme, for the member `scheme`; NULL: items have none */
    bool follows;                /* the buffer has items already */
    int64_t after, end;          /* the slice looks at entries after one and through the other */
    const struct feed_cut *cuts; /* in the order of the feed */
    size_t cut_count, next_cut;
    size_t count; /* of items */
};

static void take_range(struct pg_row *row, void *into)
{
    struct feed_reader *reader = into;
    reader->after = row_int(row);
    reader->end = row_int(row);
    if (reader->end - reader->after > reader->slice->limit) /* numbers have no gaps */
        reader->end = reader->after + reader->slice->limit;
}

static void take_cut(struct pg_row *row, void *into)
{
    struct feed_cut *cut = into;
    cut->json = row_copy(row);
    cut->after = row_int(row);
    cut->day = row_int(row);
}

/* False: the slice is full. */
static bool has_place(struct feed_reader *reader)
{
    struct list_slice *slice = reader->slice;
    slice->more = slice->more || reader->count == (size_t)slice->limit;
    if (slice->more)
        return false;
    if (reader->count > 0 || reader->follows)
        buffer_add_char(slice->items, ',');
    reader->count++;
    return true;
}

/* Appends an object of the database, which has members. */
static void add_item(const struct feed_reader *reader, const char *json)
{
    struct buffer *items = reader->slice->items;
    if (reader->code != NULL)
        buffer_printf(items, "{\"scheme\":\"%s\",", reader->code);
    buffer_add_text(items, reader->code != NULL ? json + 1 : json);
}

static void add_cuts_before(struct feed_reader *reader, int64_t entry)
{
    for (; reader->next_cut < reader->cut_count; reader->next_cut++) {
        const struct feed_cut *cut = &reader->cuts[reader->next_cut];
        if (cut->after >= entry || !has_place(reader))
            return;
        add_item(reader, cut->json);
        reader->slice->last = cut->after;
        reader->slice->last_day = cut->day;
    }
}

static void take_entry(struct pg_row *row, void *into)
{
    struct feed_reader *reader = into;
    struct pg_row number = *row; /* which stands after the JSON */
    row_skip(&number);
    int64_t entry = row_int(&number);
    row_check(row, !number.failed);
    add_cuts_before(reader, entry);
    if (!has_place(reader)) {
        row_skip_rest(row);
        return;
    }
    add_item(reader, row_text(row));
    row_skip(row);
    reader->slice->last = entry;
    reader->slice->last_day = SLICE_START;
}

static enum store_result read_entries(struct pg *pg, int32_t scheme, struct feed_reader *reader)
{
    return pg_ask(pg, &sql_events_list,
                  PG_ARGS(arg_int(scheme), arg_int(reader->after), arg_int(reader->end), arg_null(),
                          arg_null(), arg_null(), arg_null(), arg_null(), arg_null(), arg_null(), arg_null(),
                          arg_bool(false)),
                  pg_each(NULL, take_entry, reader));
}

static enum store_result read_cuts(struct pg *pg, struct arena *arena, int32_t scheme,
                                   struct feed_reader *reader)
{
    struct feed_cut *cuts = NULL;
    enum store_result result =
        pg_ask(pg, &sql_feed_cuts,
               PG_ARGS(arg_int(scheme), arg_int(reader->after), arg_int(reader->slice->after_day),
                       arg_int(reader->end), arg_limit(reader->slice->limit)),
               PG_LIST(arena, take_cut, NULL, &cuts, &reader->cut_count));
    reader->cuts = cuts;
    return result;
}

enum store_result read_feed(struct pg *pg, struct arena *arena, int32_t scheme, struct list_slice *slice)
{
    struct feed_reader reader = {.slice = slice};
    enum store_result result =
        pg_ask(pg, &sql_events_range, PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_null(), arg_null()),
               pg_one(NULL, take_range, &reader));
    slice->last = reader.after;
    slice->last_day = slice->after_day;
    slice->more = false;
    if (result == STORE_OK)
        result = read_cuts(pg, arena, scheme, &reader);
    if (result == STORE_OK)
        result = read_entries(pg, scheme, &reader);
    if (result == STORE_OK)
        add_cuts_before(&reader, reader.end + 1);
    return result;
}

static void take_end(struct pg_row *row, void *into)
{
    struct feed_end *end = into;
    end->scheme = row_int32(row);
    end->last_entry = row_int(row);
    end->cut_entry = row_int(row);
    end->cut_day = row_int(row);
}

enum store_result read_feed_ends(struct pg *pg, struct arena *arena, const int32_t *schemes,
                                 size_t scheme_count, struct feed_end **ends, size_t *count)
{
    struct pg_arg ids = schemes != NULL ? arg_int4s(schemes, scheme_count, sizeof *schemes) : arg_null();
    return pg_ask(pg, &sql_feed_ends, PG_ARGS(ids), PG_LIST(arena, take_end, NULL, ends, count));
}

static bool has_cut_after(const struct feed_place *place, const struct feed_end *end)
{
    return end->cut_entry > place->entry || (end->cut_entry == place->entry && end->cut_day > place->day);
}

bool feed_goes_on(const struct feed_place *place, const struct feed_end *end)
{
    return end->last_entry > place->entry || has_cut_after(place, end);
}

enum store_result read_feed_part(struct pg *pg, struct arena *arena, struct feed_part *part)
{
    struct feed_place *place = part->place;
    const struct feed_end *end = part->end;
    const struct buffer *items = part->items;
    int64_t through = place->entry + part->limit;
    struct list_slice slice = {
        .after_day = place->day,
        .limit = part->limit,
        .items = part->items,
        .last = place->entry,
        .last_day = place->day,
    };
    struct feed_reader reader = {
        .slice = &slice,
        .code = part->code,
        .follows = items->length > 0 && items->data[items->length - 1] == '}',
        .after = place->entry,
        .end = end->last_entry > through ? through : end->last_entry,
    };
    enum store_result result = STORE_OK;
    if (has_cut_after(place, end))
        result = read_cuts(pg, arena, end->scheme, &reader);
    if (result == STORE_OK && reader.end > reader.after)
        result = read_entries(pg, end->scheme, &reader);
    if (result == STORE_OK)
        add_cuts_before(&reader, reader.end + 1);
    place->entry = slice.last;
    place->day = slice.last_day;
    part->added = (int)reader.count;
    return result;
}
