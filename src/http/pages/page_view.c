/* SPDX-License-Identifier: ISC */
/* Shows objects and lists of an answer on a page, as facts, sections and tables. The service made the answer
 * itself, so its depth is known and its size is bounded. */
#include "http/pages/page_view.h"

#include "http/pages/page_acts.h"
#include "http/pages/page_amounts.h"
#include "http/pages/page_change.h"
#include "http/pages/page_counts.h"
#include "http/pages/page_journal.h"
#include "http/request/route.h"
#include "report/html.h"
#include "report/plot.h"
#include "words/words.h"

#include <stdio.h>
#include <string.h>

enum { COLUMNS_MAX = 32, NARROW = 8, ROWS_MAX = 500 };

static bool holds_objects(const json_t *value)
{
    return json_is_array(value) && json_is_object(json_array_get(value, 0));
}

/* --- tables -------------------------------------------------------------------------------------------- */

struct column {
    const char *name;
    bool inner;   /* a member of the items of about->rows */
    bool figures; /* all cells are numbers */
    bool amounts; /* all cells are amounts of money */
    bool kept;    /* stays in view on a phone */
    bool codes;   /* all cells are hashes or ids; such columns come last */
    bool filled;
};

struct table {
    struct page_view *view;
    const struct page_scope *scope;
    struct column columns[COLUMNS_MAX];
    size_t count;
    const char *acts; /* a last column has links to what can be done with the item of this list; NULL: none */
    const char *currency; /* of all amounts; NULL: each row has its own */
};

static struct column *column_of(struct table *table, const char *name, bool inner)
{
    for (size_t i = 0; i < table->count; i++)
        if (table->columns[i].inner == inner && strcmp(table->columns[i].name, name) == 0)
            return &table->columns[i];
    if (table->count == COLUMNS_MAX)
        return NULL;
    table->columns[table->count] =
        (struct column){.name = name, .inner = inner, .figures = true, .amounts = true, .codes = true};
    return &table->columns[table->count++];
}

/* A member of an object, or of an object within it. */
static const json_t *member_of(const json_t *object, const char *name)
{
    const char *key;
    json_t *member;
    const json_t *found = json_object_get(object, name);
    if (found != NULL)
        return found;
    json_object_foreach((json_t *)object, key,
                        member) if (json_is_object(member) && json_object_get(member, name) !=
                                                                  NULL) return json_object_get(member, name);
    return NULL;
}

static bool is_figure(const json_t *value)
{
    return json_is_number(value) || (json_is_string(value) && html_is_figure(json_string_value(value)));
}

static void note_value(struct column *column, const json_t *value)
{
    if (column == NULL || value == NULL || json_is_null(value))
        return;
    column->filled = true;
    column->figures = column->figures && is_figure(value);
    column->amounts = column->amounts && page_is_amount(column->name, value);
    column->codes = column->codes && json_is_string(value) && page_is_code(json_string_value(value));
}

/* Whether the table shows a member of the items of about->rows. */
static bool is_chosen(const struct table *table, const char *name)
{
    const char *const *names = table->view->about->columns;
    for (size_t i = 0; i < PAGE_COLUMNS_MAX && names[i] != NULL; i++)
        if (strcmp(names[i], name) == 0)
            return true;
    return names[0] == NULL;
}

/* Notes all members of an item, in their order. The chosen members of the items of its inner list follow its
 * first member. */
static void note_item(struct table *table, const json_t *item, bool inner)
{
    const char *rows = inner ? NULL : table->view->about->rows, *name;
    const json_t *lines = rows != NULL ? json_object_get(item, rows) : NULL;
    json_t *member;
    bool first = true;
    json_object_foreach((json_t *)item, name, member)
    {
        if (member == lines || (inner && !is_chosen(table, name)))
            continue;
        note_value(column_of(table, name, inner), member);
        for (size_t i = 0; first && i < json_array_size(lines); i++)
            note_item(table, json_array_get(lines, i), true);
        first = false;
    }
}

static void move_codes_last(struct table *table)
{
    struct column moved[COLUMNS_MAX];
    size_t count = 0;
    for (int codes = 0; codes < 2; codes++)
        for (size_t i = 0; i < table->count; i++)
            if ((table->columns[i].codes && table->columns[i].filled) == codes)
                moved[count++] = table->columns[i];
    memcpy(table->columns, moved, count * sizeof moved[0]);
}

static void find_columns(struct table *table, const json_t *list, bool chosen)
{
    const char *const *names = table->view->about->columns;
    size_t index;
    json_t *item;
    for (size_t i = 0; chosen && i < PAGE_COLUMNS_MAX && names[i] != NULL; i++)
        json_array_foreach(list, index, item)
            note_value(column_of(table, names[i], false), member_of(item, names[i]));
    if (table->count > 0)
        return;
    json_array_foreach(list, index, item) note_item(table, item, false);
}

/* If an object's members are in the item's row, they provide variables for the links of these cells. */
static void add_value(struct table *table, const struct page_scope *row, const char *name,
                      const json_t *value)
{
    const char *key;
    json_t *member;
    struct page_scope inner = {.object = row->object, .outer = row};
    json_object_foreach((json_t *)row->object, key,
                        member) if (json_is_object(member) && json_object_get(member, name) == value)
        inner.object = member;
    page_value(table->view, &inner, name, value);
}

enum line {
    LINE_ALONE, /* of an item without an inner list */
    LINE_FIRST, /* the first of the items within it */
    LINE_NEXT,
    LINE_TOTAL /* the item itself, below them */
};

static const char *cell_class(const struct column *column, const json_t *value, bool again)
{
    if (column->figures && column->filled)
        return column->kept ? "n k" : "n";
    return again ? "again" : html_text_class(json_string_value(value));
}

/* The sum of a column of amounts over the list, or over the lists within its items. */
static void add_sum(struct table *table, const json_t *list, const char *rows, const struct column *column)
{
    char text[MONEY_TEXT_MAX];
    if (!column->filled || !page_sum(list, rows, column->name, text))
        return;
    if (html_is_zero(text))
        html_nothing(table->view->text, text);
    else
        html_figure(table->view->text, text);
}

/* The first cell names the item, in each of its lines. The other cells show only the line's own values. */
static void add_cell(struct table *table, const struct page_scope *at, size_t index, enum line line)
{
    struct buffer *text = table->view->text;
    const struct column *column = &table->columns[index];
    bool part = line == LINE_FIRST || line == LINE_NEXT;
    const struct page_scope *scope = part && !column->inner ? at->outer : at;
    bool shown = index == 0 || (column->inner ? part : !part);
    const json_t *value = shown ? member_of(scope->object, column->name) : NULL;
    bool head = index == 0 && value != NULL;
    html_cell_begin(text, head, cell_class(column, value, index == 0 && line == LINE_NEXT));
    if (line == LINE_TOTAL && column->inner && column->amounts)
        add_sum(table, json_object_get(at->object, table->view->about->rows), NULL, column);
    else if (value != NULL && column->amounts && html_is_zero(json_string_value(value)))
        html_nothing(text, json_string_value(value));
    else if (value != NULL && !json_is_false(value))
        add_value(table, scope, column->name, value);
    html_cell_end(text, head);
}

static void add_line(struct table *table, const struct page_scope *at, enum line line)
{
    struct buffer *text = table->view->text;
    buffer_add_text(text, line == LINE_TOTAL ? "<tr class=\"total\">" : "<tr>");
    for (size_t i = 0; i < table->count; i++)
        add_cell(table, at, i, line);
    if (table->acts != NULL) {
        html_cell_begin(text, false, "act");
        if (line == LINE_ALONE || line == LINE_TOTAL)
            page_row_acts(table->view, table->acts, at);
        html_cell_end(text, false);
    }
    buffer_add_text(text, "</tr>\n");
}

static void add_item(struct table *table, const json_t *item)
{
    const char *rows = table->view->about->rows;
    const json_t *lines = rows != NULL ? json_object_get(item, rows) : NULL;
    struct page_scope row = {.object = item, .outer = table->scope};
    for (size_t i = 0; i < json_array_size(lines); i++) {
        struct page_scope line = {.object = json_array_get(lines, i), .outer = &row};
        add_line(table, &line, i == 0 ? LINE_FIRST : LINE_NEXT);
    }
    add_line(table, &row, json_array_size(lines) > 0 ? LINE_TOTAL : LINE_ALONE);
}

/* The columns' names, in words, with the currency of amounts if all have the same. */
static void add_heads(struct table *table)
{
    const char *names[COLUMNS_MAX];
    struct buffer *text = table->view->text;
    for (size_t i = 0; i < table->count; i++)
        names[i] = table->columns[i].amounts && table->columns[i].filled ? table->columns[i].name : NULL;
    const char *kept = html_main_column(names, table->count);
    for (size_t i = 0; i < table->count; i++) {
        struct column *column = &table->columns[i];
        column->kept = kept != NULL && names[i] == kept;
        html_column_in(text, column->name,
                       column->kept                        ? "n k"
                       : column->figures && column->filled ? "n"
                                                           : NULL,
                       names[i] != NULL ? table->currency : NULL);
    }
    if (table->acts != NULL)
        html_column_in(text, "action", "act", NULL);
}

static void add_foot(struct table *table, const json_t *list)
{
    struct buffer *text = table->view->text;
    html_table_foot(text);
    buffer_add_text(text, "<tr class=\"total\">");
    for (size_t i = 0; i < table->count; i++) {
        const struct column *column = &table->columns[i];
        bool summed = i > 0 && column->amounts && column->filled;
        html_cell_begin(text, i == 0, i == 0 ? NULL : cell_class(column, NULL, false));
        if (i == 0)
            html_word(text, "Total");
        else if (summed)
            add_sum(table, list, column->inner ? table->view->about->rows : NULL, column);
        html_cell_end(text, i == 0);
    }
    buffer_add_text(text, table->acts != NULL ? "<td class=\"act\"></td></tr>\n" : "</tr>\n");
    html_table_end_foot(text);
}

/* False: the table is not among those that the page sums. */
static bool is_summed(const struct page_view *view, const char *name)
{
    for (size_t i = 0; i < PAGE_SUMS_MAX && view->about->sums[i] != NULL; i++)
        if (strcmp(view->about->sums[i], name) == 0)
            return true;
    return false;
}

static void begin_table(struct table *table, const char *name, bool items)
{
    struct page_view *view = table->view;
    struct buffer running;
    const char *detail = page_detail(view->request);
    buffer_init(&running, 16384);
    const char *title = words_find(view->text->words, NULL, page_title(view));
    buffer_printf(&running, "%s%s", title != NULL ? title : page_title(view), detail != NULL ? detail : "");
    html_table_begin(view->text, &(struct html_table){.caption = items ? page_title(view) : NULL,
                                                      .name = name,
                                                      .said = items,
                                                      .running = running.data,
                                                      .columns = table->count + (table->acts != NULL ? 1 : 0),
                                                      .wide = table->count > NARROW});
    buffer_dispose(&running);
}

static void add_cut(struct buffer *text, size_t count)
{
    char shown[24], all[24];
    snprintf(shown, sizeof shown, "%d", (int)ROWS_MAX);
    snprintf(all, sizeof all, "%zu", count);
    buffer_add_text(text, "<p>");
    html_say(text, "The first %1 of %2. All are in the other forms of this page.", shown, all);
    buffer_add_text(text, "</p>\n");
}

void page_table(struct page_view *view, const struct page_scope *scope, const char *name, const json_t *list)
{
    struct table table = {.view = view, .scope = scope};
    bool items = strcmp(name, "items") == 0;
    size_t index;
    json_t *item;
    find_columns(&table, list, items);
    move_codes_last(&table);
    table.acts = page_has_row_acts(view, name) ? name : NULL;
    table.currency = page_currency(scope);
    begin_table(&table, name, items);
    add_heads(&table);
    html_table_rows(view->text);
    json_array_foreach(list, index, item)
    {
        if (!items && index == ROWS_MAX)
            break;
        add_item(&table, item);
    }
    if (is_summed(view, name) && (items || json_array_size(list) > 1))
        add_foot(&table, list);
    else
        html_table_end(view->text);
    if (items)
        page_counts(view, scope->object);
    if (!items && json_array_size(list) > ROWS_MAX)
        add_cut(view->text, json_array_size(list));
}

/* --- pictures --------------------------------------------------------------------------------------------
 */

/* The level that an item is to reach, as text in `text`. NULL: none. */
static const char *target_of(const json_t *item, const struct report_plot *about, char text[static 32])
{
    const json_t *target = about->target != NULL ? json_object_get(item, about->target) : NULL;
    snprintf(text, 32, "%lld", json_integer_value(target));
    return json_is_integer(target) ? text : NULL;
}

void page_plot(const struct page_view *view, const json_t *list)
{
    const struct report_plot *about = &view->about->plot;
    size_t index;
    json_t *item;
    struct plot *plot = plot_new(about);
    if (plot == NULL) {
        view->text->failed = true;
        return;
    }
    json_array_foreach(list, index, item)
    {
        const json_t *value = json_object_get(item, about->y);
        char number[32], target[32];
        snprintf(number, sizeof number, "%lld", json_integer_value(value));
        plot_add(plot, json_string_value(json_object_get(item, about->x)),
                 json_is_integer(value) ? number : json_string_value(value), NULL,
                 target_of(item, about, target));
    }
    plot_write(plot, view->text);
    plot_free(plot);
}

/* --- objects ------------------------------------------------------------------------------------------- */

static bool is_fact(const json_t *value)
{
    return !json_is_object(value) && !holds_objects(value);
}

/* A page of a list does not show the links to its other parts as facts. A sentence, not a fact, says that
 * there are no items. */
static bool is_shown(const json_t *object, const char *name)
{
    bool is_list = json_object_get(object, "items") != NULL;
    return strcmp(name, "next") != 0 && strcmp(name, "items") != 0 &&
           !(is_list && strcmp(name, "previous") == 0);
}

static void add_fact(struct page_view *view, const struct page_scope *scope, const char *name,
                     const json_t *value)
{
    html_fact_begin(view->text, name);
    if (json_is_array(value) && json_array_size(value) == 0)
        html_word(view->text, "none");
    else
        page_value(view, scope, name, value);
    html_fact_end(view->text);
}

/* The page's heading already says it. */
static bool is_asked(const struct request *request, const char *name)
{
    return page_path_part(request, name, strlen(name)) != NULL || request_query(request, name) != NULL;
}

/* `all`: also shows members that would be a section or a table of their own, each in a line. */
static void add_facts(struct page_view *view, const struct page_scope *scope, bool all)
{
    const char *name;
    json_t *value;
    size_t count = 0;
    json_object_foreach((json_t *)scope->object, name, value)
    {
        if (!all && (!is_shown(scope->object, name) || !is_fact(value) || is_asked(view->request, name)))
            continue;
        if (count++ == 0)
            buffer_add_text(view->text, "<dl class=\"facts\">\n");
        add_fact(view, scope, name, value);
    }
    if (count > 0)
        buffer_add_text(view->text, "</dl>\n");
}

static void add_section(struct page_view *view, const struct page_scope *scope, const char *name,
                        const json_t *object)
{
    const struct page_scope inner = {.object = object, .outer = scope};
    buffer_add_text(view->text, "<section>\n<h2>");
    html_label(view->text, name);
    buffer_add_text(view->text, "</h2>\n");
    add_facts(view, &inner, true);
    buffer_add_text(view->text, "</section>\n");
}

static void add_nothing(struct buffer *text)
{
    buffer_add_text(text, "<p class=\"none\">");
    html_word(text, "There is nothing to show.");
    buffer_add_text(text, "</p>\n");
}

void page_object(struct page_view *view, const struct page_scope *scope)
{
    const char *name;
    json_t *value;
    if (strcmp(view->about->schema, "Journal") == 0) {
        page_journal(view, scope);
        return;
    }
    add_facts(view, scope, false);
    json_object_foreach((json_t *)scope->object, name, value) if (json_is_object(value))
        add_section(view, scope, name, value);
    else if (page_is_changes(value)) page_changes(view, scope, value);
    else if (holds_objects(value)) page_table(view, scope, name, value);
    else if (strcmp(name, "items") == 0) add_nothing(view->text);
}

const char *page_title(const struct page_view *view)
{
    return view->about->title != NULL ? view->about->title : view->request->route->summary;
}
