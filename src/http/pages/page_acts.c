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
#define NO_MORE                                                                                              \
    {                                                                                                        \
        NULL, NULL                                                                                           \
    }
#define ALWAYS NO_MORE, NO_MORE

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
    {"Settlement", false, "Approve all payments", METHOD_POST, "/v1/settlements/{scheme}/{date}/approve", ALWAYS},
    {"Settlement", false, "Make a file for the bank", METHOD_POST, "/v1/settlements/{scheme}/{date}/files", ALWAYS},
    {"DayList", true, "Close", METHOD_POST, "/v1/schemes/{scheme}/days/{date}/close", {"state", "open"}, NO_MORE},
    {"Payment", false, "Release", METHOD_POST, "/v1/payments/{payment_id}/release", {"held", ANY}, {"status", "computed"}},
    {"Payment", false, "Approve", METHOD_POST, "/v1/payments/{payment_id}/approve", {"status", "computed"}, NO_MORE},
    {"Payment", false, "Confirm", METHOD_POST, "/v1/payments/{payment_id}/confirm", {"status", "approved"}, NO_MORE},
    {"Payment", false, "Confirm", METHOD_POST, "/v1/payments/{payment_id}/confirm", {"status", "instructed"}, NO_MORE},
    {"Payment", false, "Fail", METHOD_POST, "/v1/payments/{payment_id}/fail", {"status", "instructed"}, NO_MORE},
    {"Payment", false, "Fail", METHOD_POST, "/v1/payments/{payment_id}/fail", {"status", "confirmed"}, NO_MORE},
    {"Opening", false, "Approve", METHOD_POST, "/v1/openings/{event_id}/approve", {"status", "open"}, NO_MORE},
    {"Opening", false, "Withdraw", METHOD_POST, "/v1/openings/{event_id}/withdraw", {"status", "open"}, NO_MORE},
    {"Scheme", false, "Change", METHOD_PUT, "/v1/schemes/{scheme}", ALWAYS},
    {"SchemeList", false, "New scheme", METHOD_PUT, "/v1/schemes/{scheme}", ALWAYS},
    {"Terms", false, "Change", METHOD_PUT, "/v1/schemes/{scheme}/terms/{effective_date}", ALWAYS},
    {"TermsList", false, "New terms", METHOD_PUT, "/v1/schemes/{scheme}/terms/{effective_date}", ALWAYS},
    {"RefundValue", false, "Change", METHOD_PUT, "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", ALWAYS},
    {"RefundValueList", false, "New refund value", METHOD_PUT, "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", ALWAYS},
    {"Participant", false, "Change", METHOD_PUT, "/v1/participants/{participant}", ALWAYS},
    {"ParticipantList", false, "New participant", METHOD_PUT, "/v1/participants/{participant}", ALWAYS},
    {"Site", false, "Change", METHOD_PUT, "/v1/sites/{site}", ALWAYS},
    {"SiteList", false, "New site", METHOD_PUT, "/v1/sites/{site}", ALWAYS},
    {"CupType", false, "Change", METHOD_PUT, "/v1/cup-types/{cup_type}", ALWAYS},
    {"CupTypeList", false, "New cup type", METHOD_PUT, "/v1/cup-types/{cup_type}", ALWAYS},
    {"KeyList", false, "New key", METHOD_POST, "/v1/keys", ALWAYS},
    {"KeyList", true, "Revoke", METHOD_DELETE, "/v1/keys/{name}", {"revoked_at", NULL}, NO_MORE},
    {"Me", false, "Renew the key", METHOD_POST, "/v1/me/renew", ALWAYS},
    {"SessionList", true, "End", METHOD_DELETE, "/v1/me/sessions/{session}", {"state", "open"}, NO_MORE},
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

/* The route that the act leads to. NULL: the act is for other pages, or the person may not do it. */
static const struct route *route_of(const struct page_view *view, const struct act *act, bool of_row)
{
    const struct request *request = view->request;
    if (request->session == 0 || act->of_row != of_row ||
        strcmp(act->schema, request->route->answer_schema) != 0)
        return NULL;
    const struct route *route = router_find(act->method, act->pattern);
    return route != NULL && (route->roles & 1u << request->identity->role) != 0 ? route : NULL;
}

/* The page's own target, to come back to it. */
static const char *page_target_of(const struct request *request)
{
    return request->query_count > 0 ? request_target(request, request->query[0].name, request->query[0].value)
                                    : request->path;
}

/* Adds the link, unless it is for other pages, or a condition does not hold. */
static bool add_link(const struct page_view *view, const struct page_scope *scope, const struct act *act,
                     bool of_row, const char *before)
{
    struct buffer path, target;
    const struct route *route = route_of(view, act, of_row);
    if (route == NULL || !holds(&act->first, scope->object) || !holds(&act->second, scope->object))
        return false;
    const char *back = of_row ? page_target_of(view->request) : NULL;
    buffer_init(&path, 1024);
    buffer_init(&target, 4096);
    buffer_printf(&target, "/forms/%s?target=", route->id);
    uri_encode(&target, page_expand(view->request, scope, act->pattern, &path) ? path.data : "");
    if (back != NULL) {
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
        if (route_of(view, &acts[i], true) != NULL)
            return true;
    return false;
}

void page_row_acts(const struct page_view *view, const struct page_scope *item)
{
    const char *before = "";
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        if (add_link(view, item, &acts[i], true, before))
            before = " ";
}

void page_acts(const struct page_view *view, const struct page_scope *scope)
{
    size_t count = 0;
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        count +=
            add_link(view, scope, &acts[i], false, count == 0 ? "<ul class=\"acts\">\n<li>" : "</li>\n<li>");
    if (count > 0)
        buffer_add_text(view->text, "</li>\n</ul>\n");
}
