/* SPDX-License-Identifier: ISC */
/* Counting requests as they end: by route and class of status, with their durations. Counting is a few
 * relaxed additions; it is done on the server's thread and may be read on any. */
#ifndef DEPOSITD_HTTP_REQUEST_METERS_H
#define DEPOSITD_HTTP_REQUEST_METERS_H

#include "depositd/attributes.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { STATUS_CLASSES = 6, DURATION_BUCKETS = 6 };

/* Upper bounds, in microseconds; what takes longer is in none of them. */
extern const int64_t duration_bounds_us[DURATION_BUCKETS];

struct route_meter {
    atomic_uint_least64_t by_class[STATUS_CLASSES]; /* status / 100; 0: no answer was sent */
    atomic_uint_least64_t within[DURATION_BUCKETS]; /* this bound, and beyond the one before */
    atomic_uint_least64_t sum_us;
};

struct route;

/* What is under way now. */
struct gauges {
    size_t requests, streams;
    size_t reads_waiting, reads_running; /* requests on read workers */
};
typedef void gauge_reader(void *server, struct gauges *gauges);

struct meters {
    gauge_reader *read_gauges;            /* any thread */
    void *server;                         /* its argument */
    atomic_uint_least64_t events_refused; /* for their shape: the writer counts the others */
    size_t route_count;
    struct route_meter routes[]; /* as in the table, then one for what has no route */
};

/* NULL: out of memory. */
MUST_CHECK struct meters *meters_new(gauge_reader *read_gauges, void *server);
void meters_free(struct meters *meters);

/* `route` NULL: there was none. */
void meters_count(struct meters *meters, const struct route *route, int status, int64_t duration_us);
void meters_count_refused_event(struct meters *meters);

static inline uint64_t meter_read(const atomic_uint_least64_t *meter)
{
    return atomic_load_explicit(meter, memory_order_relaxed);
}

#endif
