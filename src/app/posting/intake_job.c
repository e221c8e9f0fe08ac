/* SPDX-License-Identifier: ISC */
/* Lists of jobs, and the answers that a partly posted job may give. */
#include "app/posting/intake_job.h"

#include "base/clock.h"

void job_list_append(struct job_list *list, struct intake_job *job)
{
    job->next = NULL;
    if (list->last != NULL)
        list->last->next = job;
    else
        list->first = job;
    list->last = job;
}

struct intake_job *job_list_take(struct job_list *list)
{
    struct intake_job *job = list->first;
    if (job == NULL)
        return NULL;
    list->first = job->next;
    if (list->first == NULL)
        list->last = NULL;
    job->next = NULL;
    return job;
}

bool job_is_late(const struct intake_job *job, int64_t wait_ms)
{
    return clock_monotonic_ms() - job->submitted_ms > wait_ms;
}

size_t job_count_parked(const struct intake_job *job)
{
    size_t count = 0;
    for (size_t i = 0; i < job->count; i++)
        count += job->results[i].parked;
    return count;
}

bool job_is_partly_recorded(const struct intake_job *job)
{
    for (size_t i = 0; i < job->count; i++)
        if (job->results[i].entry != 0 || job->results[i].status == EVENT_PROPOSED)
            return true;
    return false;
}

void job_reject_as_overloaded(struct event_result *result)
{
    result->status = EVENT_REJECTED;
    faults_refuse(&result->faults, REASON_OVERLOADED);
}

void job_give_up_parked(struct intake_job *job)
{
    bool partly = job_is_partly_recorded(job);
    if (!partly)
        job->failure = REASON_OVERLOADED;
    for (size_t i = 0; i < job->count; i++) {
        struct event_result *result = &job->results[i];
        if (result->parked && partly)
            job_reject_as_overloaded(result);
        result->parked = false;
    }
}

void job_settle_failure(struct intake_job *job)
{
    if (job->failure != REASON_NONE && job_is_partly_recorded(job))
        job->failure = REASON_OUTCOME_UNKNOWN;
}
