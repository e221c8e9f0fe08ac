/* SPDX-License-Identifier: ISC */
/* The read workers: threads with a database connection each, which take jobs from a shared bounded queue. All
 * work that may block on the database runs here, so the HTTP server's thread never blocks on it. */
#ifndef DEPOSITD_APP_SERVICE_READ_POOL_H
#define DEPOSITD_APP_SERVICE_READ_POOL_H

#include "store/pg.h"

#include <stddef.h>

/* The submitter fills it. It then belongs to the pool until a worker's thread calls `run`. The pool does not
 * touch it after that call, so `run` may free it. */
struct read_job {
    void (*run)(struct read_job *job, struct pg *pg);
    struct read_job *next; /* belongs to the queue */
};

struct read_pool;

/* NULL: out of memory, or of threads. Nothing is connected yet. */
MUST_CHECK struct read_pool *read_pool_start(const char *dsn, const struct pg_bounds *bounds, size_t workers,
                                             size_t queue_max);
/* Takes no more jobs, runs the waiting jobs, and ends the threads. */
void read_pool_stop(struct read_pool *pool);

/* False: the queue is full, or the pool is stopping; `run` will not be called. Never blocks. */
MUST_CHECK bool read_pool_submit(struct read_pool *pool, struct read_job *job);

/* How many jobs wait, and how many run. Any thread. */
void read_pool_count(struct read_pool *pool, size_t *waiting, size_t *running);

#endif
