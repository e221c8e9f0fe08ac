/* SPDX-License-Identifier: ISC */
/* Counts the items that the page shows. A page that is a part of a list says so. */
#include "http/pages/page_counts.h"

#include "report/html.h"

#include <stdio.h>

static void add_count(struct buffer *text, size_t count, const char *words)
{
    char number[24];
    snprintf(number, sizeof number, "%zu", count);
    html_fact(text, words, number);
}

static size_t count_of(const json_t *items, const char *member)
{
    size_t index, count = 0;
    json_t *item;
    json_array_foreach(items, index, item)
    {
        const json_t *value = json_object_get(item, member);
        count += value != NULL && !json_is_false(value);
    }
    return count;
}

void page_counts(const struct page_view *view, const json_t *list)
{
    const json_t *items = json_object_get(list, "items");
    bool whole = json_object_get(list, "next") == NULL && json_object_get(list, "previous") == NULL;
    buffer_add_text(view->text, "<dl class=\"facts\">\n");
    add_count(view->text, json_array_size(items), whole ? "in_all" : "on_this_page");
    for (size_t i = 0; i < PAGE_COUNTS_MAX && view->about->counts[i].member != NULL; i++)
        add_count(view->text, count_of(items, view->about->counts[i].member), view->about->counts[i].words);
    buffer_add_text(view->text, "</dl>\n");
}
