/* SPDX-License-Identifier: ISC */
/* Slices of rows that are JSON already. */
#include "store/json_slice.h"

#include "store/pg_ask.h"

struct pg_arg arg_limit(int limit)
{
    return arg_int_if(limit > 0, (int64_t)limit + 1);
}

struct slice_reader {
    struct buffer *json;
    struct json_slice *slice;
    size_t limit; /* 0: none */
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
    if (slice->count > 0)
        buffer_add_char(reader->json, ',');
    row_append(row, reader->json);
    row_text_into(row, slice->last, sizeof slice->last);
    slice->count++;
}

enum store_result json_slice_read(struct pg *pg, const struct sql *sql, struct pg_args args, int limit,
                                  struct buffer *json, struct json_slice *slice)
{
    struct slice_reader reader = {json, slice, limit > 0 ? (size_t)limit : 0};
    *slice = (struct json_slice){0};
    return pg_ask(pg, sql, args, pg_each(NULL, take_item, &reader));
}
