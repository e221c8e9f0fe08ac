/* SPDX-License-Identifier: ISC */
/* Parked jobs have events of a scheme whose head somebody else holds. They are tried again apart from other
 * jobs, soon at first and then less often, until they are posted or it is too late for them. The writer's
 * own; no other thread touches it. */
#ifndef DEPOSITD_APP_POSTING_PARKING_H
#define DEPOSITD_APP_POSTING_PARKING_H

#include "app/posting/intake_job.h"

struct parking {
    /* set by the owner */
    size_t events_max; /* no more events than this are parked */
    int64_t wait_ms;   /* the longest time from submission to the end of parking */
    /* the parking's own */
    struct job_list jobs;
    size_t events;
    int pause_ms;        /* the next pause between two tries */
    int64_t retry_at_ms; /* when to try again, of clock_monotonic_ms */
};

bool parking_is_empty(const struct parking *parking);
bool parking_is_due(const struct parking *parking);

/* Parks the job if events of it are to be parked. False: the job is done. Its events are given up if there is
 * no room or it is too late. */
MUST_CHECK bool parking_keep(struct parking *parking, struct intake_job *job);

/* Takes the first jobs that may be tried together, up to `events_max` events. A dry run goes alone. */
struct intake_job *parking_take(struct parking *parking, size_t events_max);

/* Sets the time of the next try. If the last try made progress, the next one comes at once, because the head
 * is free again or goes from hand to hand. Otherwise it comes after twice the last pause. */
void parking_plan_retry(struct parking *parking, bool progress);

#endif
