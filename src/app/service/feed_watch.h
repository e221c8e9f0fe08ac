/* SPDX-License-Identifier: ISC */
/* Readers of the feed that wait for news. A thread with a connection of its own looks how far the feeds go,
 * with one statement for all: once a second while somebody waits, and at once when this instance has recorded
 * something. So a reader that waits costs no thread and no statement, and learns of other instances as well.
 */
#ifndef DEPOSITD_APP_SERVICE_FEED_WATCH_H
#define DEPOSITD_APP_SERVICE_FEED_WATCH_H

#include "base/config.h"
#include "store/pg.h"

struct feed_place; /* store/feed_store.h */
struct feed_watch;

struct feed_waiter {
    const struct feed_place *places;
    size_t count;
    int64_t until_ms; /* of clock_monotonic_ms */
    /* Called now and then, under the watch's lock. False: the client has gone. */
    bool (*is_there)(struct feed_waiter *waiter);
    /* Called once, on another thread. The watch does not touch the waiter afterwards. `news`: something has
     * come after one of the places. */
    void (*end)(struct feed_waiter *waiter, bool news);
    struct feed_waiter *next; /* belongs to the watch */
};

enum feed_wait {
    FEED_WAITS,         /* `end` will be called, or was called already */
    FEED_HAS_NEWS,      /* for the next three `end` will not be called */
    FEED_WAIT_IS_OVER,  /* the time has passed, or the service stops */
    FEED_WAITS_TOO_MANY /* as many wait as may (feed_waiters) */
};

/* NULL: no memory or no thread. */
MUST_CHECK struct feed_watch *feed_watch_start(const struct config *config, const struct pg_stop *stop);
/* Nobody may wait any more. */
void feed_watch_stop(struct feed_watch *watch);

MUST_CHECK enum feed_wait feed_watch_wait(struct feed_watch *watch, struct feed_waiter *waiter);
/* Something was recorded by this instance. Any thread; never blocks for long. */
void feed_watch_notice(void *watch);
/* The service stops: ends all waits, and allows no more. */
void feed_watch_end_all(struct feed_watch *watch);
/* How many wait. Any thread. */
size_t feed_watch_count(struct feed_watch *watch);

#endif
