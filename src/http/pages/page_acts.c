/* SPDX-License-Identifier: ISC */
/* The table of what can be done where. */
#include "http/pages/page_acts.h"

#include "base/uri.h"
#include "http/request/router.h"

#include <string.h>

/* A member of the object that an act depends on. */
struct condition {
    const char *member; /* NULL: no condition */
    const char *is;     /* its value as text; NULL: it must be absent; ANY: it must be there */
};
#define ANY ""

struct act {
    const char *schema;
    bool of_row; /* of each item of the list */
    const char *text;
    enum method method;
    const char
        *pattern; /* of the operation's path; a part of it that is still to be stated keeps its braces */
    struct condition first, second;
};

/* clang-format off */
static const struct act acts[] = {
    {"Settlement", false, "Approve all payments", METHOD_POST, "/v1/settlements/{scheme}/{date}/approve", {NULL, NULL}, {NULL, NULL}},
    {"Settlement", false, "Make a file for the bank", METHOD_POST, "/v1/settlements/{scheme}/{date}/files", {NULL, NULL}, {NULL, NULL}},
    {"DayList", true, "Close", METHOD_POST, "/v1/schemes/{scheme}/days/{date}/close", {"state", "open"}, {NULL, NULL}},
    {"Payment", false, "Release", METHOD_POST, "/v1/payments/{payment_id}/release", {"held", ANY}, {"status", "computed"}},
    {"Payment", false, "Approve", METHOD_POST, "/v1/payments/{payment_id}/approve", {"status", "computed"}, {NULL, NULL}},
    {"Payment", false, "Confirm", METHOD_POST, "/v1/payments/{payment_id}/confirm", {"status", "approved"}, {NULL, NULL}},
    {"Payment", false, "Confirm", METHOD_POST, "/v1/payments/{payment_id}/confirm", {"status", "instructed"}, {NULL, NULL}},
    {"Payment", false, "Fail", METHOD_POST, "/v1/payments/{payment_id}/fail", {"status", "instructed"}, {NULL, NULL}},
    {"Payment", false, "Fail", METHOD_POST, "/v1/payments/{payment_id}/fail", {"status", "confirmed"}, {NULL, NULL}},
    {"Scheme", false, "Change", METHOD_PUT, "/v1/schemes/{scheme}", {NULL, NULL}, {NULL, NULL}},
    {"SchemeList", false, "New scheme", METHOD_PUT, "/v1/schemes/{scheme}", {NULL, NULL}, {NULL, NULL}},
    {"Terms", false, "Change", METHOD_PUT, "/v1/schemes/{scheme}/terms/{effective_date}", {NULL, NULL}, {NULL, NULL}},
    {"TermsList", false, "New terms", METHOD_PUT, "/v1/schemes/{scheme}/terms/{effective_date}", {NULL, NULL}, {NULL, NULL}},
    {"RefundValue", false, "Change", METHOD_PUT, "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", {NULL, NULL}, {NULL, NULL}},
    {"RefundValueList", false, "New refund value", METHOD_PUT, "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", {NULL, NULL}, {NULL, NULL}},
    {"Participant", false, "Change", METHOD_PUT, "/v1/participants/{participant}", {NULL, NULL}, {NULL, NULL}},
    {"ParticipantList", false, "New participant", METHOD_PUT, "/v1/participants/{participant}", {NULL, NULL}, {NULL, NULL}},
    {"Site", false, "Change", METHOD_PUT, "/v1/sites/{site}", {NULL, NULL}, {NULL, NULL}},
    {"SiteList", false, "New site", METHOD_PUT, "/v1/sites/{site}", {NULL, NULL}, {NULL, NULL}},
    {"CupType", false, "Change", METHOD_PUT, "/v1/cup-types/{cup_type}", {NULL, NULL}, {NULL, NULL}},
    {"CupTypeList", false, "New cup type", METHOD_PUT, "/v1/cup-types/{cup_type}", {NULL, NULL}, {NULL, NULL}},
    {"KeyList", false, "New key", METHOD_POST, "/v1/keys", {NULL, NULL}, {NULL, NULL}},
    {"KeyList", true, "Revoke", METHOD_DELETE, "/v1/keys/{name}", {"revoked_at", NULL}, {NULL, NULL}},
    {"Me", false, "Renew the key", METHOD_POST, "/v1/me/renew", {NULL, NULL}, {NULL, NULL}},
    {"SessionList", true, "End", METHOD_DELETE, "/v1/me/sessions/{session}", {"state", "open"}, {NULL, NULL}},
};
/* clang-format on */

static bool holds(const struct condition *condition, const json_t *object)
{
    if (condition->member == NULL)
        return true;
    const json_t *value = json_object_get(object, condition->member);
    if (condition->is == NULL || value == NULL)
        return condition->is == NULL && value == NULL;
    return *condition->is == '\0' ||
           (json_is_string(value) && strcmp(json_string_value(value), condition->is) == 0);
}

static bool may(const struct request *request, const struct route *route)
{
    return route != NULL && request->session != 0 && (route->roles & 1u << request->identity->role) != 0;
}

static bool applies(const struct page_view *view, const struct act *act, bool of_row)
{
    return act->of_row == of_row && strcmp(act->schema, view->request->route->answer_schema) == 0 &&
           may(view->request, router_find(act->method, act->pattern));
}

/* The page's own target, to come back to it. */
static const char *own_target(const struct request *request)
{
    return request->query_count > 0 ? request_target(request, request->query[0].name, request->query[0].value)
                                    : request->path;
}

/* Adds the link, unless a condition does not hold. */
static bool add_link(const struct page_view *view, const struct page_scope *scope, const struct act *act,
                     const char *before)
{
    struct buffer path, target;
    if (!holds(&act->first, scope->object) || !holds(&act->second, scope->object))
        return false;
    const struct route *route = router_find(act->method, act->pattern);
    const char *back = own_target(view->request);
    buffer_init(&path, 1024);
    buffer_init(&target, 4096);
    buffer_printf(&target, "/forms/%s", route->id);
    page_expand(view->request, scope, act->pattern, &path);
    buffer_add_text(&target, "?target=");
    uri_encode(&target, path.failed ? "" : path.data);
    if (back != NULL && act->of_row) {
        buffer_add_text(&target, "&back=");
        uri_encode(&target, back);
    }
    buffer_add_text(view->text, before);
    html_link(view->text, target.failed ? "/" : target.data, act->text);
    buffer_dispose(&path);
    buffer_dispose(&target);
    return true;
}

bool page_has_row_acts(const struct page_view *view)
{
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        if (applies(view, &acts[i], true))
            return true;
    return false;
}

void page_row_acts(const struct page_view *view, const struct page_scope *item)
{
    const char *before = "";
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        if (applies(view, &acts[i], true) && add_link(view, item, &acts[i], before))
            before = " ";
}

void page_acts(const struct page_view *view, const struct page_scope *scope)
{
    size_t count = 0;
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        if (applies(view, &acts[i], false) &&
            add_link(view, scope, &acts[i], count == 0 ? "<ul class=\"acts\">\n<li>" : "</li>\n<li>"))
            count++;
    if (count > 0)
        buffer_add_text(view->text, "</li>\n</ul>\n");
}
