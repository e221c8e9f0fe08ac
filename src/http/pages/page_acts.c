/* SPDX-License-Identifier: ISC */
/* The table of what can be done where. */
#include "http/pages/page_acts.h"

#include "base/uri.h"
#include "http/pages/page_may.h"
#include "http/request/router.h"

#include <string.h>

/* A member of the object that an act depends on. */
struct condition {
    const char *member; /* NULL: no condition */
    const char
        *is; /* its value as text, or one of page_may.h; NULL: it must be absent; ANY: it must be there */
};
#define ANY ""
#define NO_MORE                                                                                              \
    {                                                                                                        \
        NULL, NULL                                                                                           \
    }
#define ALWAYS NO_MORE, NO_MORE

struct act {
    const char *schema;
    const char *list; /* of each item of this list; NULL: of the page */
    const char *text;
    enum method method;
    const char
        *pattern;     /* of the operation's path; a part of it that is still to be stated keeps its braces */
    const char *fill; /* fields that the link fills in, as the form sends them, with values in braces. If a
                         value is missing, there is no link. NULL: none */
    struct condition first, second;
};

#define RESOLVE_LINE "/v1/bank-lines/{line}/resolve"
/* The form takes the legs of the journal, and turns them round. */
#define OPPOSITE_JOURNAL "kind=journal&/scheme={scheme}&undoes={event_id}"

/* clang-format off */
static const struct act acts[] = {
    {"Settlement", NULL, "Approve payments", METHOD_POST, "/v1/settlements/{scheme}/{date}/approve", NULL, ALWAYS},
    {"Settlement", NULL, "Make a file for the bank", METHOD_POST, "/v1/settlements/{scheme}/{date}/files", NULL, ALWAYS},
    {"DayList", "items", "Close", METHOD_POST, "/v1/schemes/{scheme}/days/{date}/close", NULL, {"state", "open"}, NO_MORE},
    {"MonthList", "items", "Close for journals", METHOD_POST, "/v1/schemes/{scheme}/months/{month}/close", NULL, {"state", "open"}, NO_MORE},
    {"Month", NULL, "Close for journals", METHOD_POST, "/v1/schemes/{scheme}/months/{month}/close", NULL, {"state", "open"}, NO_MORE},
    {"Month", NULL, "Reopen", METHOD_POST, "/v1/schemes/{scheme}/months/{month}/reopen", NULL, {"state", "closed"}, NO_MORE},
    {"Payment", NULL, "Release", METHOD_POST, "/v1/payments/{payment_id}/release", NULL, {"held", ANY}, {"status", "computed"}},
    {"Payment", NULL, "Approve", METHOD_POST, "/v1/payments/{payment_id}/approve", NULL, {"status", "computed"}, NO_MORE},
    {"Payment", NULL, "Confirm", METHOD_POST, "/v1/payments/{payment_id}/confirm", NULL, {"status", "approved"}, NO_MORE},
    {"Payment", NULL, "Confirm", METHOD_POST, "/v1/payments/{payment_id}/confirm", NULL, {"status", "instructed"}, NO_MORE},
    {"Payment", NULL, "Fail", METHOD_POST, "/v1/payments/{payment_id}/fail", NULL, {"status", "instructed"}, NO_MORE},
    {"Payment", NULL, "Fail", METHOD_POST, "/v1/payments/{payment_id}/fail", NULL, {"status", "confirmed"}, NO_MORE},
    {"Opening", NULL, "Approve", METHOD_POST, "/v1/openings/{event_id}/approve", NULL, {"status", "open"}, {"proposed_by", MAY_APPROVE}},
    {"Opening", NULL, "Withdraw", METHOD_POST, "/v1/openings/{event_id}/withdraw", NULL, {"status", "open"}, NO_MORE},
    {"Scheme", NULL, "Change", METHOD_PUT, "/v1/schemes/{scheme}", NULL, ALWAYS},
    {"SchemeList", NULL, "New scheme", METHOD_PUT, "/v1/schemes/{scheme}", NULL, ALWAYS},
    {"Terms", NULL, "Change", METHOD_PUT, "/v1/schemes/{scheme}/terms/{effective_date}", NULL, ALWAYS},
    {"TermsList", NULL, "New terms", METHOD_PUT, "/v1/schemes/{scheme}/terms/{effective_date}", NULL, ALWAYS},
    {"RefundValue", NULL, "Change", METHOD_PUT, "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", NULL, ALWAYS},
    {"RefundValueList", NULL, "New refund value", METHOD_PUT, "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", NULL, ALWAYS},
    {"Participant", NULL, "Change", METHOD_PUT, "/v1/participants/{participant}", NULL, ALWAYS},
    {"ParticipantList", NULL, "New participant", METHOD_PUT, "/v1/participants/{participant}", NULL, ALWAYS},
    {"Site", NULL, "Change", METHOD_PUT, "/v1/sites/{site}", NULL, ALWAYS},
    {"SiteList", NULL, "New site", METHOD_PUT, "/v1/sites/{site}", NULL, ALWAYS},
    {"CupType", NULL, "Change", METHOD_PUT, "/v1/cup-types/{cup_type}", NULL, ALWAYS},
    {"CupTypeList", NULL, "New cup type", METHOD_PUT, "/v1/cup-types/{cup_type}", NULL, ALWAYS},
    {"KeyList", NULL, "New key", METHOD_POST, "/v1/keys", NULL, ALWAYS},
    {"KeyList", "items", "Revoke", METHOD_DELETE, "/v1/keys/{name}", NULL, {"revoked_at", NULL}, NO_MORE},
    {"KeyList", "items", "Language", METHOD_POST, "/v1/keys/{name}/language", "/language={language}", {"revoked_at", NULL}, {"language", ANY}},
    {"KeyList", "items", "Language", METHOD_POST, "/v1/keys/{name}/language", NULL, {"revoked_at", NULL}, {"language", NULL}},
    {"Me", NULL, "Language", METHOD_POST, "/v1/me/language", "/language={language}", {"language", ANY}, NO_MORE},
    {"Me", NULL, "Language", METHOD_POST, "/v1/me/language", NULL, {"language", NULL}, NO_MORE},
    {"Me", NULL, "Renew the key", METHOD_POST, "/v1/me/renew", NULL, ALWAYS},
    {"SessionList", "items", "End", METHOD_DELETE, "/v1/me/sessions/{session}", NULL, {"state", "open"}, NO_MORE},
    {"BankLineList", "items", "Resolve", METHOD_POST, RESOLVE_LINE, NULL, {"disposition", "unmatched"}, {"resolution", NULL}},
    {"BankLineList", "items", "Resolve", METHOD_POST, RESOLVE_LINE, NULL, {"disposition", "underpaid"}, {"resolution", NULL}},
    {"BankLineList", "items", "Resolve", METHOD_POST, RESOLVE_LINE, NULL, {"disposition", "overpaid"}, {"resolution", NULL}},
    {"BankLine", NULL, "Resolve", METHOD_POST, RESOLVE_LINE, NULL, {"candidates", ANY}, NO_MORE},
    {"BankLine", "candidates", "Resolve as this payment", METHOD_POST, RESOLVE_LINE, "/payment_id={payment_id}", {"payment_id", ANY}, NO_MORE},
    {"BankLine", "candidates", "Resolve to this participant", METHOD_POST, RESOLVE_LINE, "/participant={participant}", {"payment_id", NULL}, NO_MORE},
    {"Exception", NULL, "Resolve", METHOD_POST, "/v1/exceptions/{exception_id}/resolve", NULL, {"resolved", NULL}, NO_MORE},
    {"Report", "rows", "Resolve several", METHOD_POST, "/v1/exceptions/resolve", NULL, {"report", "exceptions"}, NO_MORE},
    {"ProposalList", "items", "Approve", METHOD_POST, "/v1/proposals/{proposal}/approve", NULL, {"status", "open"}, {"proposed_by", MAY_APPROVE}},
    {"ProposalList", "items", "Withdraw", METHOD_POST, "/v1/proposals/{proposal}/withdraw", NULL, {"status", "open"}, NO_MORE},
    {"Proposal", NULL, "Approve", METHOD_POST, "/v1/proposals/{proposal}/approve", NULL, {"status", "open"}, {"proposed_by", MAY_APPROVE}},
    {"Proposal", NULL, "Withdraw", METHOD_POST, "/v1/proposals/{proposal}/withdraw", NULL, {"status", "open"}, NO_MORE},
    {"BankStatementList", NULL, "Upload a statement", METHOD_POST, "/v1/bank-statements", "?scheme={scheme}", ALWAYS},
    {"BankLineList", NULL, "Upload a statement", METHOD_POST, "/v1/bank-statements", "?scheme={scheme}", ALWAYS},
    {"ParticipantList", NULL, "Upload a spreadsheet", METHOD_POST, "/v1/participants", NULL, ALWAYS},
    {"SiteList", NULL, "Upload a spreadsheet", METHOD_POST, "/v1/sites", NULL, ALWAYS},
    {"CupTypeList", NULL, "Upload a spreadsheet", METHOD_POST, "/v1/cup-types", NULL, ALWAYS},
    {"RefundValueList", NULL, "Upload a spreadsheet", METHOD_POST, "/v1/schemes/{scheme}/refund-values", NULL, ALWAYS},
    {"EntryList", NULL, "Record an event", METHOD_POST, "/v1/events", NULL, ALWAYS},
    {"RecordedEvent", NULL, "Reverse", METHOD_POST, "/v1/events", "kind=reversal&/reverses={event_id}&/site={site}", {"kind", MAY_REVERSE}, NO_MORE},
    {"RecordedEvent", NULL, "Reverse", METHOD_POST, "/v1/events", "kind=reversal&/reverses={event_id}&/scheme={scheme}", {"kind", MAY_REVERSE}, {"site", NULL}},
    {"RecordedEvent", NULL, "Receive", METHOD_POST, "/v1/events", "kind=receipt&/dispatch={event_id}&/site={to}", {"kind", MAY_RECEIVE}, NO_MORE},
    {"RecordedEvent", NULL, "Lost on the way", METHOD_POST, "/v1/events", "kind=transit_loss&/dispatch={event_id}", {"kind", MAY_GIVE_UP}, NO_MORE},
    {"RecordedEvent", NULL, "Propose the opposite journal", METHOD_POST, "/v1/events", OPPOSITE_JOURNAL, {"kind", "journal"}, NO_MORE},
    {"ShipmentList", NULL, "Ask for a shipment", METHOD_POST, "/v1/shipments", "/scheme={scheme}", ALWAYS},
    {"Plan", "requests", "Ask for these shipments", METHOD_POST, "/v1/shipments", "part={request}", ALWAYS},
    {"Shipment", NULL, "Dispatch", METHOD_POST, "/v1/events", "kind=dispatch&/shipment={shipment}&/site={site}&/to={to}", {"waits_for", MAY_SEND}, NO_MORE},
    {"Shipment", NULL, "Withdraw", METHOD_POST, "/v1/shipments/{shipment}/withdraw", "?scheme={scheme}", {"waits_for", WAITS_FOR_SENDER}, NO_MORE},
    {"Journal", NULL, "Approve", METHOD_POST, "/v1/journals/{event_id}/approve", NULL, {"status", "open"}, {"proposed_by", MAY_APPROVE}},
    {"Journal", NULL, "Withdraw", METHOD_POST, "/v1/journals/{event_id}/withdraw", NULL, {"status", "open"}, NO_MORE},
    {"Journal", NULL, "Propose the opposite journal", METHOD_POST, "/v1/events", OPPOSITE_JOURNAL, {"status", "approved"}, NO_MORE},
    {"JournalList", "items", "Approve", METHOD_POST, "/v1/journals/{event_id}/approve", NULL, {"status", "open"}, {"proposed_by", MAY_APPROVE}},
    {"JournalList", "items", "Withdraw", METHOD_POST, "/v1/journals/{event_id}/withdraw", NULL, {"status", "open"}, NO_MORE},
    {"OpeningList", NULL, "Upload a spreadsheet", METHOD_POST, "/v1/schemes/{scheme}/opening", NULL, ALWAYS},
    {"OpeningList", NULL, "Propose an opening", METHOD_POST, "/v1/events", "kind=opening&/scheme={scheme}", ALWAYS},
    {"TaxRegistration", NULL, "Change", METHOD_PUT, "/v1/participants/{participant}/tax-registration/{effective_date}", NULL, ALWAYS},
    {"TaxRegistrationList", NULL, "New registration", METHOD_PUT, "/v1/participants/{participant}/tax-registration/{effective_date}", NULL, ALWAYS},
    {"SiteKind", NULL, "Change", METHOD_PUT, "/v1/sites/{site}/kind/{effective_date}", NULL, ALWAYS},
    {"SiteKindList", NULL, "New kind", METHOD_PUT, "/v1/sites/{site}/kind/{effective_date}", NULL, ALWAYS},
    {"OfficeAccounts", NULL, "Change", METHOD_PUT, "/v1/schemes/{scheme}/office-accounts/{effective_date}", NULL, ALWAYS},
    {"OfficeAccountsList", NULL, "New codes", METHOD_PUT, "/v1/schemes/{scheme}/office-accounts/{effective_date}", NULL, ALWAYS},
    {"Agreement", NULL, "Change", METHOD_PUT, "/v1/schemes/{home}/agreements/{host}/{effective_date}", NULL, ALWAYS},
    {"AgreementList", NULL, "New agreement", METHOD_PUT, "/v1/schemes/{home}/agreements/{host}/{effective_date}", NULL, ALWAYS},
    {"Site", NULL, "Enter the totals of a day", METHOD_PUT, "/v1/sites/{site}/day-totals/{date}", NULL, ALWAYS},
    {"DayTotals", NULL, "Change", METHOD_PUT, "/v1/sites/{site}/day-totals/{date}", NULL, ALWAYS},
    {"RemakingBatchList", NULL, "New batch", METHOD_POST, "/v1/remaking-batches", NULL, ALWAYS},
    {"RemakingBatchList", "items", "Withdraw", METHOD_POST, "/v1/remaking-batches/{scheme}/{batch}/withdraw", NULL, {"withdrawn", NULL}, NO_MORE},
    {"RemakingBatch", NULL, "Withdraw", METHOD_POST, "/v1/remaking-batches/{scheme}/{batch}/withdraw", NULL, {"withdrawn", NULL}, {"remade", NULL}},
    {"RemakingBatch", NULL, "Supply the new cups", METHOD_POST, "/v1/events", "kind=supply&/batch={batch}", {"withdrawn", NULL}, NO_MORE},
    {"JournalList", NULL, "New journal", METHOD_POST, "/v1/events", "kind=journal&/scheme={scheme}", ALWAYS},
};
/* clang-format on */

static bool holds(const struct request *request, const struct condition *condition,
                  const struct page_scope *scope, bool of_row)
{
    bool special;
    if (condition->member == NULL)
        return true;
    const json_t *value =
        of_row ? json_object_get(scope->object, condition->member) : page_member(scope, condition->member);
    if (condition->is == NULL || value == NULL)
        return condition->is == NULL && value == NULL;
    bool may = page_may(request, condition->is, scope, &special);
    if (special || *condition->is == '\0')
        return special ? may : true;
    return json_is_string(value) && strcmp(json_string_value(value), condition->is) == 0;
}

static bool is_same(const char *a, const char *b)
{
    return a == NULL || b == NULL ? a == b : strcmp(a, b) == 0;
}

/* The route that the act leads to. NULL: the act is for other pages, or the person may not do it. */
static const struct route *route_of(const struct page_view *view, const struct act *act, const char *list)
{
    const struct request *request = view->request;
    if (request->session == 0 || !is_same(act->list, list) ||
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

static void add_parameter(struct buffer *target, const char *name, const char *value)
{
    buffer_printf(target, "&%s=", name);
    uri_encode(target, value);
}

/* Makes the form's address. False: a value is missing. */
static bool add_target(const struct page_view *view, const struct page_scope *scope, const struct act *act,
                       const struct route *route, struct buffer *target)
{
    struct buffer path, fill;
    const char *back = act->list != NULL ? page_target_of(view->request) : NULL;
    buffer_init(&path, 1024);
    buffer_init(&fill, 2048);
    bool known = act->fill == NULL || page_fill(view->request, scope, act->fill, &fill);
    buffer_printf(target, "/forms/%s?target=", route->id);
    uri_encode(target, page_expand(view->request, scope, act->pattern, &path) ? path.data : "");
    if (known && act->fill != NULL)
        add_parameter(target, "fill", fill.data);
    if (back != NULL)
        add_parameter(target, "back", back);
    buffer_dispose(&path);
    buffer_dispose(&fill);
    return known;
}

/* Adds the link, unless it is for other pages, or a condition does not hold. */
static bool add_link(const struct page_view *view, const struct page_scope *scope, const struct act *act,
                     const char *list, const char *before)
{
    struct buffer target;
    const struct route *route = route_of(view, act, list);
    if (route == NULL || !holds(view->request, &act->first, scope, list != NULL) ||
        !holds(view->request, &act->second, scope, list != NULL))
        return false;
    buffer_init(&target, 8192);
    bool leads = add_target(view, scope, act, route, &target);
    if (leads) {
        buffer_add_text(view->text, before);
        html_link(view->text, target.failed ? "/" : target.data, act->text);
    }
    buffer_dispose(&target);
    return leads;
}

bool page_has_row_acts(const struct page_view *view, const char *list)
{
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        if (route_of(view, &acts[i], list) != NULL)
            return true;
    return false;
}

void page_row_acts(const struct page_view *view, const char *list, const struct page_scope *item)
{
    const char *before = "";
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        if (add_link(view, item, &acts[i], list, before))
            before = " ";
}

void page_acts(const struct page_view *view, const struct page_scope *scope)
{
    size_t count = 0;
    const json_t *event = json_object_get(scope->object, "event");
    const struct page_scope inner = {.object = event != NULL ? event : scope->object, .outer = scope};
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        count +=
            add_link(view, &inner, &acts[i], NULL, count == 0 ? "<ul class=\"acts\">\n<li>" : "</li>\n<li>");
    if (count > 0)
        buffer_add_text(view->text, "</li>\n</ul>\n");
}
