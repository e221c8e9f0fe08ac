/* SPDX-License-Identifier: ISC */
/* Counts requests as they end, by route and class of status, with their durations. Counting is a few relaxed
 * additions. The server's thread counts, and any thread may read. */
#ifndef DEPOSITD_HTTP_REQUEST_METERS_H
#define DEPOSITD_HTTP_REQUEST_METERS_H

#include "depositd/attributes.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { STATUS_CLASSES = 6, DURATION_BUCKETS = 6 };

/* Upper bounds, in microseconds. A longer request is in none of the buckets. */
extern const int64_t duration_bounds_us[DURATION_BUCKETS];

struct route_meter {
    atomic_uint_least64_t by_class[STATUS_CLASSES]; /* status / 100; 0: no answer was sent */
    atomic_uint_least64_t within[DURATION_BUCKETS]; /* within this bound, and beyond the bound before */
    atomic_uint_least64_t sum_us;
};

struct route;

/* The requests that are under way now. */
struct gauges {
    size_t requests, streams;
    size_t reads_waiting, reads_running; /* requests on read workers */
};
typedef void gauge_reader(void *server, struct gauges *gauges);

struct meters {
    gauge_reader *read_gauges;            /* any thread */
    void *server;                         /* its argument */
    atomic_uint_least64_t events_refused; /* refused for their shape; the writer counts the other refusals */
    size_t route_count;
    struct route_meter routes[]; /* in the order of the table, then a meter for requests without a route */
};

/* NULL: out of memory. */
MUST_CHECK struct meters *meters_new(gauge_reader *read_gauges, void *server);
void meters_free(struct meters *meters);

/* `route` NULL: the request has no route. */
void meters_count(struct meters *meters, const struct route *route, int status, int64_t duration_us);
void meters_count_refused_event(struct meters *meters);

static inline uint64_t meter_read(const atomic_uint_least64_t *meter)
{
    return atomic_load_explicit(meter, memory_order_relaxed);
}

#endif
