/* SPDX-License-Identifier: ISC */
/* Writes the frame of pages, and chooses the layout for an answer. */
#include "http/pages/page.h"

#include "http/pages/page_acts.h"
#include "http/pages/page_cup.h"
#include "http/pages/page_fee_note.h"
#include "http/pages/page_filter.h"
#include "http/pages/page_layouts.h"
#include "http/pages/page_office.h"
#include "http/pages/page_packing_list.h"
#include "http/pages/page_plan.h"
#include "http/pages/page_settlement.h"
#include "http/pages/page_shipments.h"
#include "http/pages/page_tasks.h"
#include "http/pages/page_times.h"
#include "http/request/route.h"
#include "http/request/slice.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

/* --- the frame ----------------------------------------------------------------------------------------- */

static void add_part(struct page_view *view, const char *name, const char *value, size_t *count)
{
    const struct page_scope nothing = {.object = NULL};
    json_t *text = json_string(value); /* NULL: out of memory */
    if (text == NULL) {
        view->text->failed = true;
        return;
    }
    if ((*count)++ == 0)
        buffer_add_text(view->text, "<dl class=\"asked\">\n");
    html_fact_begin(view->text, name);
    page_value(view, &nothing, name, text);
    html_fact_end(view->text);
    json_decref(text);
}

/* Adds the parts of the path and the parameters of the query, except those that choose a slice or a form. */
static void add_asked(struct page_view *view)
{
    const struct request *request = view->request;
    const char *at = request->route->path;
    size_t count = 0;
    for (size_t i = 0; i < PATH_PARAMETERS_MAX && (at = strchr(at, '{')) != NULL; i++) {
        char name[CODE_SIZE] = "";
        size_t length = strcspn(++at, "}");
        memcpy(name, at, length < CODE_SIZE ? length : 0);
        add_part(view, name, request->parts[i], &count);
    }
    for (size_t i = 0; i < request->query_count; i++)
        if (page_is_asked(request->query[i].name))
            add_part(view, request->query[i].name, request->query[i].value, &count);
    if (count > 0)
        buffer_add_text(view->text, "</dl>\n");
}

static void add_see(const struct page_view *view, const struct page_scope *scope)
{
    size_t count = 0;
    for (size_t i = 0; i < PAGE_SEE_MAX && view->about->see[i].text != NULL; i++) {
        struct buffer target;
        buffer_init(&target, 1024);
        if (page_target(view->request, scope, view->about->see[i].pattern, &target)) {
            buffer_add_text(view->text, count++ == 0 ? "<ul class=\"see\">\n<li>" : "<li>");
            html_link(view->text, target.data, view->about->see[i].text);
            buffer_add_text(view->text, "</li>\n");
        }
        buffer_dispose(&target);
    }
    if (count > 0)
        buffer_add_text(view->text, "</ul>\n");
}

static void add_plot(const struct page_view *view, const json_t *answer)
{
    if (view->about->plot_of != NULL)
        page_plot(view, json_object_get(answer, view->about->plot_of));
}

/* A page of a timeline begins with the newest, and so must its other forms. */
static const char *form_target(const struct request *request, const char *name)
{
    char value[32];
    bool orders = route_takes(request->route, "order") && request_query(request, "order") == NULL;
    snprintf(value, sizeof value, "%s%s", name, orders ? "&order=newest" : "");
    return request_target(request, "format", value);
}

static const struct {
    enum media media;
    const char *word; /* of the medium, for people */
} forms[] = {{MEDIA_JSON, "JSON"}, {MEDIA_CSV, "CSV"}};

static void add_form(struct buffer *text, int number, const void *request)
{
    const char *target = form_target(request, media_word(forms[number - 1].media));
    html_link(text, target != NULL ? target : "", forms[number - 1].word);
}

/* Leads to the other forms of the page. Each page has JSON. */
static void add_forms(const struct request *request, struct buffer *text)
{
    bool has_csv = (route_media(request->route) & 1u << MEDIA_CSV) != 0;
    buffer_add_text(text, "<p class=\"forms\">");
    if (has_csv)
        html_say_parts(text, "The same as %1 or %2", add_form, request);
    else
        html_say_parts(text, "The same as %1", add_form, request);
    buffer_add_text(text, "</p>\n");
}

/* The ways on from a slice. A list with an order says what comes there. */
static void add_ways(const struct page_view *view, const struct answer *answer)
{
    bool newest = slice_is_newest(view->request, MEDIA_HTML);
    if (answer->link_next == NULL && answer->link_previous == NULL)
        return;
    buffer_add_text(view->text, "<p class=\"next\">");
    if (answer->link_previous != NULL)
        html_link_rel(view->text, answer->link_previous, "prev", newest ? "Newer" : "Older");
    if (answer->link_previous != NULL && answer->link_next != NULL)
        buffer_add_char(view->text, ' ');
    if (answer->link_next != NULL)
        html_link_rel(view->text, answer->link_next, "next",
                      !route_takes(view->request->route, "order") ? "Next page"
                      : newest                                    ? "Older"
                                                                  : "Newer");
    buffer_add_text(view->text, "</p>\n");
}

static void add_end(const struct page_view *view, const struct answer *answer)
{
    add_ways(view, answer);
    if (view->about->note != NULL)
        html_note(view->text, view->about->note);
    add_forms(view->request, view->text);
    html_page_end(view->text);
}

static bool is_a(const struct page_view *view, const char *schema)
{
    return strcmp(view->about->schema, schema) == 0;
}

void page_thing(struct page_view *view, const struct page_scope *scope)
{
    if (is_a(view, "Settlement"))
        page_settlement(view, scope);
    else if (is_a(view, "FeeNote"))
        page_fee_note(view, scope);
    else if (is_a(view, "PackingList"))
        page_packing_list(view, scope);
    else if (is_a(view, "Office"))
        page_office(view, scope);
    else if (is_a(view, "Plan"))
        page_plan(view, scope);
    else if (is_a(view, "Cup"))
        page_cup(view, scope);
    else if (is_a(view, "ShipmentList"))
        page_shipments(view, scope);
    else if (is_a(view, "Shipment"))
        page_shipment(view, scope);
    else
        page_object(view, scope);
}

static void add_content(struct page_view *view, const json_t *answer)
{
    const struct page_scope scope = {.object = answer};
    if (is_a(view, "Index")) {
        page_layout_index(view, &scope);
    } else if (is_a(view, "TaskList")) {
        page_layout_tasks(view, json_object_get(answer, "items"));
    } else if (is_a(view, "ReportList")) {
        page_layout_reports(view);
    } else {
        page_thing(view, &scope);
        if (!is_a(view, "Settlement") || role_reach(view->request->identity->role) != REACH_PARTICIPANT)
            add_plot(view, answer);
        page_acts(view, &scope);
        add_see(view, &scope);
    }
}

/* False: out of memory. */
static bool write_page(const struct request *request, const struct answer *answer, const json_t *json,
                       struct buffer *text)
{
    struct page_view view = {
        .request = request, .about = page_about(request->route->answer_schema), .text = text};
    const struct page_scope scope = {.object = json};
    struct html_page page = {.title = page_title(&view), .detail = page_detail(request)};
    if (!page_find_starts(request, &scope, &page))
        return false;
    json_t *times = page_times(request, json);
    view.times = times;
    html_page_begin(text, &page);
    add_asked(&view);
    page_filter(&view);
    add_content(&view, json);
    page_zone(&view);
    add_end(&view, answer);
    json_decref(times);
    return !text->failed;
}

void page_of_answer(const struct request *request, struct answer *answer)
{
    struct buffer text;
    json_error_t error;
    if (answer->media != MEDIA_HTML || answer->is_page || answer->faults.count > 0)
        return;
    buffer_init(&text, answer->body.maximum);
    text.words = request->words;
    json_t *json = answer->body.failed ? NULL : json_loadb(answer->body.data, answer->body.length, 0, &error);
    if (json == NULL || !write_page(request, answer, json, &text))
        faults_replace(&answer->faults, reason_of_lost_answer(request));
    json_decref(json);
    buffer_dispose(&answer->body);
    answer->body = text;
    answer->is_page = true;
    answer->etag = NULL; /* the tag is for the JSON, not for the page */
}
