/* SPDX-License-Identifier: ISC */
/* The router walks through the table and compares segment by segment, which is fast enough for a few dozen
 * routes. */
#include "http/request/router.h"

#include "base/uri.h"

#include <string.h>

static const char *const method_words[METHOD_COUNT] = {
    [METHOD_GET] = "GET",
    [METHOD_POST] = "POST",
    [METHOD_PUT] = "PUT",
    [METHOD_DELETE] = "DELETE",
};

const char *method_word(enum method method)
{
    return method_words[method];
}

/* METHOD_COUNT: no route has this method. */
static enum method method_parse(const char *word)
{
    int method = METHOD_GET;
    if (strcmp(word, "HEAD") == 0)
        return METHOD_GET;
    while (method < METHOD_COUNT && strcmp(word, method_words[method]) != 0)
        method++;
    return (enum method)method;
}

struct part {
    const char *text;
    size_t length;
};

static bool match_path(const char *pattern, const char *path, struct part parts[static PATH_PARAMETERS_MAX])
{
    size_t count = 0;
    while (*pattern != '\0') {
        if (*pattern == '{') {
            parts[count].text = path;
            parts[count].length = strcspn(path, "/?");
            path += parts[count].length;
            pattern = strchr(pattern, '}') + 1;
            if (parts[count++].length == 0)
                return false;
        } else if (*pattern++ != *path++) {
            return false;
        }
    }
    return *path == '\0' || *path == '?';
}

/* False: out of memory. A part that cannot be decoded becomes NULL. */
static bool decode_part(const struct part *part, struct arena *arena, const char **decoded)
{
    *decoded = arena_copy(arena, part->text, part->length);
    return *decoded != NULL && uri_decode(arena, decoded);
}

/* A part that cannot be decoded names nothing, so the path is not found by any method. */
static bool take_route(const struct route *route, const struct part *parts, struct request *request,
                       unsigned *allowed)
{
    request->route = route;
    for (size_t i = 0; i < PATH_PARAMETERS_MAX && parts[i].text != NULL; i++) {
        if (!decode_part(&parts[i], request->arena, &request->parts[i]))
            return false;
        if (request->parts[i] == NULL) {
            request->route = NULL;
            *allowed = 0;
        }
    }
    return true;
}

bool router_match(const char *method, const char *path, struct request *request, unsigned *allowed)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    enum method wanted = method_parse(method);

    *allowed = 0;
    for (size_t i = 0; i < count; i++) {
        struct part parts[PATH_PARAMETERS_MAX] = {0};
        if (!match_path(routes[i].path, path, parts))
            continue;
        *allowed |= 1u << routes[i].method;
        if (routes[i].method == wanted)
            return take_route(&routes[i], parts, request, allowed);
    }
    return true;
}

const struct route *router_find(enum method method, const char *target)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    for (size_t i = 0; i < count; i++) {
        struct part parts[PATH_PARAMETERS_MAX] = {0};
        if (routes[i].method == method && match_path(routes[i].path, target, parts))
            return &routes[i];
    }
    return NULL;
}

void router_allow(unsigned methods, char text[static ALLOW_MAX])
{
    text[0] = '\0';
    for (unsigned method = 0; method < METHOD_COUNT; method++) {
        if ((methods & 1u << method) == 0)
            continue;
        if (text[0] != '\0')
            strcat(text, ", ");
        strcat(text, method == METHOD_GET ? "GET, HEAD" : method_words[method]);
    }
}
