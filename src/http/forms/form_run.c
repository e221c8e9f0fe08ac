/* SPDX-License-Identifier: ISC */
/* The handlers of operations know nothing of forms: each gets a request as any client could have sent it. */
#include "http/forms/form_run.h"

#include "base/uri.h"
#include "http/events/events_run.h"
#include "http/forms/form_choice.h"
#include "http/forms/form_event.h"

#include "http/pages/page_sign_in.h"
#include "http/request/router.h"

#include <stdio.h>
#include <string.h>

enum { PATH_BYTES_MAX = 1024, FORM_ANSWER_MAX = 8 << 20 };

bool form_is_file(const struct route *route)
{
    return route->xml_body != NULL || route->csv_body != NULL;
}

static bool takes_form(const struct route *route)
{
    return route->method != METHOD_GET && (form_is_file(route) || !route->body_large);
}

const struct route *form_operation(const struct request *request, struct answer *answer)
{
    size_t count;
    const struct route *routes = routes_documented(&count);
    for (size_t i = 0; i < count; i++) {
        if (routes[i].id == NULL || strcmp(routes[i].id, request->parts[0]) != 0 || !takes_form(&routes[i]))
            continue;
        if ((routes[i].roles & 1u << request->identity->role) != 0)
            return &routes[i];
        faults_refuse(&answer->faults, REASON_ROLE_NOT_ALLOWED);
        return NULL;
    }
    answer_not_found(answer);
    return NULL;
}

/* The request to another path, as the same person. */
static void begin_request(const struct request *request, const char *path, struct request *asked)
{
    *asked = *request;
    asked->path = path;
    asked->query_count = 0;
    asked->accept = asked->if_match = asked->if_none_match = NULL;
    asked->body = NULL;
    asked->body_length = 0;
    asked->json = NULL;
    asked->csv = NULL;
    asked->dry_run = false;
}

bool form_address(const struct request *request, struct answer *answer, const struct route *route,
                  const char *path, struct request *asked)
{
    unsigned allowed;
    begin_request(request, path, asked);
    if (!router_match(method_word(route->method), path, asked, &allowed)) {
        answer_store_failure(answer, STORE_UNAVAILABLE);
        return false;
    }
    if (asked->route == route)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "target",
                         "is no target of the operation");
    return false;
}

bool form_is_complete(const struct request *asked)
{
    for (size_t i = 0; asked != NULL && i < PATH_PARAMETERS_MAX; i++)
        if (asked->parts[i] != NULL && *asked->parts[i] == '{')
            return false;
    return asked != NULL;
}

static const char *part(void *context, const char *name, size_t length)
{
    const struct request *request = context;
    char field[CODE_SIZE + 1] = ":";
    memcpy(field + 1, name, length < CODE_MAX ? length : 0);
    const char *value = form_value(&request->form, field);
    return value != NULL && *value != '\0' ? value : NULL;
}

const char *form_path(const struct request *request, const struct route *route)
{
    struct buffer path;
    buffer_init(&path, PATH_BYTES_MAX);
    bool complete = uri_expand(&path, route->path, part, (void *)(uintptr_t)request) && !path.failed;
    const char *copy = complete ? arena_copy(request->arena, path.data, path.length) : NULL;
    buffer_dispose(&path);
    return copy;
}

void form_query(const struct request *request, struct request *asked)
{
    const struct parameter *parameters = asked->route->parameters;
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && parameters[i].name != NULL; i++) {
        char field[CODE_SIZE + 1] = "?";
        strncat(field, parameters[i].name, CODE_MAX);
        const char *value = form_value(&request->form, field);
        if (value != NULL && *value != '\0')
            asked->query[asked->query_count++] = (struct query_parameter){parameters[i].name, value};
    }
}

void form_run(const struct request *asked, const struct faults *found, struct answer *inner)
{
    *inner = (struct answer){.arena = asked->arena, .status = 200, .media = MEDIA_JSON};
    buffer_init(&inner->body, FORM_ANSWER_MAX);
    faults_init(&inner->faults, asked->arena);
    if (found != NULL)
        inner->faults = *found;
    if (asked->route->run == NULL)
        events_run(asked, inner);
    else
        asked->route->run(asked, inner);
}

void form_answer_free(struct answer *inner)
{
    buffer_dispose(&inner->body);
}

/* Cuts the last segment off. False: there was only one. */
static bool cut(char *path)
{
    char *slash = strrchr(path, '/');
    if (slash == NULL || slash == path)
        return false;
    *slash = '\0';
    return true;
}

static bool needs_query(const struct route *route)
{
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        if (route->parameters[i].required)
            return true;
    return false;
}

/* The longest beginning of the path that the key can read as a page. NULL: there is none. */
static const struct route *readable(const struct request *asked, char *path)
{
    do {
        const struct route *route = router_find(METHOD_GET, path);
        if (route != NULL && (route->roles & 1u << asked->identity->role) != 0 && !needs_query(route) &&
            (route_media(route) & 1u << MEDIA_HTML) != 0)
            return route;
    } while (cut(path));
    return NULL;
}

/* The path of the thing, or a longer one, and its query. NULL: there is none, or out of memory. */
static char *thing_path(const struct request *asked, const struct form_subject *subject, const char **query)
{
    const struct form_choice *choice = form_choice_of(asked->route);
    const char *path = asked->path;
    *query = "";
    if (form_is_event(asked->route))
        path = form_event_referred(asked->arena, subject->values);
    else if (choice != NULL && choice->of_back)
        path = subject->back;
    if (path == NULL)
        return NULL;
    size_t length = strcspn(path, "?");
    if (path[length] == '?')
        *query = path + length + 1;
    return arena_copy(asked->arena, path, length);
}

/* Takes a query as it stands in an address. */
static void take_query(struct request *read, const char *query, struct faults *faults)
{
    struct form_body parsed;
    if (!form_body_parse(query, strlen(query), &parsed, faults))
        return;
    for (size_t i = 0; i < parsed.count && read->query_count < QUERY_PARAMETERS_MAX; i++)
        if (*parsed.fields[i].value != '\0')
            read->query[read->query_count++] =
                (struct query_parameter){parsed.fields[i].name, parsed.fields[i].value};
}

static const struct route *thing_route(const struct request *asked, char *path, const char *query)
{
    return asked->route->method == METHOD_PUT || *query != '\0' ? router_find(METHOD_GET, path)
                                                                : readable(asked, path);
}

/* Reads the route at the path, as the same person. False: the key may not, or there is no such thing. The
 * faults of the route's handler are in inner->faults then. */
static bool read_route(const struct request *asked, const struct route *route, const char *path,
                       const char *query, struct request *read, struct answer *inner)
{
    unsigned allowed;
    struct faults ignored;
    if (route == NULL || (route->roles & 1u << asked->identity->role) == 0)
        return false;
    begin_request(asked, path, read);
    if (!router_match("GET", path, read, &allowed) || read->route != route)
        return false;
    faults_init(&ignored, asked->arena);
    take_query(read, query, &ignored);
    form_run(read, NULL, inner);
    if (inner->faults.count == 0 && inner->status == 200 && !inner->body.failed)
        return true;
    form_answer_free(inner);
    return false;
}

bool form_read_thing(const struct request *asked, const struct form_subject *subject, struct request *read,
                     struct answer *inner)
{
    const char *query;
    char *path = thing_path(asked, subject, &query);
    const struct route *route = path != NULL ? thing_route(asked, path, query) : NULL;
    return route != NULL && strchr(route->path, '{') != NULL &&
           read_route(asked, route, path, query, read, inner);
}

json_t *form_read_json(const struct request *asked, const char *path, const char *query,
                       struct faults *faults)
{
    struct request read;
    struct answer inner = {.faults = {.count = 0}};
    json_error_t error;
    if (!read_route(asked, router_find(METHOD_GET, path), path, query, &read, &inner)) {
        if (faults != NULL)
            *faults = inner.faults;
        return NULL;
    }
    json_t *json = json_loadb(inner.body.data, inner.body.length, 0, &error);
    form_answer_free(&inner);
    return json;
}

/* Whether a browser shows it. It would only download a file. */
static bool is_page(const char *location)
{
    const struct route *route = location != NULL ? router_find(METHOD_GET, location) : NULL;
    return route != NULL && (route_media(route) & 1u << MEDIA_HTML) != 0;
}

/* The list at the path, of the scheme that the operation named; "/" if there is none. */
static const char *list_of_scheme(const struct request *asked, const char *path)
{
    char target[PATH_BYTES_MAX];
    const char *scheme = request_query(asked, "scheme");
    const struct route *route = router_find(METHOD_GET, path);
    if (scheme == NULL || route == NULL || (route->roles & 1u << asked->identity->role) == 0 ||
        !shape_is_code(scheme, strlen(scheme)))
        return "/";
    snprintf(target, sizeof target, "%.900s?scheme=%s", path, scheme);
    const char *copy = arena_copy(asked->arena, target, strlen(target));
    return copy != NULL ? copy : "/";
}

const char *form_next(const struct request *asked, const struct answer *inner, const char *back)
{
    char *path = arena_copy(asked->arena, asked->path, strlen(asked->path));
    if (inner->status == 202 && asked->route->run != NULL)
        return "/v1/proposals";
    if (back != NULL && inner->status != 202)
        return back;
    if (asked->route->run == NULL)
        return form_event_next(asked, inner);
    if (is_page(inner->location))
        return inner->location;
    if (path == NULL || (asked->route->method == METHOD_DELETE && !cut(path)))
        return "/";
    return readable(asked, path) != NULL ? path : list_of_scheme(asked, asked->path);
}
