/* SPDX-License-Identifier: ISC */
/* Intake: the queue between the server's threads and the writer's thread, which posts all jobs that wait in
 * one transaction, under the head row of each scheme concerned.
 *
 * A job is done within post_deadline_ms, whatever the database does: half of that is for waiting, the other
 * half for posting. If somebody else holds the head of a scheme, the events of that scheme are parked and
 * tried again, while those of other schemes are posted. */
#ifndef DEPOSITD_APP_POSTING_INTAKE_H
#define DEPOSITD_APP_POSTING_INTAKE_H

#include "app/network/snapshot.h"
#include "app/posting/intake_job.h"
#include "base/config.h"

struct intake;

/* Learns when events were recorded. */
struct intake_listener {
    void (*recorded)(void *context); /* on the writer's thread, so it must be quick; NULL: nobody listens */
    void *context;
};

/* Starts the writer's thread. NULL: no memory or no thread. */
MUST_CHECK struct intake *intake_start(const struct config *config, struct snapshot_cache *cache,
                                       const struct pg_stop *stop, struct intake_listener listener);
/* Takes no more jobs, finishes those that wait or are parked, and ends the thread. */
void intake_stop(struct intake *intake);

/* Puts each job into the queue beside it, all or none. Several intakes come in the same order from all
 * callers, each once. False: a queue is full, or an intake is stopping; `done` will not be called. Never
 * blocks. */
struct intake_place {
    struct intake *intake;
    struct intake_job *job;
};
MUST_CHECK bool intake_submit(const struct intake_place *places, size_t count);

/* The work that the writer has done, and the work that waits for it. Read by any thread. */
struct intake_figures {
    size_t waiting_events;
    uint64_t batches;                /* jobs taken together */
    uint64_t events[EVENT_STATUSES]; /* answered with this status; dry runs do not count */
};
void intake_read_figures(struct intake *intake, struct intake_figures *figures);

/* The state of posting. Read by any thread. */
struct intake_health {
    int64_t oldest_ms;    /* age of the oldest job in the queue, or in the thread's hands; parked jobs
                             don't count */
    int64_t failed_at_ms; /* when the database last failed, of clock_monotonic_ms; 0: never */
};
void intake_read_health(struct intake *intake, struct intake_health *health);

#endif
