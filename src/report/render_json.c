/* SPDX-License-Identifier: ISC */
/* Reports as JSON: {"report":…,"scheme":…,"currency":…,"as_of":…,"columns":[…],"items":[{column:value}…]}.
 * Amounts are strings, cups are integers, an empty cell is null. */
#include "report/render.h"

#include <string.h>

static void add_string(struct buffer *text, const char *value)
{
    buffer_add_json_string(text, value, strlen(value));
}

static void add_member(struct buffer *text, const char *name, const char *value)
{
    add_string(text, name);
    buffer_add_char(text, ':');
    add_string(text, value);
    buffer_add_char(text, ',');
}

static void head(struct render *render)
{
    const struct report *report = render->head->report;
    struct buffer *text = &render->text;
    buffer_add_char(text, '{');
    add_member(text, "report", report->name);
    add_member(text, "scheme", render->head->scheme);
    add_member(text, "currency", render->head->currency);
    for (size_t i = 0; i < report_parameter_count(report); i++)
        if (render->head->arguments[i] != NULL)
            add_member(text, report->parameters[i].name, render->head->arguments[i]);
    buffer_add_text(text, "\"columns\":[");
    for (size_t i = 0; i < render->column_count; i++) {
        if (i > 0)
            buffer_add_char(text, ',');
        add_string(text, report->columns[i].name);
    }
    buffer_add_text(text, "],\"items\":[");
}

static void row(struct render *render, const char *const *cells)
{
    struct buffer *text = &render->text;
    char instant[RENDER_INSTANT_SIZE];
    buffer_add_text(text, render->rows > 0 ? ",\n{" : "\n{");
    for (size_t i = 0; i < render->column_count; i++) {
        if (i > 0)
            buffer_add_char(text, ',');
        add_string(text, render->head->report->columns[i].name);
        buffer_add_char(text, ':');
        if (cells[i] == NULL)
            buffer_add_text(text, "null");
        else if (render_is_integer(render, cells, i))
            buffer_add_text(text, cells[i]);
        else
            add_string(text, render_plain_cell(render, cells, i, instant));
    }
    buffer_add_char(text, '}');
}

static void tail(struct render *render)
{
    buffer_add_text(&render->text, "]}\n");
}

const struct renderer render_json = {head, row, tail};
