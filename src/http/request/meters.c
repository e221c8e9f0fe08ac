/* SPDX-License-Identifier: ISC */
/* Counts requests by route and class of status. */
#include "http/request/meters.h"

#include "http/request/route.h"

#include <stdlib.h>

const int64_t duration_bounds_us[DURATION_BUCKETS] = {1000, 5000, 25000, 100000, 500000, 2500000};

struct meters *meters_new(gauge_reader *read_gauges, void *server)
{
    size_t count;
    (void)routes_all(&count);
    struct meters *meters = calloc(1, sizeof *meters + (count + 1) * sizeof meters->routes[0]);
    if (meters == NULL)
        return NULL;
    meters->read_gauges = read_gauges;
    meters->server = server;
    meters->route_count = count;
    return meters;
}

void meters_free(struct meters *meters)
{
    free(meters);
}

static void add(atomic_uint_least64_t *meter, uint64_t amount)
{
    atomic_fetch_add_explicit(meter, amount, memory_order_relaxed);
}

void meters_count(struct meters *meters, const struct route *route, int status, int64_t duration_us)
{
    size_t count, at = 0;
    const struct route *first = routes_all(&count);
    struct route_meter *meter = &meters->routes[route != NULL ? (size_t)(route - first) : count];
    while (at < DURATION_BUCKETS && duration_us > duration_bounds_us[at])
        at++;
    if (at < DURATION_BUCKETS)
        add(&meter->within[at], 1);
    add(&meter->by_class[status / 100 % STATUS_CLASSES], 1);
    add(&meter->sum_us, (uint64_t)duration_us);
}

void meters_count_refused_event(struct meters *meters)
{
    add(&meters->events_refused, 1);
}
