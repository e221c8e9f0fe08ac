/* SPDX-License-Identifier: ISC */
/* A state has many members, and a change touches few of them: only these are shown. */
#include "http/pages/page_change.h"

#include "http/pages/page_value.h"
#include "report/html.h"
#include "words/labels.h"

#include <stdio.h>
#include <string.h>

bool page_is_changes(const json_t *list)
{
    const json_t *first = json_array_get(list, 0);
    return json_object_get(first, "of") != NULL && (json_is_object(json_object_get(first, "before")) ||
                                                    json_is_object(json_object_get(first, "after")));
}

static void add_cell(struct page_view *view, const struct page_scope *scope, const char *name,
                     const json_t *value)
{
    html_cell_begin(view->text, false, html_text_class(json_string_value(value)));
    if (value != NULL)
        page_value(view, scope, name, value);
    html_cell_end(view->text, false);
}

static void add_member(struct page_view *view, const struct page_scope *scope, const char *name)
{
    const json_t *before = json_object_get(json_object_get(scope->object, "before"), name);
    const json_t *after = json_object_get(json_object_get(scope->object, "after"), name);
    if (before != NULL && after != NULL && json_equal(before, after))
        return;
    buffer_add_text(view->text, "<tr>");
    html_cell_begin(view->text, true, NULL);
    html_label(view->text, name);
    html_cell_end(view->text, true);
    add_cell(view, scope, name, before);
    add_cell(view, scope, name, after);
    buffer_add_text(view->text, "</tr>\n");
}

static void add_change(struct page_view *view, const struct page_scope *scope)
{
    char caption[2 * CODE_SIZE + sizeof ": "], label[WORDS_LABEL_SIZE] = "";
    const char *name;
    json_t *value;
    const json_t *before = json_object_get(scope->object, "before");
    const char *of = json_string_value(json_object_get(scope->object, "of"));
    const char *thing = json_string_value(json_object_get(scope->object, "name"));
    (void)words_label_in(view->text->words, of != NULL ? of : "", label);
    snprintf(caption, sizeof caption, "%.*s: %.*s", CODE_MAX, label, CODE_MAX, thing != NULL ? thing : "");
    html_table_begin(view->text,
                     &(struct html_table){.caption = caption, .name = "changes", .is_name = true});
    html_column(view->text, "member", false);
    html_column(view->text, "before", false);
    html_column(view->text, "after", false);
    html_table_rows(view->text);
    json_object_foreach((json_t *)before, name, value) add_member(view, scope, name);
    json_object_foreach(json_object_get(scope->object, "after"), name,
                        value) if (json_object_get(before, name) == NULL) add_member(view, scope, name);
    html_table_end(view->text);
}

/* The key, and its holder if that is another name. */
static void add_person(struct buffer *text, const json_t *by)
{
    const char *key = json_string_value(json_object_get(by, "key"));
    const char *holder = json_string_value(json_object_get(by, "holder"));
    html_text(text, key != NULL ? key : "");
    if (key == NULL || holder == NULL || strcmp(key, holder) == 0)
        return;
    buffer_add_text(text, " (");
    html_text(text, holder);
    buffer_add_text(text, ")");
}

/* When the change was made, by whom and why. A change that is only proposed has none of these. */
static void add_maker(struct page_view *view, const struct page_scope *scope)
{
    static const char *const members[] = {"number", "changed_at", "by", "way", "why"};
    if (json_object_get(scope->object, "changed_at") == NULL)
        return;
    buffer_add_text(view->text, "<dl class=\"asked\">\n");
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        const json_t *value = json_object_get(scope->object, members[i]);
        if (value == NULL)
            continue;
        html_fact_begin(view->text, members[i]);
        if (json_is_object(value))
            add_person(view->text, value);
        else
            page_value(view, scope, members[i], value);
        html_fact_end(view->text);
    }
    buffer_add_text(view->text, "</dl>\n");
}

void page_changes(struct page_view *view, const struct page_scope *scope, const json_t *list)
{
    size_t index;
    json_t *change;
    json_array_foreach(list, index, change)
    {
        const struct page_scope inner = {.object = change, .outer = scope};
        add_change(view, &inner);
        add_maker(view, &inner);
    }
}
