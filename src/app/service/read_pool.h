/* SPDX-License-Identifier: ISC */
/* The read workers: threads with a database connection each, which take jobs from one bounded queue. What may
 * block on the database runs here, so that the thread that speaks HTTP never does. */
#ifndef DEPOSITD_APP_SERVICE_READ_POOL_H
#define DEPOSITD_APP_SERVICE_READ_POOL_H

#include "store/pg.h"

#include <stddef.h>

/* Filled by the submitter and the pool's until `run` is called, on a worker's thread: `run` is the last that
 * the pool has to do with it, and may free it. */
struct read_job {
    void (*run)(struct read_job *job, struct pg *pg);
    struct read_job *next; /* the queue's */
};

struct read_pool;

/* NULL: no memory or no thread. Nothing is connected yet. */
MUST_CHECK struct read_pool *read_pool_start(const char *dsn, const struct pg_bounds *bounds, size_t workers,
                                             size_t queue_max);
/* Takes no more jobs, runs those that wait, ends the threads. */
void read_pool_stop(struct read_pool *pool);

/* False: the queue is full, or the pool is stopping; `run` will not be called. Never blocks. */
MUST_CHECK bool read_pool_submit(struct read_pool *pool, struct read_job *job);

/* How many jobs wait, and how many run. Any thread. */
void read_pool_count(struct read_pool *pool, size_t *waiting, size_t *running);

#endif
