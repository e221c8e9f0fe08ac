/* SPDX-License-Identifier: ISC */
/* Decides which jobs stay parked, and when they are tried again. */
#include "app/posting/parking.h"

#include "base/clock.h"

enum {
    PAUSE_MIN_MS = 5, /* doubled with each try, up to … */
    PAUSE_MAX_MS = 200
};

bool parking_is_empty(const struct parking *parking)
{
    return parking->jobs.first == NULL;
}

bool parking_is_due(const struct parking *parking)
{
    return !parking_is_empty(parking) && clock_monotonic_ms() >= parking->retry_at_ms;
}

bool parking_keep(struct parking *parking, struct intake_job *job)
{
    size_t parked = job->failure == REASON_NONE ? job_count_parked(job) : 0;
    if (parked == 0)
        return false;
    if (job_is_late(job, parking->wait_ms) || parking->events + parked > parking->events_max) {
        job_give_up_parked(job);
        return false;
    }
    job_list_append(&parking->jobs, job);
    parking->events += parked;
    return true;
}

struct intake_job *parking_take(struct parking *parking, size_t events_max)
{
    struct job_list taken = {NULL, NULL};
    size_t events = 0;
    while (!parking_is_empty(parking)) {
        const struct intake_job *next = parking->jobs.first;
        size_t parked = job_count_parked(next);
        bool alone = next->dry_run || (taken.last != NULL && taken.last->dry_run);
        if (taken.first != NULL && (alone || events + parked > events_max))
            break;
        job_list_append(&taken, job_list_take(&parking->jobs));
        events += parked;
    }
    parking->events -= events;
    return taken.first;
}

void parking_plan_retry(struct parking *parking, bool progress)
{
    if (parking_is_empty(parking) || progress)
        parking->pause_ms = 0;
    parking->retry_at_ms = clock_monotonic_ms() + parking->pause_ms;
    parking->pause_ms = parking->pause_ms == 0 ? PAUSE_MIN_MS : 2 * parking->pause_ms;
    if (parking->pause_ms > PAUSE_MAX_MS)
        parking->pause_ms = PAUSE_MAX_MS;
}
