/* SPDX-License-Identifier: ISC */
/* A link is shown only if its route or report exists and the reader's role may use it. */
#include "http/pages/page_target.h"

#include "base/clock.h"
#include "base/uri.h"
#include "http/request/route.h"
#include "http/request/router.h"
#include "words/words.h"

#include <stdio.h>
#include <string.h>

const json_t *page_member(const struct page_scope *scope, const char *name)
{
    const json_t *value = NULL;
    for (; scope != NULL && value == NULL; scope = scope->outer)
        value = json_object_get(scope->object, name);
    return value;
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

enum { TARGET_MAX = 8192 };

struct variables {
    const struct request *request;
    const struct page_scope *scope;
    char number[24];
    char braces[CODE_SIZE + 2];
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

/* The scheme that the key knows, if it knows only one. */
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
        if (uri_part_is(request->query[i].name, name, length))
            text = request->query[i].value;
    return text != NULL || !uri_part_is("scheme", name, length) ? text : sole_scheme(request);
}

bool page_target(const struct request *request, const struct page_scope *scope, const char *pattern,
                 struct buffer *target)
{
    struct variables variables = {.request = request, .scope = scope};
    return page_leads(request, pattern) && uri_expand(target, pattern, variable, &variables) &&
           !target->failed;
}

/* The value, or else the name in its braces. */
static const char *variable_or_name(void *context, const char *name, size_t length)
{
    struct variables *variables = context;
    const char *value = variable(context, name, length);
    if (value != NULL)
        return value;
    snprintf(variables->braces, sizeof variables->braces, "{%.*s}", (int)length, name);
    return variables->braces;
}

bool page_expand(const struct request *request, const struct page_scope *scope, const char *pattern,
                 struct buffer *target)
{
    struct variables variables = {.request = request, .scope = scope};
    return uri_expand(target, pattern, variable_or_name, &variables) && !target->failed;
}

bool page_fill(const struct request *request, const struct page_scope *scope, const char *fields,
               struct buffer *text)
{
    struct variables variables = {.request = request, .scope = scope};
    return uri_expand(text, fields, variable, &variables) && !text->failed;
}

static bool applies(const struct page_view *view, const struct page_scope *scope,
                    const struct page_link *link, const char *name)
{
    if (strcmp(link->member, name) != 0 ||
        (link->schema != NULL && strcmp(link->schema, view->request->route->answer_schema) != 0))
        return false;
    const char *is =
        link->when != NULL ? json_string_value(json_object_get(scope->object, link->when)) : NULL;
    return link->when == NULL || (is != NULL && strcmp(is, link->is) == 0);
}

/* Whether this key may follow the rule's link. The result is the same for the whole page. */
static bool rule_leads(struct page_view *view, size_t rule, const char *pattern)
{
    if (!view->links[rule].known) {
        view->links[rule].known = true;
        view->links[rule].leads = page_leads(view->request, pattern);
    }
    return view->links[rule].leads;
}

bool page_member_target(struct page_view *view, const struct page_scope *scope, const char *name,
                        struct buffer *target)
{
    size_t count;
    const struct page_link *links = page_links(&count);
    struct variables variables = {.request = view->request, .scope = scope};
    for (size_t i = 0; i < count; i++)
        if (applies(view, scope, &links[i], name) && rule_leads(view, i, links[i].pattern) &&
            uri_expand(target, links[i].pattern, variable, &variables))
            return !target->failed && !uri_part_is(view->request->path, target->data, strcspn(target->data, "?"));
    return false;
}

static const char *kept(struct arena *arena, const struct buffer *text)
{
    return text->failed || text->data == NULL ? NULL : arena_copy(arena, text->data, text->length);
}

bool page_is_asked(const char *parameter)
{
    static const char *const names[] = {"cursor", "limit", "order", "format", "after"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (strcmp(parameter, names[i]) == 0)
            return false;
    return true;
}

const char *page_detail(const struct request *request)
{
    struct buffer text;
    const char *at = request->route->path;
    buffer_init(&text, TARGET_MAX);
    buffer_add_text(&text, "");
    for (size_t i = 0; i < PATH_PARAMETERS_MAX && (at = strchr(at, '{')) != NULL; i++, at++)
        buffer_printf(&text, " %s", request->parts[i]);
    for (size_t i = 0; i < request->query_count; i++)
        if (page_is_asked(request->query[i].name) && *request->query[i].value != '\0')
            buffer_printf(&text, " %s", request->query[i].value);
    const char *detail = text.length > 0 ? kept(request->arena, &text) : NULL;
    buffer_dispose(&text);
    return detail;
}

/* "Made 2026-05-13 at 10:00 UTC for the key anna." NULL: out of memory. */
static const char *made_line(const struct request *request)
{
    char at[INSTANT_TEXT_MAX];
    struct buffer line;
    instant_format(clock_now(), at);
    at[16] = '\0';
    at[10] = '\0';
    buffer_init(&line, 512);
    line.words = request->words;
    (void)words_say(&line, "Made %1 at %2 UTC for the key %3.", at, at + 11, request->identity->name);
    const char *made = kept(request->arena, &line);
    buffer_dispose(&line);
    return made;
}

bool page_find_starts(const struct request *request, const struct page_scope *scope, struct html_page *page)
{
    size_t count;
    const struct page_see *starts = page_starts(&count);
    struct html_link *found = arena_array(request->arena, count, sizeof *found);
    if (found == NULL)
        return false;
    page->pages = found;
    page->signed_in = request->session != 0 ? request->identity->name : NULL;
    page->made = made_line(request);
    for (size_t i = 0; i < count; i++) {
        struct buffer target;
        buffer_init(&target, 1024);
        bool leads = page_target(request, scope, starts[i].pattern, &target);
        const char *href = leads ? kept(request->arena, &target) : NULL;
        buffer_dispose(&target);
        if (leads && href == NULL)
            return false;
        if (leads)
            found[page->page_count++] = (struct html_link){href, starts[i].text};
    }
    return true;
}
