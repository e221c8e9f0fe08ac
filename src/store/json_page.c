/* SPDX-License-Identifier: ISC */
/* Pages of rows that are JSON already. */
#include "store/json_page.h"

#include <stdio.h>

void json_page_limit(struct pg_params *params, int limit)
{
    if (limit > 0)
        pg_add_int(params, (int64_t)limit + 1);
    else
        pg_add_null(params);
}

void json_page_add(const struct pg_rows *rows, int limit, struct buffer *json, struct json_page *page)
{
    int count = pg_row_count(rows);
    *page = (struct json_page){.more = limit > 0 && count > limit};
    if (page->more)
        count = limit;
    for (int i = 0; i < count; i++) {
        if (i > 0)
            buffer_add_char(json, ',');
        buffer_add(json, pg_text(rows, i, 0), pg_length(rows, i, 0));
    }
    page->count = (size_t)count;
    if (count > 0)
        snprintf(page->last, sizeof page->last, "%s", pg_text(rows, count - 1, 1));
}

void json_reopen(struct buffer *json)
{
    if (!json->failed && json->length > 0 && json->data[json->length - 1] == '}')
        json->data[--json->length] = '\0';
}
