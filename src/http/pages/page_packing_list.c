/* SPDX-License-Identifier: ISC */
/* People fill in the empty cells by hand, so they are as high as a line of handwriting. */
#include "http/pages/page_packing_list.h"

#include "http/request/json_body.h"
#include "report/html.h"

#include <stdio.h>

static void add_number(struct buffer *text, const json_t *value)
{
    char number[32];
    snprintf(number, sizeof number, "%lld", json_integer_value(value));
    html_cell_begin(text, false, "n");
    html_figure(text, number);
    html_cell_end(text, false);
}

/* A cell to write into. */
static void add_blank(struct buffer *text)
{
    html_cell_begin(text, false, "blank");
    html_cell_end(text, false);
}

static void add_line(struct page_view *view, const json_t *line)
{
    buffer_add_text(view->text, "<tr>");
    html_cell_begin(view->text, true, NULL);
    html_text(view->text, json_member_text(line, "name"));
    buffer_add_text(view->text, " <small>");
    html_text(view->text, json_member_text(line, "cup_type"));
    buffer_add_text(view->text, "</small>");
    html_cell_end(view->text, true);
    html_cell_begin(view->text, false, NULL);
    html_value(view->text, "condition", json_member_text(line, "condition"));
    html_cell_end(view->text, false);
    add_number(view->text, json_object_get(line, "requested"));
    add_number(view->text, json_object_get(line, "to_send"));
    add_blank(view->text);
    add_blank(view->text);
    buffer_add_text(view->text, "</tr>\n");
}

static void add_cups(struct page_view *view, const json_t *cups)
{
    size_t index;
    const json_t *line;
    html_table_begin(view->text, &(struct html_table){.caption = "Cups"});
    html_column(view->text, "cup_type", false);
    html_column(view->text, "condition", false);
    html_column(view->text, "requested", true);
    html_column(view->text, "to_send", true);
    html_column(view->text, "packed", true);
    html_column(view->text, "arrived", true);
    html_table_rows(view->text);
    json_array_foreach(cups, index, line) add_line(view, line);
    html_table_end(view->text);
}

static void add_signatures(struct page_view *view)
{
    static const char *const hands[] = {"Packed", "Taken along", "Received"};
    html_table_begin(view->text, &(struct html_table){.caption = "Signatures"});
    html_column(view->text, "step", false);
    html_column(view->text, "date", false);
    html_column(view->text, "name", false);
    html_column(view->text, "signature", false);
    html_table_rows(view->text);
    for (size_t i = 0; i < sizeof hands / sizeof hands[0]; i++) {
        buffer_add_text(view->text, "<tr class=\"sign\">");
        html_cell_begin(view->text, true, NULL);
        html_word_of(view->text, "hand", hands[i]);
        html_cell_end(view->text, true);
        for (int blank = 0; blank < 3; blank++)
            add_blank(view->text);
        buffer_add_text(view->text, "</tr>\n");
    }
    html_table_end(view->text);
}

void page_packing_list(struct page_view *view, const struct page_scope *scope)
{
    json_t *shown = json_copy((json_t *)scope->object);
    if (shown == NULL) {
        view->text->failed = true;
        return;
    }
    (void)json_object_del(shown, "cups");
    const struct page_scope facts = {.object = shown};
    page_object(view, &facts);
    add_cups(view, json_object_get(scope->object, "cups"));
    add_signatures(view);
    json_decref(shown);
}
