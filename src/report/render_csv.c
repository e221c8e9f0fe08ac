/* SPDX-License-Identifier: ISC */
/* Reports as CSV (RFC 4180): a header line with the columns' names, lines ended by CRLF, a field quoted where
 * it holds a comma, a quote or a line break. */
#include "report/render.h"

#include <string.h>

static void add_field(struct buffer *text, const char *value)
{
    if (strpbrk(value, ",\"\r\n") == NULL) {
        buffer_add_text(text, value);
        return;
    }
    buffer_add_char(text, '"');
    for (; *value != '\0'; value++) {
        if (*value == '"')
            buffer_add_char(text, '"');
        buffer_add_char(text, *value);
    }
    buffer_add_char(text, '"');
}

static void add_record(struct render *render, const char *const *fields)
{
    for (size_t i = 0; i < render->column_count; i++) {
        if (i > 0)
            buffer_add_char(&render->text, ',');
        if (fields[i] != NULL)
            add_field(&render->text, fields[i]);
    }
    buffer_add_text(&render->text, "\r\n");
}

static void head(struct render *render)
{
    const char *names[REPORT_COLUMNS_MAX];
    for (size_t i = 0; i < render->column_count; i++)
        names[i] = render->head->report->columns[i].name;
    add_record(render, names);
}

static void row(struct render *render, const char *const *cells)
{
    add_record(render, cells);
}

static void tail(struct render *render)
{
    (void)render;
}

const struct renderer render_csv = {head, row, tail};
