/* SPDX-License-Identifier: ISC */
/* Values of an answer on a page, and where they lead. What stands in them may come from anywhere, and is
 * escaped. */
#include "http/pages/page_view.h"

#include "base/uri.h"
#include "http/request/route.h"
#include "http/request/router.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

enum { CODE_LENGTH = 32, TARGET_MAX = 8192 };

/* --- links --------------------------------------------------------------------------------------------- */

static bool is_name(const char *text, const char *name, size_t length)
{
    return strlen(text) == length && strncmp(text, name, length) == 0;
}

bool page_leads(const struct request *request, const char *target)
{
    static const char reports[] = "/v1/reports/";
    char name[CODE_SIZE] = "";
    const struct route *route = router_find(METHOD_GET, target);
    unsigned role = 1u << request->identity->role;
    if (route == NULL || (route->roles != 0 && (route->roles & role) == 0))
        return false;
    if (strncmp(target, reports, sizeof reports - 1) != 0)
        return true;
    size_t length = strcspn(target + sizeof reports - 1, "?");
    memcpy(name, target + sizeof reports - 1, length < CODE_SIZE ? length : 0);
    const struct report *report = report_find(name);
    return report != NULL && (report->roles & role) != 0;
}

struct variables {
    const struct request *request;
    const struct page_scope *scope;
    char number[24];
};

static const char *scalar_text(const json_t *value, char number[static 24])
{
    if (json_is_string(value))
        return *json_string_value(value) != '\0' ? json_string_value(value) : NULL;
    if (!json_is_integer(value))
        return NULL;
    snprintf(number, 24, "%lld", json_integer_value(value));
    return number;
}

const char *page_path_part(const struct request *request, const char *name, size_t length)
{
    const char *at = request->route->path;
    for (size_t i = 0; i < PATH_PARAMETERS_MAX && (at = strchr(at, '{')) != NULL; i++) {
        size_t here = strcspn(++at, "}");
        if (here == length && strncmp(at, name, length) == 0)
            return request->parts[i];
    }
    return NULL;
}

/* The only scheme that the key knows, where there is one. */
static const char *sole_scheme(const struct request *request)
{
    const struct network *network = &request->snapshot->network;
    const bool *known = request_known_schemes(request);
    const char *sole = NULL;
    for (size_t i = 0; known != NULL && i < network->scheme_count; i++) {
        if (!known[network->schemes[i].id])
            continue;
        if (sole != NULL)
            return NULL;
        sole = network->schemes[i].code;
    }
    return sole;
}

static const char *variable(void *context, const char *name, size_t length)
{
    struct variables *variables = context;
    const struct request *request = variables->request;
    for (const struct page_scope *scope = variables->scope; scope != NULL; scope = scope->outer) {
        const char *text = scalar_text(json_object_getn(scope->object, name, length), variables->number);
        if (text != NULL)
            return text;
    }
    const char *text = page_path_part(request, name, length);
    for (size_t i = 0; text == NULL && i < request->query_count; i++)
        if (is_name(request->query[i].name, name, length))
            text = request->query[i].value;
    return text != NULL || !is_name("scheme", name, length) ? text : sole_scheme(request);
}

bool page_target(const struct request *request, const struct page_scope *scope, const char *pattern,
                 struct buffer *target)
{
    struct variables variables = {.request = request, .scope = scope};
    return page_leads(request, pattern) && uri_expand(target, pattern, variable, &variables) &&
           !target->failed;
}

static bool applies(const struct page_view *view, const struct page_scope *scope,
                    const struct page_link *link, const char *name)
{
    if (strcmp(link->member, name) != 0 ||
        (link->schema != NULL && strcmp(link->schema, view->about->schema) != 0))
        return false;
    const char *is =
        link->when != NULL ? json_string_value(json_object_get(scope->object, link->when)) : NULL;
    return link->when == NULL || (is != NULL && strcmp(is, link->is) == 0);
}

/* Whether the rule leads anywhere for this key: the same for the whole page. */
static bool rule_leads(struct page_view *view, size_t rule, const char *pattern)
{
    if (!view->links[rule].known) {
        view->links[rule].known = true;
        view->links[rule].leads = page_leads(view->request, pattern);
    }
    return view->links[rule].leads;
}

/* Adds where a member's value leads. False: nowhere; a page does not lead to itself. */
static bool find_target(struct page_view *view, const struct page_scope *scope, const char *name,
                        struct buffer *target)
{
    size_t count;
    const struct page_link *links = page_links(&count);
    struct variables variables = {.request = view->request, .scope = scope};
    for (size_t i = 0; i < count; i++)
        if (applies(view, scope, &links[i], name) && rule_leads(view, i, links[i].pattern) &&
            uri_expand(target, links[i].pattern, variable, &variables))
            return !target->failed && !is_name(view->request->path, target->data, strcspn(target->data, "?"));
    return false;
}

/* "pool" is in the place of a participant, and is none; and of the other party to its payment a participant
 * sees no more than the name. */
static bool is_nobody(const struct request *request, const char *name, const char *text)
{
    static const char *const members[] = {"participant", "from", "to"};
    if (strcmp(text, "pool") == 0)
        return true;
    if (request->identity == NULL || request->identity->role != ROLE_PARTICIPANT)
        return false;
    const struct participant *participant = network_participant(&request->snapshot->network, text);
    bool is_other = participant != NULL && participant->id != request->identity->participant;
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++)
        if (is_other && strcmp(name, members[i]) == 0)
            return true;
    return false;
}

/* --- values -------------------------------------------------------------------------------------------- */

bool page_is_code(const char *text)
{
    return strlen(text) >= CODE_LENGTH && strspn(text, "0123456789abcdef-") == strlen(text);
}

/* What nobody may miss. */
static bool is_alarm(const char *text)
{
    static const char *const words[] = {"broken", "failed", "rejected"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(text, words[i]) == 0)
            return true;
    return false;
}

static void add_text(struct buffer *text, const char *value)
{
    const char *element = page_is_code(value) ? "code" : is_alarm(value) ? "strong" : NULL;
    if (element != NULL)
        buffer_printf(text, "<%s>", element);
    if (html_is_figure(value))
        html_figure(text, value);
    else
        html_text(text, value);
    if (element != NULL)
        buffer_printf(text, "</%s>", element);
}

static void add_scalar(struct buffer *text, const json_t *value)
{
    char number[32];
    switch (json_typeof(value)) {
    case JSON_STRING:
        add_text(text, json_string_value(value));
        break;
    case JSON_INTEGER:
        snprintf(number, sizeof number, "%lld", json_integer_value(value));
        add_text(text, number);
        break;
    case JSON_REAL:
        buffer_printf(text, "%.10g", json_real_value(value));
        break;
    case JSON_TRUE:
        buffer_add_text(text, "yes");
        break;
    case JSON_FALSE:
        buffer_add_text(text, "no");
        break;
    case JSON_NULL:
    case JSON_ARRAY:
    case JSON_OBJECT:
        break;
    }
}

static void add_compact(struct buffer *text, const json_t *value, bool named);

/* Its values, how many first; `named`: each after its name. */
static void add_object(struct buffer *text, const json_t *value, bool named)
{
    const char *name;
    json_t *member;
    size_t written = 0;
    const json_t *quantity = json_object_get(value, "quantity");
    if (quantity != NULL) {
        add_scalar(text, quantity);
        buffer_add_text(text, " \xc3\x97 ");
    }
    json_object_foreach((json_t *)value, name, member)
    {
        if (member == quantity)
            continue;
        if (written++ > 0)
            buffer_add_text(text, named ? "; " : " ");
        if (named) {
            html_text(text, name);
            buffer_add_text(text, json_is_object(member) ? " (" : ": ");
        }
        add_compact(text, member, named);
        if (named && json_is_object(member))
            buffer_add_char(text, ')');
    }
}

/* In a line: a list by commas. */
static void add_compact(struct buffer *text, const json_t *value, bool named)
{
    json_t *member;
    size_t index;
    if (json_is_object(value)) {
        add_object(text, value, named);
    } else if (json_is_array(value)) {
        json_array_foreach(value, index, member)
        {
            buffer_add_text(text, index > 0 ? ", " : "");
            add_compact(text, member, named);
        }
    } else {
        add_scalar(text, value);
    }
}

/* The members of these are of any kind: values alone would say little. */
static bool is_of_any_kind(const char *name)
{
    static const char *const members[] = {"before", "after", "changes", "request"};
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++)
        if (strcmp(name, members[i]) == 0)
            return true;
    return false;
}

/* What is itself the path of a page. */
static bool is_own_path(const struct page_view *view, const char *text)
{
    return strncmp(text, "/v1/", 4) == 0 && page_leads(view->request, text);
}

/* What it names: of /v1/settlements/tern-bay/2026-05-12 the scheme and the day. */
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
    bool linked = own_path || (simple && (text == NULL || !is_nobody(view->request, name, text)) &&
                               find_target(view, scope, name, &target));
    linked = linked && !target.failed;
    if (linked)
        html_open(view->text, "a", "href", target.data);
    if (own_path)
        add_path(view->text, text);
    else
        add_compact(view->text, value, is_of_any_kind(name));
    if (linked)
        buffer_add_text(view->text, "</a>");
    buffer_dispose(&target);
}

const char *page_title(const struct page_view *view)
{
    return view->about->title != NULL ? view->about->title : view->request->route->summary;
}
