/* SPDX-License-Identifier: ISC */
/* How long a connection may wait. */
#ifndef DEPOSITD_STORE_PG_BOUNDS_H
#define DEPOSITD_STORE_PG_BOUNDS_H

#include <stdatomic.h>

/* When all waits of a process end, as clock_monotonic_ms counts; 0: not yet. Any thread sets it, once. */
struct pg_stop {
    atomic_int_least64_t at_ms;
};

struct pg_bounds {
    int statement_ms; /* the longest wait for one answer; the server itself gives up a little later */
    const struct pg_stop *stop; /* NULL: nothing stops it */
};

#endif
