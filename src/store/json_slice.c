/* SPDX-License-Identifier: ISC */
/* Slices of rows that are JSON already. */
#include "store/json_slice.h"

#include "store/pg_ask.h"

#include <assert.h>
#include <string.h>

struct pg_arg arg_limit(int limit)
{
    return arg_int_if(limit > 0, (int64_t)limit + 1);
}

/* No list gives more rows at once. */
enum { TURNED_MAX = 1000 };

/* Where each row begins in a buffer of rows. */
struct row_starts {
    size_t starts[TURNED_MAX + 1];
};

struct slice_reader {
    struct buffer *json;
    struct json_slice *slice;
    size_t limit;                  /* 0: none */
    struct row_starts *turns;      /* NULL: the rows are shown as they come, with commas between them, … */
    const struct row_dress *dress; /* … or in this */
};

static void take_item(struct pg_row *row, void *into)
{
    const struct slice_reader *reader = into;
    struct json_slice *slice = reader->slice;
    slice->more = reader->limit > 0 && slice->count == reader->limit;
    if (slice->more) {
        row_skip_rest(row);
        return;
    }
    if (reader->turns != NULL)
        reader->turns->starts[slice->count] = reader->json->length;
    else if (reader->dress != NULL)
        buffer_add_text(reader->json, reader->dress->begin);
    else if (slice->count > 0)
        buffer_add_char(reader->json, ',');
    row_append(row, reader->json);
    if (reader->dress != NULL)
        buffer_add_text(reader->json, reader->dress->end);
    row_text_into(row, slice->last, sizeof slice->last);
    if (slice->count++ == 0)
        memcpy(slice->first, slice->last, sizeof slice->first);
}

enum store_result json_slice_read_dressed(struct pg *pg, const struct sql *sql, struct pg_args args,
                                          const struct rows_asked *asked, struct buffer *json,
                                          struct json_slice *slice)
{
    struct slice_reader reader = {json, slice, asked->limit > 0 ? (size_t)asked->limit : 0, NULL,
                                  asked->dress};
    *slice = (struct json_slice){0};
    return pg_ask(pg, sql, args, pg_each(NULL, take_item, &reader));
}

enum store_result json_slice_read(struct pg *pg, const struct sql *sql, struct pg_args args, int limit,
                                  struct buffer *json, struct json_slice *slice)
{
    return json_slice_read_dressed(pg, sql, args, &(struct rows_asked){.limit = limit}, json, slice);
}

/* Adds the rows from the last one that came to the first. */
static void add_turned(const struct buffer *rows, const struct row_starts *turns, size_t count,
                       struct buffer *json)
{
    size_t end = rows->length;
    for (size_t i = count; i-- > 0; end = turns->starts[i]) {
        buffer_add(json, rows->data + turns->starts[i], end - turns->starts[i]);
        if (i > 0)
            buffer_add_char(json, ',');
    }
    json->failed = json->failed || rows->failed;
}

static enum store_result read_turned(struct pg *pg, const struct sql *sql, struct pg_args args, int limit,
                                     struct buffer *json, struct json_slice *slice)
{
    struct buffer rows;
    struct row_starts turns;
    struct slice_reader reader = {&rows, slice, (size_t)limit, &turns, NULL};
    assert(limit > 0 && limit <= TURNED_MAX);
    *slice = (struct json_slice){0};
    buffer_init(&rows, json->maximum);
    enum store_result result = pg_ask(pg, sql, args, pg_each(NULL, take_item, &reader));
    if (result == STORE_OK && slice->count > 0)
        add_turned(&rows, &turns, slice->count, json);
    buffer_dispose(&rows);
    return result;
}

enum store_result json_slice_read_way(struct pg *pg, const struct sql_ways *ways,
                                      const struct slice_asked *asked, struct pg_args args,
                                      struct buffer *json, struct json_slice *slice)
{
    const struct sql *sql = asked->way.newest ? ways->newest : ways->oldest;
    return asked->way.turned ? read_turned(pg, sql, args, asked->limit, json, slice)
                             : json_slice_read(pg, sql, args, asked->limit, json, slice);
}
