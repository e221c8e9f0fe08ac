/* SPDX-License-Identifier: ISC */
/* The event that was just recorded stands first, then the buttons, then the day. */
#include "http/pages/page_counter.h"

#include "base/uri.h"
#include "http/pages/page_counter_shipments.h"
#include "http/pages/page_counter_words.h"
#include "http/request/json_body.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

/* --- events -----------------------------------------------------------------------------------------------
 */

static void add_told(const struct counter_view *view)
{
    const json_t *event = view->about->told;
    const json_t *exceptions = json_object_get(event, "exceptions");
    size_t index;
    json_t *exception;
    if (event == NULL)
        return;
    buffer_add_text(view->text, "<section class=\"told\" role=\"status\">\n<p class=\"money\">");
    counter_add_said(view, counter_say_money, event);
    buffer_add_text(view->text, "</p>\n<p>");
    html_say(view->text,
             view->about->again ? "This had been recorded already, at %1. Nothing was recorded again."
                                : "Recorded at %1.",
             json_member_text(event, "time"));
    if (json_object_get(event, "undone_at") != NULL) {
        buffer_add_char(view->text, ' ');
        html_say(view->text, "It was undone at %1.", json_member_text(event, "undone_at"));
    }
    buffer_add_text(view->text, "</p>\n");
    if (json_array_size(exceptions) > 0)
        buffer_add_text(view->text, "<ul>\n");
    json_array_foreach(exceptions, index, exception)
    {
        buffer_add_text(view->text, "<li>");
        counter_add_said(view, counter_say_exception, exception);
        buffer_add_text(view->text, "</li>\n");
    }
    if (json_array_size(exceptions) > 0)
        buffer_add_text(view->text, "</ul>\n");
    counter_add_undo(view, event, "told");
    buffer_add_text(view->text, "</section>\n");
}

static void add_lost(const struct counter_view *view)
{
    if (!view->about->lost)
        return;
    buffer_add_text(view->text, "<section class=\"told wrong\" role=\"alert\">\n<p class=\"money\">");
    html_word(view->text, "Nothing was recorded.");
    buffer_add_text(view->text, "</p>\n<p>");
    html_word(view->text, "The form was no longer good. Tap again.");
    buffer_add_text(view->text, "</p>\n</section>\n");
}

static void add_small(struct buffer *text, const char *words, const char *part)
{
    buffer_add_text(text, " <small>");
    html_say(text, words, part);
    buffer_add_text(text, "</small>");
}

static void add_date(struct buffer *text, int number, const void *date)
{
    (void)number;
    html_date(text, date, false);
}

static void add_event(const struct counter_view *view, const json_t *event)
{
    const char *till = json_member_text(event, "till"), *undone_at = json_member_text(event, "undone_at");
    const char *late = json_member_text(event, "late"), *reference = json_member_text(event, "reference");
    buffer_printf(view->text, "<tr%s><td>%s</td><td class=\"t\"><a href=\"/v1/events/%s?scheme=",
                  *undone_at != '\0' ? " class=\"undone\"" : "", json_member_text(event, "time"),
                  json_member_text(event, "event_id"));
    uri_encode(view->text, json_member_text(event, "scheme"));
    buffer_add_text(view->text, "\">");
    counter_add_said(view, counter_say_what, event);
    buffer_add_text(view->text, "</a>");
    if (*reference != '\0') {
        buffer_add_text(view->text, " <small>");
        html_text(view->text, reference);
        buffer_add_text(view->text, "</small>");
    }
    if (*undone_at != '\0')
        add_small(view->text, "undone at %1", undone_at);
    if (*late != '\0') {
        buffer_add_text(view->text, " <small>");
        html_say_parts(view->text, "late, of %1", add_date, late);
        buffer_add_text(view->text, "</small>");
    }
    buffer_add_text(view->text, "</td><td class=\"n\">");
    html_figure(view->text, till);
    buffer_add_text(view->text, "</td><td class=\"act\">");
    counter_add_undo(view, event, "undo");
    buffer_add_text(view->text, "</td></tr>\n");
}

static void add_events(const struct counter_view *view)
{
    size_t index;
    json_t *event;
    if (json_array_size(view->about->events) == 0)
        return;
    html_table_begin(view->text, &(struct html_table){.caption = "Events of today"});
    html_column(view->text, "Time", false);
    html_column(view->text, "What", false);
    buffer_add_text(view->text, "<th scope=\"col\" class=\"n\">");
    html_say(view->text, "Taken, %1", view->currency);
    buffer_add_text(view->text, "</th><th scope=\"col\" class=\"act\"><span class=\"said\">");
    html_word_of(view->text, "counter", "Undo");
    buffer_add_text(view->text, "</span></th>");
    html_table_rows(view->text);
    json_array_foreach(view->about->events, index, event) add_event(view, event);
    html_table_end(view->text);
    if (view->about->more) {
        buffer_add_text(view->text, "<p>");
        html_word(view->text, "These are the newest. The totals above lead to all.");
        buffer_add_text(view->text, "</p>\n");
    }
}

static void add_total(const struct counter_view *view, const char *label, const char *member, bool is_money)
{
    const json_t *value = json_object_get(json_object_get(view->about->place, "totals"), member);
    char number[32];
    snprintf(number, sizeof number, "%lld", (long long)json_integer_value(value));
    buffer_add_text(view->text, "<li><span>");
    html_word(view->text, label);
    buffer_add_text(view->text, "</span> <b><a href=\"/v1/events?scheme=");
    uri_encode(view->text, json_member_text(view->about->place, "scheme"));
    buffer_add_text(view->text, "&amp;site=");
    uri_encode(view->text, view->site);
    buffer_printf(view->text, "&amp;business_date=%s\">",
                  json_member_text(view->about->place, "business_date"));
    html_figure(view->text, is_money ? json_string_value(value) : number);
    buffer_add_text(view->text, "</a></b></li>\n");
}

static void add_today(const struct counter_view *view)
{
    buffer_add_text(view->text, "<section class=\"today\">\n<h2>");
    html_say(view->text, "Today, in %1", view->currency);
    buffer_add_text(view->text, "</h2>\n<ul class=\"glance\">\n");
    add_total(view, "Cups out", "issued", false);
    add_total(view, "Cups back", "returned", false);
    add_total(view, "Collected", "collected", true);
    add_total(view, "Refunded", "refunded", true);
    add_total(view, "Collected less refunded", "difference", true);
    buffer_add_text(view->text, "</ul>\n");
    add_events(view);
    buffer_add_text(view->text, "</section>\n");
}

/* --- the page --------------------------------------------------------------------------------------------
 */

static void begin_page(const struct request *request, const char *title, bool is_name, struct buffer *text)
{
    html_page_begin(
        text, &(struct html_page){.title = title, .is_name = is_name, .signed_in = request->identity->name});
}

static void add_when(const struct counter_view *view)
{
    const json_t *place = view->about->place;
    buffer_add_text(view->text, "<p class=\"when\">");
    html_word(view->text, "Business day");
    buffer_add_char(view->text, ' ');
    html_date(view->text, json_member_text(place, "business_date"), true);
    buffer_printf(view->text, ", <b>%s</b> ", json_member_text(place, "time"));
    html_word_of(view->text, "time", "in");
    buffer_add_char(view->text, ' ');
    html_text(view->text, json_member_text(place, "time_zone"));
    if (view->request->identity->site_count > 1) {
        buffer_add_text(view->text, ". ");
        html_link(view->text, "/counter", "Another site");
    }
    buffer_add_text(view->text, "</p>\n");
    if (json_object_get(place, "closed_on") != NULL) {
        buffer_add_text(view->text, "<p class=\"note\">");
        html_word(view->text, "The last day of this site was");
        buffer_add_char(view->text, ' ');
        html_date(view->text, json_member_text(place, "closed_on"), false);
        buffer_add_text(view->text, "</p>\n");
    }
}

bool page_counter(const struct request *request, const struct counter_page *about, struct buffer *text)
{
    const struct counter_view view = {request, about, json_member_text(about->place, "currency"),
                                      json_member_text(about->place, "site"), text};
    const json_t *cups = json_object_get(about->place, "cup_types");
    size_t index;
    json_t *cup;
    begin_page(request, json_member_text(about->place, "name"), true, text);
    add_when(&view);
    counter_add_faults(about->faults, text);
    add_lost(&view);
    add_told(&view);
    buffer_add_text(text, "<div class=\"counter\">\n");
    json_array_foreach(cups, index, cup) counter_add_cup(&view, cup);
    if (json_array_size(cups) == 0)
        html_note(text, "No cup type has a refund value today, so there is nothing to record.");
    buffer_add_text(text, "</div>\n");
    counter_add_shipments(&view);
    add_today(&view);
    html_page_end(text);
    return !text->failed;
}

bool page_counter_sites(const struct request *request, const json_t *sites, const struct faults *faults,
                        struct buffer *text)
{
    size_t index;
    json_t *site;
    begin_page(request, "Which counter?", false, text);
    counter_add_faults(faults, text);
    buffer_add_text(text, "<ul class=\"places\">\n");
    json_array_foreach(sites, index, site)
    {
        buffer_add_text(text, "<li><a href=\"/counter?site=");
        uri_encode(text, json_member_text(site, "site"));
        buffer_add_text(text, "\"><b>");
        html_text(text, json_member_text(site, "name"));
        buffer_add_text(text, "</b> <span>");
        html_text(text, json_member_text(site, "site"));
        buffer_add_text(text, ", ");
        html_text(text, json_member_text(site, "scheme"));
        buffer_add_text(text, "</span></a></li>\n");
    }
    buffer_add_text(text, "</ul>\n");
    html_page_end(text);
    return !text->failed;
}
