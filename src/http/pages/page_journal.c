/* SPDX-License-Identifier: ISC */
/* The page says who proposed the journal and why, and whose decision it waits for. Its legs are two columns
 * with a ruled sum. */
#include "http/pages/page_journal.h"

#include "http/pages/page_may.h"
#include "http/pages/page_value.h"
#include "http/request/json_body.h"

#include <stdio.h>
#include <string.h>

static void add_fact(struct page_view *view, const struct page_scope *scope, const char *label,
                     const char *name)
{
    const json_t *value = page_member(scope, name);
    if (value == NULL)
        return;
    html_fact_begin(view->text, label);
    page_value(view, scope, name, value);
    html_fact_end(view->text);
}

/* Whose decision it waits for. */
static void add_need(struct page_view *view, const struct page_scope *scope)
{
    bool known;
    if (strcmp(json_member_text(scope->object, "status"), "open") != 0)
        return;
    const char *proposer = json_member_text(scope->object, "proposed_by");
    buffer_add_text(view->text, "<p>");
    if (page_may(view->request, MAY_APPROVE, scope, &known))
        html_say(view->text,
                 "It takes two people: %1 has proposed it, and another person has to approve it. "
                 "Then it is posted.",
                 proposer);
    else
        html_say(view->text,
                 "It takes two people: %1 has proposed it, and you are the same person. "
                 "Somebody else has to approve it.",
                 proposer);
    buffer_add_text(view->text, "</p>\n");
}

static void add_facts(struct page_view *view, const struct page_scope *scope)
{
    buffer_add_text(view->text, "<dl class=\"facts\">\n");
    add_fact(view, scope, "why", "reason");
    add_fact(view, scope, "status", "status");
    add_fact(view, scope, "proposed_by", "proposed_by");
    add_fact(view, scope, "proposed_at", "proposed_at");
    add_fact(view, scope, "occurred_at", "occurred_at");
    add_fact(view, scope, "reference", "reference");
    add_fact(view, scope, "decided_by", "decided_by");
    add_fact(view, scope, "decided_at", "decided_at");
    add_fact(view, scope, "note", "note");
    add_fact(view, scope, "entry", "entry");
    add_fact(view, scope, "currency", "currency");
    buffer_add_text(view->text, "</dl>\n");
}

/* --- legs ---------------------------------------------------------------------------------------------- */

static void add_cell(struct page_view *view, const struct page_scope *scope, const char *name, bool heads,
                     const char *class)
{
    const json_t *value = json_object_get(scope->object, name);
    html_cell_begin(view->text, heads, class);
    if (value != NULL)
        page_value(view, scope, name, value);
    html_cell_end(view->text, heads);
}

static bool has_codes(const json_t *legs)
{
    size_t index;
    const json_t *leg;
    json_array_foreach(legs, index, leg) if (json_object_get(leg, "code") != NULL) return true;
    return false;
}

static void add_leg(struct page_view *view, const struct page_scope *scope, bool codes)
{
    buffer_add_text(view->text, "<tr>");
    add_cell(view, scope, "account", true, NULL);
    if (codes) {
        add_cell(view, scope, "code", false, NULL);
        add_cell(view, scope, "name", false, NULL);
    }
    add_cell(view, scope, "debit", false, "n");
    add_cell(view, scope, "credit", false, "n");
    buffer_add_text(view->text, "</tr>\n");
}

static void add_sum(struct page_view *view, const struct page_scope *scope, bool codes)
{
    buffer_add_text(view->text, "<tr class=\"total\"><th scope=\"row\">");
    html_word(view->text, "Sum");
    buffer_printf(view->text, "</th>%s", codes ? "<td></td><td></td>" : "");
    add_cell(view, scope, "debit", false, "n");
    add_cell(view, scope, "credit", false, "n");
    buffer_add_text(view->text, "</tr>\n");
}

static void add_legs(struct page_view *view, const struct page_scope *scope)
{
    size_t index;
    json_t *leg;
    const json_t *legs = json_object_get(scope->object, "legs");
    bool codes = has_codes(legs);
    html_table_begin(view->text, &(struct html_table){.name = "legs"});
    html_column(view->text, "account", false);
    if (codes) {
        html_column(view->text, "code", false);
        html_column(view->text, "name", false);
    }
    html_column(view->text, "debit", true);
    html_column(view->text, "credit", true);
    html_table_rows(view->text);
    json_array_foreach(legs, index, leg)
    {
        const struct page_scope inner = {.object = leg, .outer = scope};
        add_leg(view, &inner, codes);
    }
    add_sum(view, scope, codes);
    html_table_end(view->text);
}

void page_journal(struct page_view *view, const struct page_scope *scope)
{
    const struct page_scope event = {.object = json_object_get(scope->object, "event"), .outer = scope};
    add_need(view, scope);
    add_facts(view, &event);
    add_legs(view, scope);
}
