/* SPDX-License-Identifier: ISC */
/* Pages with a layout made by hand: the network at a glance, and the reports. */
#include "http/pages/page_layouts.h"

#include "base/uri.h"
#include "http/pages/page_report.h"
#include "http/pages/page_tasks.h"
#include "http/request/json_body.h"
#include "report/html.h"

#include <string.h>

/* --- the network at a glance --------------------------------------------------------------------------- */

enum look {
    LOOK_PLAIN,
    LOOK_SHARE,  /* in percent */
    LOOK_COVERED /* an alarm unless it is zero */
};

/* A figure of a scheme: the member, or the member within a member, and the page that it links to. */
struct figure {
    const char *title;
    const char *within; /* NULL: a member of the scheme itself */
    const char *member;
    const char *pattern;
    enum look look;
};

static const struct figure figures[] = {
    {"Last close", "last_closed", "date", "/v1/settlements/{scheme}/{date}", LOOK_PLAIN},
    {"Deposits required", "cover", "required", "/v1/reports/deposit-cover?scheme={scheme}", LOOK_PLAIN},
    {"Deposits held", "cover", "held", "/v1/reports/deposit-cover?scheme={scheme}", LOOK_PLAIN},
    {"Held less required", "cover", "difference", "/v1/reports/deposit-cover?scheme={scheme}", LOOK_COVERED},
    {"Last checks", "checks", "verdict", "/v1/checks?scheme={scheme}", LOOK_PLAIN},
    {"Checked at", "checks", "checked_at", "/v1/checks?scheme={scheme}", LOOK_PLAIN},
    {"Cups out", NULL, "cups_out", "/v1/reports/stock?scheme={scheme}", LOOK_PLAIN},
    {"Return rate", "return_rate", "rate",
     "/v1/reports/return-rate?scheme={scheme}&from={from}&to={to}&by=all&as_of={as_of}", LOOK_SHARE},
    {"Payments waiting", "payments_waiting", "count", "/v1/payments?scheme={scheme}&waiting=true",
     LOOK_PLAIN},
    {"Their sum", "payments_waiting", "amount", "/v1/payments?scheme={scheme}&waiting=true", LOOK_PLAIN},
    {"Arrears to the pool", "arrears", "owed", "/v1/reports/ageing?scheme={scheme}", LOOK_PLAIN},
    {"Arrears of the pool", "arrears", "owing", "/v1/reports/ageing?scheme={scheme}", LOOK_PLAIN},
    {"Latest seal", NULL, "seal", "/v1/seals?scheme={scheme}", LOOK_PLAIN},
};

static bool is_zero(const json_t *value)
{
    const char *text = json_string_value(value);
    return text != NULL ? text[strspn(text, "-0.")] == '\0' : json_integer_value(value) == 0;
}

static void add_figure(struct page_view *view, const struct page_scope *scheme, const struct figure *figure)
{
    struct page_scope scope = {.object = scheme->object, .outer = scheme};
    struct buffer target;
    if (figure->within != NULL)
        scope.object = json_object_get(scheme->object, figure->within);
    const json_t *value = json_object_get(scope.object, figure->member);
    if (value == NULL)
        return;
    bool alarm = figure->look == LOOK_COVERED && !is_zero(value);
    buffer_init(&target, 1024);
    bool linked = page_target(view->request, &scope, figure->pattern, &target);
    buffer_add_text(view->text, alarm ? "<li class=\"alarm\"><span>" : "<li><span>");
    html_word(view->text, figure->title);
    buffer_add_text(view->text, "</span> <b>");
    if (linked)
        html_open(view->text, "a", "href", target.data);
    if (figure->look == LOOK_SHARE)
        html_rate(view->text, json_string_value(value));
    else
        page_value(view, &scope, strcmp(figure->member, "verdict") == 0 ? "verdict" : "", value);
    if (linked)
        buffer_add_text(view->text, "</a>");
    buffer_add_text(view->text, "</b>");
    if (alarm) {
        buffer_add_text(view->text, " <strong>");
        html_word(view->text, "not covered");
        buffer_add_text(view->text, "</strong>");
    }
    buffer_add_text(view->text, "</li>\n");
    buffer_dispose(&target);
}

/* Adds links to the scheme's pages to start from. */
static void add_starts(struct page_view *view, const struct page_scope *scope)
{
    size_t count;
    const struct page_see *starts = page_starts(&count);
    buffer_add_text(view->text, "<ul class=\"see\">\n");
    for (size_t i = 0; i < count; i++) {
        struct buffer target;
        buffer_init(&target, 1024);
        if (strstr(starts[i].pattern, "{scheme}") != NULL &&
            page_target(view->request, scope, starts[i].pattern, &target)) {
            buffer_add_text(view->text, "<li>");
            html_link(view->text, target.data, starts[i].text);
            buffer_add_text(view->text, "</li>\n");
        }
        buffer_dispose(&target);
    }
    buffer_add_text(view->text, "</ul>\n");
}

static void add_scheme(struct page_view *view, const struct page_scope *scope)
{
    buffer_add_text(view->text, "<section>\n<h2>");
    page_value(view, scope, "scheme", json_object_get(scope->object, "scheme"));
    buffer_add_text(view->text, "</h2>\n<p>");
    html_say(view->text, "Business day %1, amounts in %2", json_member_text(scope->object, "business_date"),
             json_member_text(scope->object, "currency"));
    buffer_add_text(view->text, "</p>\n<ul class=\"glance\">\n");
    for (size_t i = 0; i < sizeof figures / sizeof figures[0]; i++)
        add_figure(view, scope, &figures[i]);
    buffer_add_text(view->text, "</ul>\n");
    const json_t *days = json_object_get(scope->object, "cups_out_by_day");
    if (json_array_size(days) > 1)
        page_plot(view, days);
    add_starts(view, scope);
    buffer_add_text(view->text, "</section>\n");
}

static void add_counter(struct buffer *text)
{
    buffer_add_text(text, "<ul class=\"acts\">\n<li>");
    html_link(text, "/counter", "Open the counter");
    buffer_add_text(text, "</li>\n</ul>\n");
}

void page_layout_index(struct page_view *view, const struct page_scope *scope)
{
    size_t index;
    json_t *scheme;
    const json_t *tasks = json_object_get(scope->object, "tasks");
    if (view->request->session != 0 && page_leads(view->request, "/counter"))
        add_counter(view->text);
    if (tasks != NULL)
        page_layout_tasks(view, tasks);
    json_array_foreach(json_object_get(scope->object, "schemes"), index, scheme)
    {
        const struct page_scope inner = {.object = scheme, .outer = scope};
        add_scheme(view, &inner);
    }
}

/* --- the reports --------------------------------------------------------------------------------------- */

static bool needs_more(const struct report *report)
{
    for (size_t i = 0; i < report_parameter_count(report); i++)
        if (report->parameters[i].otherwise == REQUIRED)
            return true;
    return false;
}

/* Adds a link for each scheme, if the report needs only a scheme. */
static void add_direct(struct buffer *text, const struct report_head *head)
{
    struct buffer target;
    buffer_add_text(text, "<p>");
    html_word(text, "As it stands:");
    buffer_init(&target, 1024);
    for (const char *const *scheme = head->page->schemes.codes; *scheme != NULL; scheme++) {
        buffer_reset(&target);
        buffer_printf(&target, "/v1/reports/%s?scheme=", head->report->name);
        uri_encode(&target, *scheme);
        buffer_add_char(text, ' ');
        html_name_link(text, target.data != NULL ? target.data : "", *scheme);
    }
    buffer_dispose(&target);
    buffer_add_text(text, "</p>\n");
}

static void add_report(struct page_view *view, const struct report *report)
{
    struct report_page page;
    struct report_head head = {.report = report, .scheme = "", .currency = "", .page = &page};
    if (!page_of_report(view->request, NULL, report, &page)) {
        view->text->failed = true;
        return;
    }
    buffer_add_text(view->text, "<section class=\"report\">\n<h2>");
    html_label(view->text, report->name);
    buffer_add_text(view->text, "</h2>\n<p>");
    html_word(view->text, report->title);
    buffer_add_text(view->text, "</p>\n");
    if (!needs_more(report) && page.schemes.codes != NULL)
        add_direct(view->text, &head);
    render_form(view->text, &head);
    buffer_add_text(view->text, "</section>\n");
}

void page_layout_reports(struct page_view *view)
{
    size_t count;
    const struct report *reports = reports_all(&count);
    for (size_t i = 0; i < count; i++)
        if ((reports[i].roles & 1u << view->request->identity->role) != 0)
            add_report(view, &reports[i]);
}
