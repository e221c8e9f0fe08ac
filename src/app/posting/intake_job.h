/* SPDX-License-Identifier: ISC */
/* A job of the writer: the events of one request, posted together. */
#ifndef DEPOSITD_APP_POSTING_INTAKE_JOB_H
#define DEPOSITD_APP_POSTING_INTAKE_JOB_H

#include "app/posting/event_result.h"
#include "depositd/event.h"

#include <stdatomic.h>

/* The submitter fills it, owns it again once `done` has been called (from the writer's thread), and never
 * touches it in between. */
struct intake_job {
    struct arena *arena;
    int32_t key; /* of the identity that posts */
    bool dry_run;
    bool beyond_bound; /* the submitter has a bound of its own: the job neither counts in the queue nor is
                          refused because the queue is full */
    const struct event *events;
    struct event_result *results; /* parallel to the events; events whose result has faults are passed over */
    size_t count;
    const atomic_bool **comes_from; /* parallel: of an event that names one of another part, whether that part
                                       has ended; NULL element: it names none; NULL: none does */
    /* REASON_NONE: results are filled. OVERLOADED, OUTCOME_UNKNOWN, UNAUTHENTICATED, INTERNAL_ERROR: for the
     * whole job. A job of which a part was recorded may have events that are rejected as OVERLOADED. */
    enum reason failure;
    void (*done)(struct intake_job *job);
    void *owner;             /* the submitter's */
    int64_t submitted_ms;    /* of clock_monotonic_ms; set by intake_submit */
    struct intake_job *next; /* in the list that the job is in */
};

/* Jobs in the order in which they were appended. */
struct job_list {
    struct intake_job *first, *last;
};

void job_list_append(struct job_list *list, struct intake_job *job);
/* The first job, or NULL. */
struct intake_job *job_list_take(struct job_list *list);

/* Whether the job has waited longer than this since it was submitted. */
bool job_is_late(const struct intake_job *job, int64_t wait_ms);

/* Whether a part of the job was recorded, or waits as a proposal. */
bool job_is_partly_recorded(const struct intake_job *job);
/* Rejects the event as OVERLOADED: others of its job were recorded, so the job as a whole can't be refused.
 */
void job_reject_as_overloaded(struct event_result *result);

/* How many of its events are parked. */
size_t job_count_parked(const struct intake_job *job);

/* Gives up its parked events. If other events of the job were recorded, each parked one is rejected as
 * OVERLOADED; otherwise the whole job fails with that reason. */
void job_give_up_parked(struct intake_job *job);

/* Makes a failure OUTCOME_UNKNOWN if a part of the job was recorded before: the client must not be told that
 * nothing was. */
void job_settle_failure(struct intake_job *job);

#endif
