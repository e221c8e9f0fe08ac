/* SPDX-License-Identifier: ISC */
/* The page of the deposit cover, as two statements: deposits against the cups that they are for, and the
 * money against the deposits. Then the causes of the difference, as a list that comes to it. The rows of
 * sites are added up by cup type, so the page stays short; the other forms have each of them. */
#include "report/render.h"

#include "base/memory.h"
#include "depositd/money.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_SIZE = 64, LINES_MAX = 100000, LINES_FIRST = 32 };

enum part { OF_CUSTOMERS, OF_SITES, OF_TRANSIT, DEPOSITS, MONEY, SURPLUS, CAUSES, UNEXPLAINED };

/* A row of the page. Of the funding it has one amount. */
struct line {
    enum part part;
    char name[NAME_SIZE]; /* cup type, or kind of account */
    int64_t cups;
    struct money refund_value, required, held, to_come, amount;
};

struct cover {
    struct line *lines;
    size_t count, room;
    unsigned decimals;
    bool failed; /* memory ran out, or a sum is too large */
};

/* Where figures lead: the cups and deposits of a place to the ledger, the lines of the funding to the
 * accounts of their kind. The rows of sites are of many accounts of two kinds. */
#define LEDGER   "/v1/reports/general-ledger?scheme={scheme}&to={as_of}&account="
#define ACCOUNTS "/v1/accounts?scheme={scheme}&as_of={as_of}&limit=1000&account_kind={item}"

static const char *cups_link(enum part part)
{
    return part == OF_CUSTOMERS ? LEDGER "with_customers({cup_type})"
           : part == OF_TRANSIT ? LEDGER "in_transit({cup_type})"
                                : NULL;
}

static const char *held_link(enum part part)
{
    return part == OF_CUSTOMERS ? LEDGER "customer_deposits({cup_type})"
           : part == OF_TRANSIT ? LEDGER "transit_deposits({cup_type})"
                                : NULL;
}

/* --- rows ---------------------------------------------------------------------------------------------- */

/* "": it is empty. */
static const char *cell(const struct render *render, const char *const *cells, const char *name)
{
    const char *text = render_cell(render, cells, name);
    return text != NULL ? text : "";
}

/* NULL: memory ran out, or there are too many. */
static struct line *new_line(struct cover *cover, enum part part, const char *name)
{
    if (cover->count == cover->room) {
        size_t room = cover->room > 0 ? cover->room * 2 : LINES_FIRST;
        struct line *lines = room <= LINES_MAX ? memory_reallocate(cover->lines, room * sizeof *lines) : NULL;
        if (lines == NULL)
            return NULL;
        cover->lines = lines;
        cover->room = room;
    }
    struct line *line = &cover->lines[cover->count++];
    *line = (struct line){.part = part};
    snprintf(line->name, sizeof line->name, "%s", name);
    return line;
}

/* The line of this part and name, which is made if there is none yet. NULL: as above. */
static struct line *line_of(struct cover *cover, enum part part, const char *name)
{
    for (size_t i = 0; i < cover->count; i++)
        if (cover->lines[i].part == part && strcmp(cover->lines[i].name, name) == 0)
            return &cover->lines[i];
    return new_line(cover, part, name);
}

static void add_to(struct cover *cover, struct money *sum, const char *text)
{
    struct decimal number;
    if (*text == '\0')
        return;
    if (!decimal_parse(text, strlen(text), &number) || !money_add(*sum, (struct money){number.unscaled}, sum))
        cover->failed = true;
    else
        cover->decimals = number.scale;
}

/* A line of the funding tells its part by the figures that it has. */
static enum part part_of(const char *section, const char *required, const char *held, const char *to_come)
{
    if (strcmp(section, "customers") == 0)
        return OF_CUSTOMERS;
    if (strcmp(section, "stock") == 0)
        return OF_SITES;
    if (strcmp(section, "transit") == 0)
        return OF_TRANSIT;
    if (*required != '\0')
        return *held != '\0' ? SURPLUS : DEPOSITS;
    return *held != '\0' ? MONEY : *to_come != '\0' ? CAUSES : UNEXPLAINED;
}

static void row(struct render *render, const char *const *cells)
{
    struct cover *cover = render->own;
    const char *required = cell(render, cells, "required"), *held = cell(render, cells, "held");
    const char *to_come = cell(render, cells, "to_come"), *difference = cell(render, cells, "difference");
    enum part part = part_of(cell(render, cells, "section"), required, held, to_come);
    bool of_cups = part <= OF_TRANSIT;
    struct line *line =
        cover == NULL ? NULL : line_of(cover, part, cell(render, cells, of_cups ? "cup_type" : "item"));
    if (line == NULL) {
        render->failed = true;
        return;
    }
    if (of_cups) {
        line->cups += strtoll(cell(render, cells, "cups"), NULL, 10);
        line->refund_value = (struct money){0};
        add_to(cover, &line->refund_value, cell(render, cells, "refund_value"));
        add_to(cover, &line->required, required);
        add_to(cover, &line->held, held);
    }
    add_to(cover, &line->to_come, to_come);
    add_to(cover, &line->amount, part == DEPOSITS ? required : part == MONEY ? held : difference);
}

/* --- cells --------------------------------------------------------------------------------------------- */

/* A figure and where it leads. */
struct figure {
    const char *class; /* of its cell */
    const char *link;  /* a URI template; NULL: nowhere */
    const char *name;  /* of the line: its cup type, or the kind of its accounts */
};

static void add_figure(struct render *render, const char *text, const struct figure *figure)
{
    struct buffer *page = &render->text;
    const char *cells[REPORT_COLUMNS_MAX] = {NULL};
    cells[render_column(render, "cup_type")] = cells[render_column(render, "item")] = figure->name;
    html_cell_begin(page, false, figure->class);
    if (html_is_zero(text)) {
        html_nothing(page, text);
    } else {
        bool linked = figure->link != NULL && render_open_link(render, cells, figure->link);
        html_figure(page, text);
        buffer_add_text(page, linked ? "</a>" : "");
    }
    html_cell_end(page, false);
}

static void add_amount_to(struct render *render, struct money amount, const struct figure *figure)
{
    char text[MONEY_TEXT_MAX];
    money_format(amount, ((const struct cover *)render->own)->decimals, text);
    add_figure(render, text, figure);
}

static void add_amount(struct render *render, struct money amount)
{
    add_amount_to(render, amount, &(struct figure){.class = "n"});
}

static void add_name(struct render *render, const char *name, const char *cup_type)
{
    struct buffer *page = &render->text;
    html_cell_begin(page, true, NULL);
    const char *cells[REPORT_COLUMNS_MAX] = {NULL};
    size_t column = render_column(render, "cup_type");
    cells[column] = cup_type;
    bool linked = cup_type != NULL && render_begin_link(render, cells, column);
    if (cup_type != NULL)
        html_text(page, name);
    else
        html_label(page, name);
    buffer_add_text(page, linked ? "</a>" : "");
    html_cell_end(page, true);
}

static void begin_statement(struct render *render, const char *caption, size_t columns)
{
    struct buffer title, detail;
    render_words(render->head, &title, &detail);
    buffer_add_text(&title, detail.data != NULL ? detail.data : "");
    html_table_begin(&render->text,
                     &(struct html_table){.caption = caption, .running = title.data, .columns = columns});
    buffer_dispose(&title);
    buffer_dispose(&detail);
}

static void add_all(struct cover *cover, struct money *sum, struct money amount)
{
    if (!money_add(*sum, amount, sum))
        cover->failed = true;
}

/* --- cups and their deposits --------------------------------------------------------------------------- */

/* A row of cups: a place of a cup type, the total of the type, or the total of all types. */
struct cups_row {
    const char *cup_type, *where; /* NULL: of all types; of all places */
    bool is_total;
};

/* Whether the ledger has all of the line's amount already. */
static bool is_posted(const struct line *line)
{
    return line->to_come.minor == 0;
}

static void add_cups_row(struct render *render, const struct cups_row *row, const struct line *line)
{
    char cups[24];
    struct cover *cover = render->own;
    struct money difference = {0};
    snprintf(cups, sizeof cups, "%lld", (long long)line->cups);
    if (!money_sub(line->held, line->required, &difference))
        cover->failed = true;
    buffer_add_text(&render->text, row->is_total ? "<tr class=\"total\">" : "<tr>");
    add_name(render, row->cup_type != NULL ? row->cup_type : "Total", row->cup_type);
    buffer_add_text(&render->text, "<td>");
    if (row->where != NULL)
        html_word(&render->text, row->where);
    buffer_add_text(&render->text, "</td>");
    bool leads = row->cup_type != NULL && !row->is_total;
    if (row->cup_type != NULL) {
        add_figure(render, cups, &(struct figure){"n", leads ? cups_link(line->part) : NULL, row->cup_type});
        add_amount(render, line->refund_value);
    } else { /* cups of different types are not added up */
        buffer_add_text(&render->text, "<td></td><td></td>");
    }
    add_amount(render, line->required);
    add_amount_to(
        render, line->held,
        &(struct figure){"n", leads && is_posted(line) ? held_link(line->part) : NULL, row->cup_type});
    add_amount(render, line->to_come);
    add_amount_to(render, difference, &(struct figure){.class = "n k"});
    buffer_add_text(&render->text, "</tr>\n");
}

static void add_into(struct cover *cover, struct line *sum, const struct line *line)
{
    sum->cups += line->cups;
    sum->refund_value = line->refund_value;
    add_all(cover, &sum->required, line->required);
    add_all(cover, &sum->held, line->held);
    add_all(cover, &sum->to_come, line->to_come);
}

static const char *place_words(enum part part)
{
    return part == OF_CUSTOMERS ? "With customers" : part == OF_SITES ? "At sites" : "On the road";
}

/* All lines of the cup type of the line at `first`, unless an earlier line has had them. */
static void add_cup_type(struct render *render, size_t first, struct line *total)
{
    struct cover *cover = render->own;
    const char *cup_type = cover->lines[first].name;
    struct line sum = {.part = OF_CUSTOMERS};
    size_t rows = 0;
    for (size_t i = 0; i < first; i++)
        if (cover->lines[i].part <= OF_TRANSIT && strcmp(cover->lines[i].name, cup_type) == 0)
            return;
    for (size_t i = first; i < cover->count; i++) {
        const struct line *line = &cover->lines[i];
        if (line->part > OF_TRANSIT || strcmp(line->name, cup_type) != 0)
            continue;
        add_cups_row(render, &(struct cups_row){cup_type, place_words(line->part), false}, line);
        add_into(cover, &sum, line);
        rows++;
    }
    if (rows > 1)
        add_cups_row(render, &(struct cups_row){cup_type, "Total", true}, &sum);
    add_into(cover, total, &sum);
}

static void add_cups(struct render *render)
{
    static const char *const amounts[] = {"refund_value", "required", "held", "to_come"};
    struct cover *cover = render->own;
    struct buffer *page = &render->text;
    struct line total = {.part = OF_CUSTOMERS};
    begin_statement(render, "Deposits against the refund value of the cups", 8);
    html_column(page, "cup_type", false);
    html_column(page, "where", false);
    html_column(page, "cups", true);
    for (size_t i = 0; i < sizeof amounts / sizeof amounts[0]; i++)
        html_column_in(page, amounts[i], "n", render->head->currency);
    html_column_in(page, "difference", "n k", render->head->currency);
    html_table_rows(page);
    for (size_t i = 0; i < cover->count; i++)
        if (cover->lines[i].part <= OF_TRANSIT)
            add_cup_type(render, i, &total);
    html_table_foot(page);
    add_cups_row(render, &(struct cups_row){NULL, NULL, true}, &total);
    html_table_end_foot(page);
}

/* --- funding ------------------------------------------------------------------------------------------- */

/* `link`: as of a figure. */
static void add_funding_line(struct render *render, const char *name, struct money amount, const char *link)
{
    buffer_add_text(&render->text, "<tr>");
    add_name(render, name, NULL);
    add_amount_to(render, amount, &(struct figure){"n", link, name});
    buffer_add_text(&render->text, "</tr>\n");
}

static void add_funding_total(struct render *render, const char *name, struct money amount)
{
    buffer_add_text(&render->text, "<tr class=\"total\">");
    add_name(render, name, NULL);
    add_amount(render, amount);
    buffer_add_text(&render->text, "</tr>\n");
}

/* The lines of a part; `turned`: with the other sign. Returns their sum. */
static struct money add_part(struct render *render, enum part part, bool turned)
{
    struct cover *cover = render->own;
    struct money sum = {0};
    for (size_t i = 0; i < cover->count; i++) {
        if (cover->lines[i].part != part)
            continue;
        const struct line *line = &cover->lines[i];
        struct money amount = line->amount;
        if (turned)
            amount.minor = -amount.minor;
        add_funding_line(render, line->name, amount,
                         part != UNEXPLAINED && is_posted(line) ? ACCOUNTS : NULL);
        add_all(cover, &sum, amount);
    }
    return sum;
}

static const char *surplus_word(struct money surplus)
{
    return surplus.minor < 0 ? "Shortfall" : "Surplus";
}

static void begin_funding(struct render *render, const char *caption, const char *head)
{
    begin_statement(render, caption, 2);
    html_column(&render->text, head, false);
    html_column_in(&render->text, "amount", "n", render->head->currency);
    html_table_rows(&render->text);
}

static struct money add_funding(struct render *render)
{
    struct cover *cover = render->own;
    begin_funding(render, "The money that the deposits are held in", "account");
    struct money surplus = add_part(render, MONEY, false);
    add_funding_total(render, "Money against the deposits", surplus);
    struct money deposits = add_part(render, DEPOSITS, true);
    add_funding_total(render, "Deposits owed", deposits);
    add_all(cover, &surplus, deposits);
    html_table_foot(&render->text);
    add_funding_total(render, surplus_word(surplus), surplus);
    html_table_end_foot(&render->text);
    return surplus;
}

static void add_causes(struct render *render, struct money surplus)
{
    struct cover *cover = render->own;
    begin_funding(render,
                  surplus.minor < 0 ? "Where the shortfall comes from" : "Where the surplus comes from",
                  "cause");
    struct money sum = add_part(render, CAUSES, false);
    add_all(cover, &sum, add_part(render, UNEXPLAINED, false));
    html_table_foot(&render->text);
    add_funding_total(render, surplus_word(sum), sum);
    html_table_end_foot(&render->text);
}

/* --- the page ------------------------------------------------------------------------------------------ */

static void head(struct render *render)
{
    render_head(render);
    render->own = memory_allocate(sizeof(struct cover));
    if (render->own != NULL)
        *(struct cover *)render->own = (struct cover){.lines = NULL};
}

static void tail(struct render *render)
{
    struct cover *cover = render->own;
    if (cover != NULL) {
        add_cups(render);
        add_causes(render, add_funding(render));
        render_tail(render);
    }
    render->failed = render->failed || cover == NULL || cover->failed;
    if (cover != NULL)
        free(cover->lines);
    free(cover);
    render->own = NULL;
}

const struct renderer render_cover = {head, row, tail};
