/* SPDX-License-Identifier: ISC */
/* A job whose events are of several groups. Each group's writer gets a part of it, as a job with an arena of
 * its own. The whole job is done when its last part is. */
#ifndef DEPOSITD_APP_POSTING_SPLIT_JOB_H
#define DEPOSITD_APP_POSTING_SPLIT_JOB_H

#include "app/posting/intake_job.h"

#include <stdatomic.h>

/* A part, which has the events of one group. */
struct job_part {
    struct intake_job job;
    uint8_t group;
    /* its own */
    struct arena arena;
    size_t *places;    /* of its events in the whole job */
    atomic_bool ended; /* each of its events is recorded or refused */
    struct split_job *split;
};

struct split_job {
    struct job_part *parts; /* ascending by group */
    size_t count;
    /* its own */
    struct intake_job *whole;
    atomic_size_t left; /* parts that are not done */
};

/* Makes the parts, in the job's arena. Events of group 0 are in none. If they are all submitted, the last
 * writer to end its part fills the whole job's results and calls its `done`. NULL: out of memory. */
MUST_CHECK struct split_job *split_job_new(struct intake_job *whole, const uint8_t *group_of_each);

#endif
