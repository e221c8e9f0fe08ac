/* SPDX-License-Identifier: ISC */
/* The part that all renderers share: passing on the text, row by row. */
#include "report/render.h"

#include <stdio.h>
#include <string.h>

enum { ROW_MAX = 1 << 20 };

static void flush(struct render *render)
{
    if (render->text.failed)
        render->failed = true;
    else if (render->text.length > 0)
        render->sink.write(render->sink.context, render->text.data, render->text.length);
    buffer_reset(&render->text);
}

size_t render_column(const struct render *render, const char *name)
{
    size_t column = 0;
    while (column < render->column_count && strcmp(render->head->report->columns[column].name, name) != 0)
        column++;
    return column;
}

const char *render_cell(const struct render *render, const char *const *cells, const char *name)
{
    size_t column = name != NULL ? render_column(render, name) : render->column_count;
    return column < render->column_count ? cells[column] : NULL;
}

void render_begin(struct render *render, const struct renderer *renderer, const struct report_head *head,
                  struct sink sink)
{
    *render = (struct render){
        .renderer = renderer, .head = head, .sink = sink, .column_count = report_column_count(head->report)};
    render->unit_column = render_column(render, "unit");
    buffer_init(&render->text, ROW_MAX);
    renderer->head(render);
    flush(render);
}

void render_row(struct render *render, const char *const *cells)
{
    render->renderer->row(render, cells);
    render->rows++;
    flush(render);
}

bool render_end(struct render *render)
{
    render->renderer->tail(render);
    flush(render);
    buffer_dispose(&render->text);
    return !render->failed;
}

bool render_is_integer(const struct render *render, const char *const *cells, size_t column)
{
    switch (render->head->report->columns[column].kind) {
    case COLUMN_CUPS:
        return true;
    case COLUMN_FIGURE:
        return render->unit_column < render->column_count && cells[render->unit_column] != NULL &&
               strcmp(cells[render->unit_column], render->head->currency) != 0;
    case COLUMN_TEXT:
    case COLUMN_RATE:
    case COLUMN_AMOUNT:
    case COLUMN_TIME:
        break;
    }
    return false;
}

const char *render_plain_cell(const struct render *render, const char *const *cells, size_t column,
                              char instant[static RENDER_INSTANT_SIZE])
{
    if (render->head->report->columns[column].kind != COLUMN_TIME || cells[column] == NULL)
        return cells[column];
    snprintf(instant, RENDER_INSTANT_SIZE, "%.*s", (int)strcspn(cells[column], " "), cells[column]);
    return instant;
}
