/* SPDX-License-Identifier: ISC */
/* A problem may meet a request before its key is known, so every way on needs its own condition. */
#include "http/pages/page_problem.h"

#include "http/pages/page_sign_in.h"
#include "http/pages/page_target.h"
#include "http/request/problem.h"
#include "http/request/route.h"
#include "http/request/router.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

#define PROBLEMS "/problems/"

enum { TYPE_MAX = 128 };

void page_fault(struct buffer *text, const struct fault *fault)
{
    for (size_t i = 0; i < fault->placed; i++)
        html_text(text, (const char[]){fault->detail[i], '\0'});
    html_said(text, fault->format, fault->detail + fault->placed);
}

void page_more_faults(struct buffer *text, const struct faults *faults)
{
    if (faults->dropped == 0)
        return;
    buffer_add_text(text, "<p>");
    html_say_count(text, "Faults beyond this list: %1", (int64_t)faults->dropped);
    buffer_add_text(text, "</p>\n");
}

/* The wire code, which leads to the page about it. */
static void add_reason(struct buffer *text, enum reason reason)
{
    buffer_printf(text, "<a href=\"" PROBLEMS "%s\"><code>%s</code></a>", reason_info(reason)->code,
                  reason_info(reason)->code);
}

static void add_faults(const struct faults *faults, struct buffer *text)
{
    html_table_begin(text, &(struct html_table){.caption = "What is wrong"});
    html_column(text, "where", false);
    html_column(text, "reason", false);
    html_column(text, "detail", false);
    html_table_rows(text);
    for (size_t i = 0; i < faults->count; i++) {
        const struct fault *fault = &faults->items[i];
        const char *place = fault_where(fault);
        buffer_add_text(text, "<tr><td>");
        html_text(text, place != NULL ? place : "");
        buffer_add_text(text, "</td><td>");
        add_reason(text, fault->reason);
        buffer_add_text(text, "</td><td>");
        page_fault(text, fault);
        buffer_add_text(text, "</td></tr>\n");
    }
    html_table_end(text);
    page_more_faults(text, faults);
}

static void add_facts(const struct faults *faults, const char *request_id, struct buffer *text)
{
    char status[16];
    const struct fault *first = &faults->items[0];
    const char *place = fault_where(first);
    snprintf(status, sizeof status, "%d", problem_status(faults));
    buffer_add_text(text, "<dl class=\"facts\">\n");
    html_fact_begin(text, "detail");
    html_text(text, place != NULL ? place : "");
    buffer_add_text(text, place != NULL && *place != '\0' ? ": " : "");
    page_fault(text, first);
    html_fact_end(text);
    html_word_fact(text, "advice", problem_advice(first->reason));
    html_fact_begin(text, "reason");
    add_reason(text, first->reason);
    html_fact_end(text);
    html_fact(text, "status", status);
    html_fact(text, "request", request_id);
    buffer_add_text(text, "</dl>\n");
}

/* --- ways on ------------------------------------------------------------------------------------------- */

/* The parameters that could be decoded: the problem may be that one of them could not. */
static void keep_decoded(struct request *request)
{
    size_t kept = 0;
    for (size_t i = 0; i < request->query_count; i++)
        if (request->query[i].name != NULL && request->query[i].value != NULL)
            request->query[kept++] = request->query[i];
    request->query_count = kept;
}

/* The request without its parameters if these name a scheme that the key may not know of. Links of the page
 * would else lead to the same problem again. */
static struct request without_strangers(const struct request *request)
{
    struct request asked = *request;
    struct buffer code;
    keep_decoded(&asked);
    buffer_init(&code, CODE_SIZE);
    bool named = page_fill(&asked, NULL, "{scheme}", &code) && code.length > 0;
    const struct scheme *scheme = named ? network_scheme(&request->snapshot->network, code.data) : NULL;
    if (scheme == NULL || !request_knows_scheme(request, scheme)) {
        asked.query_count = 0;
        memset(asked.parts, 0, sizeof asked.parts);
    }
    buffer_dispose(&code);
    return asked;
}

/* A parameter or field of a form that names a target of this service; NULL: there is none. */
static const char *own_target(const struct request *request, const char *name)
{
    const char *value = request_query(request, name);
    return page_own_target(value != NULL ? value : form_value(&request->form, name));
}

/* The page to start from whose list the path belongs to; NULL: none. */
static const struct html_link *list_of(const struct html_page *page, const char *path)
{
    const struct html_link *found = NULL;
    size_t longest = 0;
    for (size_t i = 0; i < page->page_count; i++) {
        size_t length = strcspn(page->pages[i].href, "?");
        bool above =
            strncmp(page->pages[i].href, path, length) == 0 && (path[length] == '\0' || path[length] == '/');
        if (above && length > longest) {
            found = &page->pages[i];
            longest = length;
        }
    }
    return found;
}

static void add_way(struct buffer *text, const char *href, const char *words)
{
    buffer_add_text(text, "<li>");
    html_link(text, href, words);
    buffer_add_text(text, "</li>\n");
}

static void add_ways(const struct request *request, const struct html_page *page, enum reason reason,
                     struct buffer *text)
{
    char about[TYPE_MAX];
    bool is_form = request->route != NULL && request->route->for_browsers;
    const char *back = is_form ? own_target(request, "back") : NULL;
    const char *target = is_form ? own_target(request, "target") : NULL;
    const struct html_link *list = list_of(page, target != NULL ? target : request->path);
    snprintf(about, sizeof about, PROBLEMS "%s", reason_info(reason)->code);
    buffer_add_text(text, "<ul class=\"see\">\n");
    if (back != NULL)
        add_way(text, back, "Back to the page before");
    if (list != NULL)
        add_way(text, list->href, list->text);
    add_way(text, "/", "Start page");
    if (reason_info(reason)->status == 403)
        add_way(text, "/sign-in", "Sign in with another key");
    add_way(text, about, "About this problem");
    buffer_add_text(text, "</ul>\n");
}

void page_of_problem(const struct request *request, const struct faults *faults, const char *request_id,
                     struct buffer *text)
{
    enum reason reason = faults->items[0].reason;
    struct html_page page = {.title = reason_info(reason)->title};
    if (request->identity != NULL && request->route != NULL) {
        const struct request asked = without_strangers(request);
        text->failed = !page_find_starts(&asked, NULL, &page) || text->failed;
    }
    html_page_begin(text, &page);
    add_facts(faults, request_id, text);
    if (faults->count > 1)
        add_faults(faults, text);
    add_ways(request, &page, reason, text);
    html_page_end(text);
}

/* --- about a reason ------------------------------------------------------------------------------------ */

static void add_operations(const struct problem_type *about, struct buffer *text)
{
    html_table_begin(text, &(struct html_table){.caption = "Operations that can answer with it"});
    html_column(text, "operation", false);
    html_column(text, "method", false);
    html_column(text, "path", false);
    html_table_rows(text);
    for (size_t i = 0; i < about->count; i++) {
        const struct route *route = about->operations[i];
        buffer_printf(text, "<tr><th scope=\"row\"><code>%s</code></th><td><code>%s</code></td><td><code>",
                      route->id, method_word(route->method));
        html_text(text, route->path);
        buffer_add_text(text, "</code></td></tr>\n");
    }
    html_table_end(text);
}

void page_problem_type(const struct problem_type *about, struct buffer *text)
{
    const struct reason_info *info = reason_info(about->reason);
    char status[16];
    snprintf(status, sizeof status, "%d", info->status);
    html_page_begin(text, &(struct html_page){.title = info->title});
    buffer_add_text(text, "<dl class=\"facts\">\n");
    html_word_fact(text, "advice", problem_advice(about->reason));
    html_word_fact(text, "retryable",
                   info->retryable ? "Yes: the same request may succeed later."
                                   : "No: the same request would be refused again.");
    html_fact(text, "reason", info->code);
    html_fact(text, "status", status);
    buffer_add_text(text, "</dl>\n");
    if (about->by_all)
        html_note(text, "Any operation can answer with it.");
    else
        add_operations(about, text);
    buffer_add_text(text, "<ul class=\"see\">\n");
    add_way(text, "/", "Start page");
    buffer_add_text(text, "</ul>\n");
    html_page_end(text);
}
