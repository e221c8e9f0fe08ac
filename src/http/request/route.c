/* SPDX-License-Identifier: ISC */
/* The table of routes, as the server has set it, and properties that follow from a route's row. */
#include "http/request/route.h"

#include "http/request/media.h"

#include <assert.h>
#include <string.h>

static const struct route *table;
static size_t table_count;

void routes_set(const struct route *routes, size_t count)
{
    table = routes;
    table_count = count;
}

const struct route *routes_all(size_t *count)
{
    assert(table != NULL);
    *count = table_count;
    return table;
}

const struct route *routes_documented(size_t *count)
{
    const struct route *routes = routes_all(count);
    while (*count > 0 && routes[*count - 1].for_browsers)
        --*count;
    return routes;
}

unsigned route_media(const struct route *route)
{
    if (route->media != 0)
        return route->media;
    bool is_read = route->method == METHOD_GET && route->roles != 0;
    return 1u << MEDIA_JSON | (is_read ? 1u << MEDIA_HTML : 0u);
}

bool route_has_choice(const struct route *route)
{
    return (route_media(route) & (route_media(route) - 1)) != 0;
}

bool route_has_status(const struct route *route, int status)
{
    size_t count = sizeof route->answer_statuses / sizeof route->answer_statuses[0];
    for (size_t i = 0; i < count && route->answer_statuses[i] != 0; i++)
        if (route->answer_statuses[i] == status)
            return true;
    return false;
}

bool route_takes(const struct route *route, const char *name)
{
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        if (strcmp(route->parameters[i].name, name) == 0)
            return true;
    return false;
}

bool route_has_slices(const struct route *route)
{
    return route_takes(route, "cursor");
}
