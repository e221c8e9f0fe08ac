/* SPDX-License-Identifier: ISC */
/* Slices of lists whose items are JSON already. */
#include "store/json_slice.h"

#include <stdio.h>

void json_slice_limit(struct pg_params *params, int limit)
{
    if (limit > 0)
        pg_add_int(params, (int64_t)limit + 1);
    else
        pg_add_null(params);
}

void json_slice_add(const struct pg_rows *rows, int limit, struct buffer *json, struct json_slice *slice)
{
    int count = pg_row_count(rows);
    *slice = (struct json_slice){.more = limit > 0 && count > limit};
    if (slice->more)
        count = limit;
    for (int i = 0; i < count; i++) {
        if (i > 0)
            buffer_add_char(json, ',');
        buffer_add(json, pg_text(rows, i, 0), pg_length(rows, i, 0));
    }
    slice->count = (size_t)count;
    if (count > 0)
        snprintf(slice->last, sizeof slice->last, "%s", pg_text(rows, count - 1, 1));
}

void json_reopen(struct buffer *json)
{
    if (!json->failed && json->length > 0 && json->data[json->length - 1] == '}')
        json->data[--json->length] = '\0';
}
