/* SPDX-License-Identifier: ISC */
/* Reports as CSV (RFC 4180): a header line with the columns' names, lines ended by CRLF, a field quoted where
 * it holds a comma, a quote or a line break. Files of several schemes are put together, so each line has
 * scheme and currency at its end, unless the report has such columns.
 *
 * A spreadsheet runs a text that begins like a formula, and some of these texts are a client's or a bank's.
 * Such a text gets an apostrophe in front, which spreadsheets take as "this is text". The characters are
 * those of OWASP's page "CSV Injection" (from memory). Numbers are the service's own and stay as they are. */
#include "report/render.h"

#include <string.h>

static const char FORMULA_STARTS[] = "=+-@\t\r\n";

static bool is_formula(const char *value)
{
    return *value != '\0' && strchr(FORMULA_STARTS, *value) != NULL;
}

static void add_field(struct buffer *text, const char *value, bool is_text)
{
    const char *apostrophe = is_text && is_formula(value) ? "'" : "";
    if (strpbrk(value, ",\"\r\n") == NULL) {
        buffer_add_text(text, apostrophe);
        buffer_add_text(text, value);
        return;
    }
    buffer_add_char(text, '"');
    buffer_add_text(text, apostrophe);
    for (; *value != '\0'; value++) {
        if (*value == '"')
            buffer_add_char(text, '"');
        buffer_add_char(text, *value);
    }
    buffer_add_char(text, '"');
}

static void add_last(struct render *render, const char *name, const char *value)
{
    if (render_column(render, name) < render->column_count)
        return;
    buffer_add_char(&render->text, ',');
    add_field(&render->text, value, true);
}

static void add_record(struct render *render, const char *const *fields, const char *scheme,
                       const char *currency)
{
    const struct report_column *columns = render->head->report->columns;
    for (size_t i = 0; i < render->column_count; i++) {
        if (i > 0)
            buffer_add_char(&render->text, ',');
        if (fields[i] != NULL)
            add_field(&render->text, fields[i], columns[i].kind == COLUMN_TEXT);
    }
    add_last(render, "scheme", scheme);
    add_last(render, "currency", currency);
    buffer_add_text(&render->text, "\r\n");
}

static void head(struct render *render)
{
    const char *names[REPORT_COLUMNS_MAX];
    for (size_t i = 0; i < render->column_count; i++)
        names[i] = render->head->report->columns[i].name;
    add_record(render, names, "scheme", "currency");
}

static void row(struct render *render, const char *const *cells)
{
    const char *plain[REPORT_COLUMNS_MAX];
    char instants[REPORT_COLUMNS_MAX][RENDER_INSTANT_SIZE];
    for (size_t i = 0; i < render->column_count; i++)
        plain[i] = render_plain_cell(render, cells, i, instants[i]);
    add_record(render, plain, render->head->scheme, render->head->currency);
}

static void tail(struct render *render)
{
    (void)render;
}

const struct renderer render_csv = {head, row, tail};
