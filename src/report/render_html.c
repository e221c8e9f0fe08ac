/* SPDX-License-Identifier: ISC */
/* Reports as pages: the request and a form to change it, the rows as one table, then a picture of them and
 * the meaning of the columns. A cell that repeats the one above steps back; a line of totals steps
 * forward. */
#include "report/html_fields.h"
#include "report/plot.h"
#include "report/render.h"

#include "base/uri.h"
#include "words/labels.h"

#include <stdio.h>
#include <string.h>

enum {
    NARROW = 7,       /* columns that a page of paper holds upright */
    CLOCK_LENGTH = 19 /* 2026-05-13 07:30:00 */
};

static bool is_figure_column(const struct render *render, size_t column)
{
    enum column_kind kind = render->head->report->columns[column].kind;
    return kind != COLUMN_TEXT && kind != COLUMN_TIME;
}

void render_form(struct buffer *page, const struct report_head *head)
{
    const struct report *report = head->report;
    buffer_printf(page, "<form method=\"get\" action=\"/v1/reports/%s\">\n", report->name);
    if (head->page->schemes.codes != NULL)
        html_select_field(page, "scheme", &head->page->schemes, head->scheme, false);
    else
        html_input_field(page, "scheme", "text", head->scheme, true);
    for (size_t i = 0; i < report_parameter_count(report); i++) {
        const struct report_parameter *parameter = &report->parameters[i];
        if (head->page->choices[i].codes != NULL)
            html_select_field(page, parameter->name, &head->page->choices[i], head->arguments[i],
                              parameter->otherwise == OR_NULL);
        else
            html_input_field(page, parameter->name, parameter->kind == PARAMETER_DAY ? "date" : "text",
                             head->arguments[i], parameter->otherwise == REQUIRED);
    }
    html_show_button(page);
    buffer_add_text(page, "</form>\n");
}

static void add_asked(struct buffer *page, const struct report_head *head)
{
    buffer_add_text(page, "<dl class=\"asked\">\n");
    html_fact(page, "scheme", head->scheme);
    for (size_t i = 0; i < report_parameter_count(head->report); i++)
        if (head->arguments[i] != NULL)
            html_fact(page, head->report->parameters[i].name, head->arguments[i]);
    html_fact(page, "currency", head->currency);
    buffer_add_text(page, "</dl>\n");
}

/* Whether the page has the column: not if it is empty without a parameter that was not given. */
static bool shows_column(const struct report_head *about, size_t column)
{
    const char *with = about->report->columns[column].with;
    for (size_t i = 0; with != NULL && i < report_parameter_count(about->report); i++)
        if (strcmp(about->report->parameters[i].name, with) == 0)
            return about->arguments[i] != NULL;
    return true;
}

static size_t shown_columns(const struct report_head *about)
{
    size_t count = 0;
    for (size_t i = 0; i < report_column_count(about->report); i++)
        count += shows_column(about, i);
    return count + (about->page->row_acts != NULL);
}

void render_words(const struct report_head *about, struct buffer *title, struct buffer *detail)
{
    char label[WORDS_LABEL_SIZE] = "";
    (void)words_label_in(about->page->words, about->report->name, label);
    buffer_init(title, 256);
    buffer_add_text(title, *label != '\0' ? label : about->report->name);
    buffer_init(detail, 8192);
    buffer_printf(detail, " %s", about->scheme);
    for (size_t i = 0; i < report_parameter_count(about->report); i++)
        if (about->arguments[i] != NULL && about->report->parameters[i].otherwise != OR_FIRST_ON_PAGES)
            buffer_printf(detail, " %s", about->arguments[i]);
}

static void add_columns(struct render *render)
{
    const char *names[REPORT_COLUMNS_MAX];
    const struct report_column *columns = render->head->report->columns;
    for (size_t i = 0; i < render->column_count; i++)
        names[i] = is_figure_column(render, i) ? columns[i].name : NULL;
    render->main = html_main_column(names, render->column_count);
    for (size_t i = 0; i < render->column_count; i++) {
        if (shows_column(render->head, i))
            html_column_in(&render->text, columns[i].name,
                           names[i] == NULL           ? NULL
                           : names[i] == render->main ? "n k"
                                                      : "n",
                           columns[i].kind == COLUMN_AMOUNT ? render->head->currency : NULL);
        if (i == 0 && render->head->page->row_acts != NULL)
            html_column_in(&render->text, "action", "act", NULL);
    }
}

void render_head(struct render *render)
{
    const struct report_head *about = render->head;
    struct buffer *page = &render->text, title, detail;
    page->words = about->page->words;
    render_words(about, &title, &detail);
    html_page_begin(page, &(struct html_page){.title = title.data != NULL ? title.data : "",
                                              .is_name = true, /* translated already */
                                              .detail = detail.data,
                                              .pages = about->page->pages,
                                              .page_count = about->page->page_count,
                                              .made = about->page->made,
                                              .signed_in = about->page->signed_in});
    buffer_dispose(&title);
    buffer_dispose(&detail);
    add_asked(page, about);
    render_form(page, about);
}

static void head(struct render *render)
{
    const struct report_head *about = render->head;
    struct buffer *page = &render->text, title, detail;
    render_head(render);
    render_words(about, &title, &detail);
    buffer_add_text(&title, detail.data != NULL ? detail.data : "");
    html_table_begin(page, &(struct html_table){.caption = about->report->title,
                                                .running = title.data,
                                                .columns = shown_columns(about),
                                                .wide = shown_columns(about) > NARROW});
    buffer_dispose(&title);
    buffer_dispose(&detail);
    add_columns(render);
    if (about->report->plot.kind == PLOT_NONE)
        return;
    render->plot = plot_new(&about->report->plot);
    if (render->plot == NULL)
        page->failed = true;
}

/* --- rows ---------------------------------------------------------------------------------------------- */

static bool is_empty(const char *cell)
{
    return cell == NULL || *cell == '\0';
}

/* Whether the column says that the row is a line of totals. */
static bool says_total(const struct render *render, const char *const *cells, size_t column)
{
    const struct report_totals *totals = &render->head->report->totals;
    if (totals->column == NULL || cells[column] == NULL ||
        strcmp(totals->column, render->head->report->columns[column].name) != 0)
        return false;
    for (size_t i = 0; i < sizeof totals->words / sizeof totals->words[0]; i++)
        if (totals->words[i] != NULL && strcmp(totals->words[i], cells[column]) == 0)
            return true;
    return false;
}

static bool is_total(const struct render *render, const char *const *cells)
{
    for (size_t i = 0; i < render->column_count; i++)
        if (says_total(render, cells, i))
            return true;
    return false;
}

static bool is_repeated(const struct render *render, const char *const *cells)
{
    return render->rows > 0 && !is_empty(cells[0]) && strcmp(cells[0], render->above[0]) == 0;
}

/* The first cell is that of the rows above, which each have a second one, and this has none: it sums them up.
 */
static bool sums_up(const struct render *render, const char *const *cells)
{
    return render->column_count > 2 && !is_figure_column(render, 1) && is_empty(cells[1]) &&
           render->above[1][0] != '\0' && is_repeated(render, cells);
}

/* A cell that is too long to be kept never counts as a repetition. */
static void keep_above(struct render *render, const char *const *cells)
{
    for (size_t i = 0; i < 2; i++) {
        const char *cell = i < render->column_count && cells[i] != NULL ? cells[i] : "";
        size_t length = strlen(cell);
        memcpy(render->above[i], cell, length < RENDER_ABOVE_SIZE ? length + 1 : 0);
        if (length >= RENDER_ABOVE_SIZE)
            strcpy(render->above[i], "\x01");
    }
}

struct row_values {
    const struct render *render;
    const char *const *cells;
};

/* A variable of a link: a column of the row, else a parameter of the request. The word for a total names what
 * the request has asked for. */
static const char *value_of(void *context, const char *name, size_t length)
{
    const struct row_values *row = context;
    const struct report_head *about = row->render->head;
    for (size_t i = 0; i < row->render->column_count; i++)
        if (uri_part_is(about->report->columns[i].name, name, length) &&
            !says_total(row->render, row->cells, i))
            return is_empty(row->cells[i]) ? NULL : row->cells[i];
    for (size_t i = 0; i < report_parameter_count(about->report); i++)
        if (uri_part_is(about->report->parameters[i].name, name, length))
            return about->arguments[i];
    return uri_part_is("scheme", name, length) ? about->scheme : NULL;
}

bool render_open_link(struct render *render, const char *const *cells, const char *link)
{
    struct row_values values = {render, cells};
    struct buffer target;
    buffer_init(&target, render->text.maximum);
    bool whole = uri_expand(&target, link, value_of, &values) && !target.failed;
    if (whole)
        html_open(&render->text, "a", "href", target.data);
    buffer_dispose(&target);
    return whole;
}

/* Zero in a column of amounts, or of debits and credits. A zero of cups may mean much. */
static bool is_nothing(const struct render *render, const char *cell, size_t column)
{
    enum column_kind kind = render->head->report->columns[column].kind;
    return (kind == COLUMN_AMOUNT || kind == COLUMN_FIGURE) && !is_empty(cell) && html_is_zero(cell);
}

static void add_name(struct buffer *page, const struct report_head *about, const char *name, const char *code)
{
    if (about->page->name_of != NULL)
        html_name_beside(page, about->page->name_of(about->page->reader, name, code));
}

bool render_begin_link(struct render *render, const char *const *cells, size_t column)
{
    const struct report_column *about = &render->head->report->columns[column];
    if (about->link == NULL || !render->head->page->leads[column])
        return false;
    return render_open_link(render, cells, about->link) ||
           (about->or_link != NULL && render_open_link(render, cells, about->or_link));
}

/* Writes a time by the scheme's clock, and notes the zone of that. */
static void add_time(struct render *render, const char *const *cells, size_t column)
{
    char instant[RENDER_INSTANT_SIZE], local[CLOCK_LENGTH + 1] = "";
    const char *clock = strchr(cells[column], ' ');
    if (clock != NULL && strlen(clock + 1) > CLOCK_LENGTH) {
        memcpy(local, clock + 1, CLOCK_LENGTH);
        snprintf(render->zone, sizeof render->zone, "%s", clock + 1 + CLOCK_LENGTH + 1);
    }
    html_open(&render->text, "time", "datetime", render_plain_cell(render, cells, column, instant));
    html_text(&render->text, local);
    buffer_add_text(&render->text, "</time>");
}

static void add_cell(struct render *render, const char *const *cells, size_t column)
{
    struct buffer *page = &render->text;
    bool figure = is_figure_column(render, column), heads = column == 0 && !is_empty(cells[0]);
    bool again = column == 0 && is_repeated(render, cells);
    bool kept = figure && render->head->report->columns[column].name == render->main;
    html_cell_begin(page, heads,
                    figure && again ? "n again"
                    : kept          ? "n k"
                    : figure        ? "n"
                    : again         ? "again"
                                    : html_text_class(cells[column]));
    if (is_nothing(render, cells[column], column)) {
        html_nothing(page, cells[column]);
    } else if (!is_empty(cells[column])) {
        bool linked = render_begin_link(render, cells, column);
        if (render->head->report->columns[column].kind == COLUMN_RATE)
            html_rate(page, cells[column]);
        else if (render->head->report->columns[column].kind == COLUMN_TIME)
            add_time(render, cells, column);
        else if (figure)
            html_figure(page, cells[column]);
        else if (says_total(render, cells, column))
            html_value(page, "totals", cells[column]);
        else
            html_value(page, render->head->report->columns[column].name, cells[column]);
        if (linked)
            buffer_add_text(page, "</a>");
        if (!figure && !again)
            add_name(page, render->head, render->head->report->columns[column].name, cells[column]);
    }
    html_cell_end(page, heads);
}

/* In the second column, so that they are in view on a narrow screen. */
static void add_row_acts(struct render *render, const char *const *cells)
{
    html_cell_begin(&render->text, false, "act");
    for (const struct report_act *const *act = render->head->page->row_acts; *act != NULL; act++) {
        const char *figure = render_cell(render, cells, (*act)->column);
        if (is_empty(figure) || strcmp(figure, "0") == 0 || !render_open_link(render, cells, (*act)->pattern))
            continue;
        html_word(&render->text, (*act)->text);
        buffer_add_text(&render->text, "</a> ");
    }
    html_cell_end(&render->text, false);
}

static bool is_left_out(const struct report *report, const char *x)
{
    for (size_t i = 0; i < sizeof report->not_drawn / sizeof report->not_drawn[0]; i++)
        if (report->not_drawn[i] != NULL && x != NULL && strcmp(x, report->not_drawn[i]) == 0)
            return true;
    return false;
}

static void draw(struct render *render, const char *const *cells)
{
    const struct report_plot *about = &render->head->report->plot;
    const char *x = render_cell(render, cells, about->x);
    if (is_left_out(render->head->report, x))
        return;
    plot_add(render->plot, x, render_cell(render, cells, about->y), render_cell(render, cells, about->series),
             render_cell(render, cells, about->target));
}

static void row(struct render *render, const char *const *cells)
{
    bool total = is_total(render, cells);
    if (render->rows == 0)
        html_table_rows(&render->text);
    buffer_add_text(&render->text, total || sums_up(render, cells) ? "<tr class=\"total\">" : "<tr>");
    for (size_t i = 0; i < render->column_count; i++) {
        if (shows_column(render->head, i))
            add_cell(render, cells, i);
        if (i == 0 && render->head->page->row_acts != NULL)
            add_row_acts(render, cells);
    }
    buffer_add_text(&render->text, "</tr>\n");
    render->totals += total;
    if (render->plot != NULL && !total)
        draw(render, cells);
    keep_above(render, cells);
}

/* --- after them ---------------------------------------------------------------------------------------- */

/* How many rows there are, without lines of totals. */
static void add_count(struct render *render)
{
    const struct report_page *page = render->head->page;
    char count[24];
    snprintf(count, sizeof count, "%zu", render->rows - render->totals);
    buffer_add_text(&render->text, "<dl class=\"facts\">\n");
    html_fact(&render->text, page->next != NULL || page->continues ? "on_this_page" : "in_all", count);
    buffer_add_text(&render->text, "</dl>\n");
}

static bool explains_column(const struct render *render, size_t column)
{
    return shows_column(render->head, column) && !render->unshown[column];
}

static void add_legend(struct render *render)
{
    struct buffer *page = &render->text;
    const struct report *report = render->head->report;
    size_t first = 0;
    while (first < render->column_count && !explains_column(render, first))
        first++;
    if (first == render->column_count)
        return;
    buffer_add_text(page, "<section class=\"legend\">\n<h2>");
    html_word(page, "Columns");
    buffer_add_text(page, "</h2>\n<dl>\n");
    for (size_t i = first; i < render->column_count; i++)
        if (explains_column(render, i))
            html_word_fact(page, report->columns[i].name, report->columns[i].title);
    buffer_add_text(page, "</dl>\n</section>\n");
}

/* The same report in another form: CSV first. */
static void add_form_link(struct buffer *page, int number, const void *head)
{
    const struct report_head *about = head;
    struct buffer target;
    buffer_init(&target, 8192);
    buffer_printf(&target, "/v1/reports/%s?scheme=", about->report->name);
    uri_encode(&target, about->scheme);
    for (size_t i = 0; i < report_parameter_count(about->report); i++) {
        if (about->arguments[i] == NULL)
            continue;
        buffer_printf(&target, "&%s=", about->report->parameters[i].name);
        uri_encode(&target, about->arguments[i]);
    }
    buffer_printf(&target, "&format=%s", number == 1 ? "csv" : "json");
    if (!target.failed)
        html_link(page, target.data, number == 1 ? "CSV" : "JSON");
    buffer_dispose(&target);
}

static void tail(struct render *render)
{
    struct buffer *page = &render->text;
    if (render->rows > 0)
        html_table_end(page);
    else
        html_table_end_empty(page);
    if (render->rows > 0)
        add_count(render);
    if (render->head->page->next != NULL) {
        buffer_add_text(page, "<p class=\"next\">");
        html_link(page, render->head->page->next, "Next page");
        buffer_add_text(page, "</p>\n");
    }
    if (render->plot != NULL)
        plot_write(render->plot, page);
    plot_free(render->plot);
    render->plot = NULL;
    render_tail(render);
}

/* Says whose clock the times are those of. */
static void add_zone(struct render *render)
{
    if (*render->zone == '\0')
        return;
    buffer_add_text(&render->text, "<p class=\"zone\">");
    html_say(&render->text, "Times are those of %1.", render->zone);
    buffer_add_text(&render->text, "</p>\n");
}

/* Lines for people to sign on, on paper. */
static void add_signatures(struct render *render)
{
    const char *const *lines = render->head->report->signatures;
    for (; lines != NULL && *lines != NULL; lines++) {
        buffer_add_text(&render->text, "<p class=\"write\">");
        html_word(&render->text, *lines);
        buffer_add_text(&render->text, "</p>\n");
    }
}

void render_tail(struct render *render)
{
    struct buffer *page = &render->text;
    add_signatures(render);
    if (render->head->page->acts != NULL) {
        buffer_add_text(page, "<p class=\"acts\">");
        buffer_add_text(page, render->head->page->acts);
        buffer_add_text(page, "</p>\n");
    }
    if (render->head->page->note != NULL)
        html_note(page, render->head->page->note);
    add_legend(render);
    add_zone(render);
    buffer_add_text(page, "<p class=\"forms\">");
    if (render->head->page->next != NULL)
        html_say_parts(page, "All rows as %1 or %2", add_form_link, render->head);
    else
        html_say_parts(page, "The same as %1 or %2", add_form_link, render->head);
    buffer_add_text(page, "</p>\n");
    html_page_end(page);
}

const struct renderer render_html = {head, row, tail};
