/* SPDX-License-Identifier: ISC */
/* The page of a participant's statement of account, as a document for its owner. It has the parties, the
 * amounts due in words, each day and payment with the balance after it, the parts of the closing balance, and
 * the days by site. Columns in which nothing happened are left out. The rows of a participant are kept until
 * the next one begins. */
#include "report/statement_words.h"

#include "base/memory.h"

#include <stdlib.h>
#include <string.h>

enum { ROWS_MAX = 20000, ROWS_FIRST = 64, SHOWN_MAX = 600 };

/* --- keeping rows -------------------------------------------------------------------------------------- */

static struct statement_row *copy_of(const struct render *render, const char *const *cells)
{
    size_t length = sizeof(struct statement_row);
    for (size_t i = 0; i < render->column_count; i++)
        length += cells[i] != NULL ? strlen(cells[i]) + 1 : 0;
    struct statement_row *row = memory_allocate(length);
    if (row == NULL)
        return NULL;
    char *at = (char *)(row + 1);
    for (size_t i = 0; i < render->column_count; i++) {
        row->cells[i] = cells[i] != NULL ? at : NULL;
        if (cells[i] != NULL)
            at = stpcpy(at, cells[i]) + 1;
    }
    return row;
}

static bool keep(struct statement *statement, struct statement_row *row)
{
    if (row != NULL && statement->count == statement->room) {
        size_t room = statement->room > 0 ? statement->room * 2 : ROWS_FIRST;
        struct statement_row **rows =
            room <= ROWS_MAX ? memory_reallocate(statement->rows, room * sizeof(struct statement_row *))
                             : NULL;
        if (rows == NULL) {
            free(row);
            return false;
        }
        statement->rows = rows;
        statement->room = room;
    }
    if (row != NULL)
        statement->rows[statement->count++] = row;
    return row != NULL;
}

static void forget_rows(struct statement *statement)
{
    for (size_t i = 0; i < statement->count; i++)
        free(statement->rows[i]);
    statement->count = 0;
}

/* --- tables -------------------------------------------------------------------------------------------- */

static bool is_amount(const struct render *render, size_t column)
{
    return render->head->report->columns[column].kind == COLUMN_AMOUNT;
}

/* Whether a column of amounts says anything in the rows of a section, or of two. */
static bool is_used(const struct render *render, size_t column, const char *section, const char *other)
{
    const struct statement *statement = render->own;
    for (size_t i = 0; i < statement->count; i++) {
        const struct statement_row *row = statement->rows[i];
        if ((statement_is_in(render, row, section) || statement_is_in(render, row, other)) &&
            row->cells[column] != NULL && !html_is_zero(row->cells[column]))
            return true;
    }
    return false;
}

static void begin_table(struct render *render, const char *caption, size_t columns)
{
    struct buffer title, detail;
    render_words(render->head, &title, &detail);
    buffer_printf(&title, "%s, %s", detail.data != NULL ? detail.data : "",
                  statement_cell(render, statement_row_of(render, "participant"), "name"));
    html_table_begin(&render->text,
                     &(struct html_table){
                         .caption = caption, .running = title.data, .columns = columns, .wide = columns > 7});
    buffer_dispose(&title);
    buffer_dispose(&detail);
}

/* Whether a link was begun. The row of a sum leads nowhere: the rows that it sums are beside it. */
static bool begin_link(struct render *render, const struct statement_row *row, size_t column)
{
    return !statement_is_in(render, row, "opening") && !statement_is_in(render, row, "closing") &&
           !statement_is_in(render, row, "sites") && render_begin_link(render, row->cells, column);
}

static void add_amount(struct render *render, const struct statement_row *row, size_t column,
                       const char *class)
{
    struct buffer *page = &render->text;
    const char *amount = row->cells[column];
    html_cell_begin(page, false, class);
    if (amount != NULL && html_is_zero(amount)) {
        html_nothing(page, amount);
    } else if (amount != NULL) {
        bool linked = begin_link(render, row, column);
        html_figure(page, amount);
        buffer_add_text(page, linked ? "</a>" : "");
    }
    html_cell_end(page, false);
}

static void add_linked(struct render *render, const struct statement_row *row, const char *name)
{
    bool linked = begin_link(render, row, render_column(render, name));
    html_text(&render->text, statement_cell(render, row, name));
    buffer_add_text(&render->text, linked ? "</a>" : "");
}

static void add_text(struct render *render, const struct statement_row *row, const char *name)
{
    html_cell_begin(&render->text, false, html_text_class(statement_cell(render, row, name)));
    add_linked(render, row, name);
    html_cell_end(&render->text, false);
}

/* --- the days ------------------------------------------------------------------------------------------ */

static const char *what_is(const struct render *render, const struct statement_row *row)
{
    const char *item = statement_cell(render, row, "item");
    bool owes = *statement_cell(render, row, "amount") == '-';
    if (statement_is_in(render, row, "opening"))
        return "Opening balance";
    if (statement_is_in(render, row, "closing"))
        return "Closing balance";
    if (statement_is_in(render, row, "day"))
        return "Dealings of the day";
    if (strcmp(item, "failed") == 0)
        return "Payment failed";
    if (strcmp(item, "bank_line") == 0)
        return "From the bank's statement";
    return owes ? "Payment to you" : "Payment by you";
}

/* Figures to the right; those of the last column stay in view on a phone. */
static const char *class_of(const char *column)
{
    return strcmp(column, "balance") == 0 || strcmp(column, "amount") == 0 ? "n k" : "n";
}

static void add_amounts(struct render *render, const struct statement_row *row, const bool *used)
{
    for (size_t i = 0; i < render->column_count; i++)
        if (used[i])
            add_amount(render, row, i, class_of(render->head->report->columns[i].name));
}

static void add_heads(struct render *render, const bool *used)
{
    for (size_t i = 0; i < render->column_count; i++) {
        const char *name = render->head->report->columns[i].name;
        if (used[i])
            html_column_in(&render->text, name, class_of(name), render->head->currency);
    }
}

/* Which columns a table shows. They are explained below it. */
static size_t find_used(struct render *render, bool *used, const char *section, const char *other)
{
    size_t count = 0;
    for (size_t i = 0; i < render->column_count; i++) {
        const char *name = render->head->report->columns[i].name;
        used[i] = is_amount(render, i) && is_used(render, i, section, other);
        if (strcmp(name, "balance") == 0)
            used[i] = strcmp(section, "day") == 0;
        if (strcmp(name, "amount") == 0)
            used[i] = strcmp(section, "day") != 0;
        count += used[i];
        render->unshown[i] = render->unshown[i] && !used[i];
    }
    return count;
}

static void add_activity_row(struct render *render, const struct statement_row *row, const bool *used)
{
    struct buffer *page = &render->text;
    bool total = statement_is_in(render, row, "closing") || statement_is_in(render, row, "opening");
    buffer_add_text(page, total ? "<tr class=\"total\">" : "<tr>");
    html_cell_begin(page, true, "d");
    add_linked(render, row, "date");
    html_cell_end(page, true);
    html_cell_begin(page, false, "t");
    html_word(page, what_is(render, row));
    if (*statement_cell(render, row, "payment_id") != '\0') {
        buffer_add_char(page, ' ');
        add_linked(render, row, "payment_id");
    }
    html_cell_end(page, false);
    add_amounts(render, row, used);
    buffer_add_text(page, "</tr>\n");
}

static void add_activity(struct render *render)
{
    const struct statement *statement = render->own;
    bool used[REPORT_COLUMNS_MAX] = {false};
    size_t columns = find_used(render, used, "day", "payment");
    begin_table(render, "Each day and payment, with the balance after it", columns + 2);
    html_column(&render->text, "date", false);
    html_column(&render->text, "what", false);
    add_heads(render, used);
    html_table_rows(&render->text);
    for (size_t i = 0; i < statement->count; i++) {
        const struct statement_row *row = statement->rows[i];
        if (statement_is_in(render, row, "opening") || statement_is_in(render, row, "day") ||
            statement_is_in(render, row, "payment"))
            add_activity_row(render, row, used);
    }
    html_table_foot(&render->text);
    add_activity_row(render, statement_row_of(render, "closing"), used);
    html_table_end_foot(&render->text);
}

/* --- the parts of the closing balance, and the sites --------------------------------------------------- */

static const char *due_label(const struct render *render, const struct statement_row *row)
{
    const char *item = statement_cell(render, row, "item");
    bool owes = *statement_cell(render, row, "amount") == '-';
    if (strcmp(item, "payment") == 0)
        return owes ? "Payment by you" : "Payment to you";
    return strcmp(item, "not_settled") == 0       ? "Not settled yet"
           : strcmp(item, "next_settlement") == 0 ? "In the next settlement"
                                                  : "Settled and not paid";
}

/* A cell of fixed words. */
static void add_word(struct buffer *page, bool heads_row, const char *words)
{
    html_cell_begin(page, heads_row, NULL);
    if (*words != '\0')
        html_word(page, words);
    html_cell_end(page, heads_row);
}

/* The total of a table. */
static void add_foot(struct render *render, const struct statement_row *row, size_t texts, const bool *used)
{
    html_table_foot(&render->text);
    buffer_add_text(&render->text, "<tr class=\"total\">");
    add_word(&render->text, true, "Total");
    while (--texts > 0)
        buffer_add_text(&render->text, "<td></td>");
    add_amounts(render, row, used);
    buffer_add_text(&render->text, "</tr>\n");
    html_table_end_foot(&render->text);
}

static const char *status_words(const struct render *render, const struct statement_row *row)
{
    const char *status = statement_cell(render, row, "status");
    if (*status == '\0')
        return "";
    if (strcmp(status, "instructed") == 0)
        return "Sent to the bank";
    if (strcmp(status, "confirmed") == 0)
        return "Made since then";
    return strcmp(status, "failed") == 0 ? "Failed since then" : "To be sent";
}

static void add_due(struct render *render)
{
    const struct statement *statement = render->own;
    size_t amount = render_column(render, "amount"), balance = render_column(render, "balance");
    bool used[REPORT_COLUMNS_MAX] = {false};
    if (statement_row_of(render, "due") == NULL)
        return;
    begin_table(render, "What the closing balance is made of", 5);
    html_column(&render->text, "what", false);
    html_column(&render->text, "payment", false);
    html_column(&render->text, "due_on", false);
    html_column(&render->text, "status", false);
    html_column_in(&render->text, "amount", "n k", render->head->currency);
    html_table_rows(&render->text);
    for (size_t i = 0; i < statement->count; i++) {
        const struct statement_row *row = statement->rows[i];
        if (!statement_is_in(render, row, "due"))
            continue;
        buffer_add_text(&render->text, "<tr>");
        add_word(&render->text, true, due_label(render, row));
        add_text(render, row, "payment_id");
        add_text(render, row, "due_on");
        add_word(&render->text, false, status_words(render, row));
        add_amount(render, row, amount, "n k");
        buffer_add_text(&render->text, "</tr>\n");
    }
    used[balance] = true;
    add_foot(render, statement_row_of(render, "closing"), 4, used);
}

static void add_sites(struct render *render)
{
    const struct statement *statement = render->own;
    bool used[REPORT_COLUMNS_MAX] = {false};
    size_t columns = find_used(render, used, "site", "site"), sites = 0;
    begin_table(render, "The days by site", columns + 1);
    html_column(&render->text, "site", false);
    add_heads(render, used);
    html_table_rows(&render->text);
    for (size_t i = 0; i < statement->count; i++) {
        const struct statement_row *row = statement->rows[i];
        if (!statement_is_in(render, row, "site"))
            continue;
        buffer_add_text(&render->text, "<tr>");
        html_cell_begin(&render->text, true, NULL);
        bool linked = begin_link(render, row, render_column(render, "site"));
        html_text(&render->text, statement_cell(render, row, "name"));
        buffer_add_text(&render->text, linked ? "</a>" : "");
        html_cell_end(&render->text, true);
        add_amounts(render, row, used);
        buffer_add_text(&render->text, "</tr>\n");
        sites++;
    }
    if (sites > 1)
        add_foot(render, statement_row_of(render, "sites"), 1, used);
    else
        html_table_end(&render->text);
}

/* --- the page ------------------------------------------------------------------------------------------ */

static void add_paragraph(struct buffer *page, const char *words)
{
    buffer_add_text(page, "<p>");
    html_word(page, words);
    buffer_add_text(page, "</p>\n");
}

static void add_party(struct render *render, const char *section)
{
    const struct statement_row *row = statement_row_of(render, section);
    if (row != NULL && *statement_cell(render, row, "name") != '\0')
        html_fact(&render->text, section, statement_cell(render, row, "name"));
}

/* Writes the statement of the participant whose rows are kept. */
static void write_statement(struct render *render)
{
    struct statement *statement = render->own;
    const struct statement_row *party = statement_row_of(render, "participant");
    if (party == NULL)
        return;
    buffer_add_text(&render->text, "<section class=\"statement\">\n<h2>");
    html_text(&render->text, statement_cell(render, party, "name"));
    buffer_add_text(&render->text, "</h2>\n<dl class=\"asked\">\n");
    add_party(render, "operator");
    add_party(render, "participant");
    buffer_add_text(&render->text, "</dl>\n");
    if (statement_row_of(render, "closing") != NULL) {
        statement_words(render);
        add_activity(render);
        add_due(render);
        add_sites(render);
    } else {
        add_paragraph(&render->text, "There is no business day in this period.");
    }
    buffer_add_text(&render->text, "</section>\n");
    statement->shown += statement->count;
    forget_rows(statement);
}

static void head(struct render *render)
{
    render_head(render);
    for (size_t i = 0; i < render->column_count; i++)
        render->unshown[i] = true;
    html_note(&render->text,
              "Amounts in your favour are positive, amounts that you owe have a minus. Each row adds up.");
    render->own = memory_allocate(sizeof(struct statement));
    if (render->own != NULL)
        *(struct statement *)render->own = (struct statement){.rows = NULL};
}

static void row(struct render *render, const char *const *cells)
{
    struct statement *statement = render->own;
    size_t section = render_column(render, "section");
    if (statement == NULL || cells[section] == NULL) {
        render->failed = true;
        return;
    }
    if (strcmp(cells[section], "operator") == 0) {
        write_statement(render);
        statement->cut = statement->shown >= SHOWN_MAX;
    }
    if (!statement->cut && !keep(statement, copy_of(render, cells)))
        render->failed = true;
}

static void tail(struct render *render)
{
    struct statement *statement = render->own;
    if (statement != NULL) {
        write_statement(render);
        if (statement->cut)
            add_paragraph(&render->text,
                          "There are more participants. Ask for the statement of one of them.");
        render_tail(render);
        forget_rows(statement);
        free(statement->rows);
    }
    render->failed = render->failed || statement == NULL;
    free(statement);
    render->own = NULL;
}

const struct renderer render_statement = {head, row, tail};
