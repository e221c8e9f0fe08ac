/* SPDX-License-Identifier: ISC */
/* Which events of a job wait because an earlier event of the job does. The writer parks an event if a head is
 * held, or what goes from one scheme to another. Then all later events of the same scheme wait as well, so
 * that the order of the request holds, and so does a receipt or a loss of a dispatch that waits in another
 * scheme. Lives in the arena of one batch; the writer's own. */
#ifndef DEPOSITD_APP_POSTING_WAITING_H
#define DEPOSITD_APP_POSTING_WAITING_H

#include "app/posting/submission.h"

struct waiting {
    const struct network *network;
    const struct arena *job;    /* the arena of the job at hand: it stands for the job */
    uint32_t number;            /* of that job, from 1 */
    uint32_t *jobs;             /* by scheme: the last job of which an event of the scheme waits */
    struct waiting_event *list; /* the events of the job at hand that wait */
    size_t count;
};

struct waiting_event {
    int32_t scheme;
    struct uuid id;
};

/* Makes room for as many events. False: out of memory. */
MUST_CHECK bool waiting_init(struct waiting *waiting, struct arena *arena, const struct network *network,
                             size_t events_max);
/* Begins a walk through events, job by job and in the order of each request. */
void waiting_begin(struct waiting *waiting);
/* Looks at the next event of the walk. True: it waits because of an earlier one, or because it is `held`. */
bool waiting_meets(struct waiting *waiting, const struct submission *submission, bool held);
/* The event that was met last waits after all. */
void waiting_add(struct waiting *waiting, const struct submission *submission);

#endif
