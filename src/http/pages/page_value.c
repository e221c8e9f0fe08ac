/* SPDX-License-Identifier: ISC */
/* Values of an answer on a page, and their links. Any text in a value may come from a hostile client, so all
 * values are escaped. */
#include "http/pages/page_value.h"

#include "base/uri.h"
#include "http/pages/page_names.h"
#include "http/pages/page_times.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

enum { CODE_LENGTH = 32, TARGET_MAX = 8192 };

/* "pool" stands in the place of a participant, but is not one, so it gets no link. Of the other party to a
 * payment, a participant sees only the name. */
static bool is_nobody(const struct request *request, const char *name, const char *text)
{
    static const char *const members[] = {"participant", "from", "to"};
    if (strcmp(text, "pool") == 0)
        return true;
    if (request->identity == NULL || role_reach(request->identity->role) != REACH_PARTICIPANT)
        return false;
    const struct participant *participant = network_participant(&request->snapshot->network, text);
    bool is_other = participant != NULL && participant->id != request->identity->participant;
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++)
        if (is_other && strcmp(name, members[i]) == 0)
            return true;
    return false;
}

/* The other site of a shipment, of which the key sees no more than the name. */
static bool is_other_site(const struct request *request, const char *name, const char *text)
{
    const struct site *site =
        strcmp(name, "site") == 0 ? network_site(&request->snapshot->network, text) : NULL;
    return site != NULL && request->identity != NULL && !identity_has_site(request->identity, site);
}

/* Accounts of a bank have the same name as accounts of the ledger, and so have kinds of these. */
static bool is_no_account(const struct request *request, const char *name, const char *text)
{
    struct account account;
    return strcmp(name, "account") == 0 && !network_account(&request->snapshot->network, text, &account);
}

static bool may_lead(const struct request *request, const char *name, const char *text)
{
    return !is_nobody(request, name, text) && !is_other_site(request, name, text) &&
           !is_no_account(request, name, text);
}

bool page_is_code(const char *text)
{
    return strlen(text) >= CODE_LENGTH && strspn(text, "0123456789abcdef-") == strlen(text);
}

/* Whether the page must highlight the text, so that no reader misses it. */
static bool is_alarm(const char *text)
{
    static const char *const words[] = {"broken", "failed", "rejected"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(text, words[i]) == 0)
            return true;
    return false;
}

/* Members that are decimal fractions. */
static bool is_rate(const char *member)
{
    return strcmp(member, "tax_rate") == 0 || strcmp(member, "return_target") == 0 ||
           strcmp(member, "service_level") == 0 || strcmp(member, "gap") == 0 ||
           strcmp(member, "loss_rate") == 0;
}

/* Members that may consist of digits alone, and are no figures. */
static bool is_identity(const char *member)
{
    static const char *const members[] = {"cup_id", "ids", "asset_type", "serial"};
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++)
        if (strcmp(member, members[i]) == 0)
            return true;
    return false;
}

static void add_text(struct buffer *text, const char *member, const char *value)
{
    const char *element = page_is_code(value) || is_identity(member) ? "code"
                          : is_alarm(value)                          ? "strong"
                                                                     : NULL;
    if (element != NULL)
        buffer_printf(text, "<%s>", element);
    if (is_rate(member))
        html_rate(text, value);
    else if (is_identity(member))
        html_text(text, value);
    else if (html_is_figure(value))
        html_figure(text, value);
    else
        html_value(text, member, value);
    if (element != NULL)
        buffer_printf(text, "</%s>", element);
}

static void add_scalar(struct buffer *text, const char *member, const json_t *value)
{
    char number[32];
    switch (json_typeof(value)) {
    case JSON_STRING:
        add_text(text, member, json_string_value(value));
        break;
    case JSON_INTEGER:
        snprintf(number, sizeof number, "%lld", json_integer_value(value));
        add_text(text, member, number);
        break;
    case JSON_REAL:
        buffer_printf(text, "%.10g", json_real_value(value));
        break;
    case JSON_TRUE:
        html_word(text, "yes");
        break;
    case JSON_FALSE:
        html_word(text, "no");
        break;
    case JSON_NULL:
    case JSON_ARRAY:
    case JSON_OBJECT:
        break;
    }
}

static void add_compact(struct buffer *text, const char *name, const json_t *value, bool named);

/* Adds the object's values, the quantity first; `named`: each value after its name. */
static void add_object(struct buffer *text, const json_t *value, bool named)
{
    const char *name;
    json_t *member;
    size_t written = 0;
    const json_t *quantity = json_object_get(value, "quantity");
    if (quantity != NULL) {
        add_scalar(text, "quantity", quantity);
        buffer_add_text(text, " \xc3\x97 ");
    }
    json_object_foreach((json_t *)value, name, member)
    {
        if (member == quantity)
            continue;
        if (written++ > 0)
            buffer_add_text(text, named ? "; " : " ");
        if (named) {
            html_label(text, name);
            buffer_add_text(text, json_is_object(member) ? " (" : ": ");
        }
        add_compact(text, name, member, named);
        if (named && json_is_object(member))
            buffer_add_char(text, ')');
    }
}

/* Each identity in an event leads to its cup. */
static void add_ids(struct buffer *text, const json_t *ids)
{
    struct buffer target;
    size_t index;
    const json_t *id;
    buffer_init(&target, TARGET_MAX);
    json_array_foreach(ids, index, id)
    {
        const char *cup = json_is_string(id) ? json_string_value(id) : "";
        buffer_reset(&target);
        buffer_add_text(&target, "/v1/cups/");
        uri_encode(&target, cup);
        buffer_add_text(text, index > 0 ? ", " : "");
        if (!target.failed)
            html_open(text, "a", "href", target.data);
        add_text(text, "ids", cup);
        if (!target.failed)
            buffer_add_text(text, "</a>");
    }
    buffer_dispose(&target);
}

/* Adds the value in a single line, with commas between the elements of a list. */
static void add_compact(struct buffer *text, const char *name, const json_t *value, bool named)
{
    json_t *member;
    size_t index;
    if (json_is_object(value)) {
        add_object(text, value, named);
    } else if (json_is_array(value) && strcmp(name, "ids") == 0) {
        add_ids(text, value);
    } else if (json_is_array(value)) {
        json_array_foreach(value, index, member)
        {
            buffer_add_text(text, index > 0 ? ", " : "");
            add_compact(text, name, member, named);
        }
    } else {
        add_scalar(text, name, value);
    }
}

/* Objects with these names have members of any kind, so their values alone would say little. */
static bool is_of_any_kind(const char *name)
{
    static const char *const members[] = {"before", "after", "changes", "request"};
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++)
        if (strcmp(name, members[i]) == 0)
            return true;
    return false;
}

/* Whether the value is itself the path of a page. */
static bool is_own_path(const struct page_view *view, const char *text)
{
    return strncmp(text, "/v1/", 4) == 0 && page_leads(view->request, text);
}

/* Shows the things that a path names: for /v1/settlements/tern-bay/2026-05-12, the scheme and the day. */
static void add_path(struct buffer *text, const char *path)
{
    const char *at = strchr(path + strlen("/v1/"), '/');
    for (at = at != NULL ? at + 1 : path; *at != '\0'; at++)
        html_text(text, *at == '/' ? " " : (const char[]){*at, '\0'});
}

void page_value(struct page_view *view, const struct page_scope *scope, const char *name, const json_t *value)
{
    struct buffer target;
    const char *text = json_string_value(value);
    buffer_init(&target, TARGET_MAX);
    bool simple = text != NULL || json_is_integer(value);
    bool own_path = text != NULL && is_own_path(view, text);
    if (own_path)
        buffer_add_text(&target, text);
    bool linked = own_path || (simple && (text == NULL || may_lead(view->request, name, text)) &&
                               page_member_target(view, scope, name, &target));
    linked = linked && !target.failed;
    if (linked)
        html_open(view->text, "a", "href", target.data);
    if (own_path)
        add_path(view->text, text);
    else if (text != NULL && page_is_instant(text))
        page_time(view, text);
    else
        add_compact(view->text, name, value, is_of_any_kind(name));
    if (linked)
        buffer_add_text(view->text, "</a>");
    if (text != NULL)
        html_name_beside(view->text, page_name_of(view->request, name, text));
    buffer_dispose(&target);
}
