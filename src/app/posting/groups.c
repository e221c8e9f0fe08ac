/* SPDX-License-Identifier: ISC */
/* Leads each job to the intakes of the groups that its events belong to. */
#include "app/posting/groups.h"

#include "app/posting/split_job.h"
#include "app/posting/submission.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>

enum { FIRST = 1, ENDS = SCHEME_GROUPS_MAX + 1 /* numbers of groups; 0 is none */ };

struct groups {
    const struct config *config;
    struct snapshot_cache *snapshots;
    const struct pg_stop *stop;
    struct intake_listener listener;
    pthread_mutex_t starting;
    bool stopping;                          /* under `starting` */
    _Atomic(struct intake *) intakes[ENDS]; /* NULL: not started yet; set under `starting` */
};

/* NULL: it can't be started. */
static struct intake *intake_of(struct groups *groups, int group)
{
    struct intake *intake = atomic_load(&groups->intakes[group]);
    if (intake != NULL)
        return intake;
    pthread_mutex_lock(&groups->starting);
    intake = atomic_load(&groups->intakes[group]);
    if (intake == NULL && !groups->stopping) {
        intake = intake_start(groups->config, groups->snapshots, groups->stop, groups->listener);
        atomic_store(&groups->intakes[group], intake);
    }
    pthread_mutex_unlock(&groups->starting);
    return intake;
}

/* An event whose scheme this instance does not know is for the first group, which finds out. */
static uint8_t group_of(const struct network *network, const struct event *event)
{
    const struct scheme *scheme =
        submission_scheme(network, event, *event->site != '\0' ? network_site(network, event->site) : NULL);
    return scheme != NULL ? (uint8_t)scheme->group : FIRST;
}

/* The group of the first event that has any. */
static uint8_t first_group(const uint8_t *group_of_each, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (group_of_each[i] != 0)
            return group_of_each[i];
    return FIRST;
}

/* Notes the group of each event; 0: it has a fault. Returns whether there are several. */
static bool find_groups(const struct network *network, const struct intake_job *job, uint8_t *group_of_each)
{
    uint8_t lowest = ENDS, highest = 0;
    for (size_t i = 0; i < job->count; i++) {
        if (job->results[i].faults.count > 0)
            continue;
        uint8_t group = group_of(network, &job->events[i]);
        group_of_each[i] = group;
        lowest = group < lowest ? group : lowest;
        highest = group > highest ? group : highest;
    }
    return lowest < highest;
}

static bool submit_to_one(struct groups *groups, uint8_t group, struct intake_job *job)
{
    struct intake_place place = {intake_of(groups, group), job};
    return place.intake != NULL && intake_submit(&place, 1);
}

static bool submit_to_several(struct groups *groups, const struct split_job *split)
{
    struct intake_place places[ENDS];
    for (size_t i = 0; i < split->count; i++) {
        places[i] = (struct intake_place){intake_of(groups, split->parts[i].group), &split->parts[i].job};
        if (places[i].intake == NULL)
            return false;
    }
    return intake_submit(places, split->count);
}

/* Before the first snapshot every event is for the first group, whose writer makes one. */
static bool has_one_group(const struct snapshot *snapshot)
{
    return snapshot == NULL || snapshot->network.highest_group <= FIRST;
}

bool groups_submit(struct groups *groups, struct intake_job *job)
{
    const struct snapshot *snapshot = snapshot_hold(groups->snapshots);
    if (has_one_group(snapshot)) {
        snapshot_release(snapshot);
        return submit_to_one(groups, FIRST, job);
    }
    uint8_t *group_of_each = arena_array(job->arena, job->count, sizeof *group_of_each);
    bool fit = group_of_each != NULL;
    bool several = fit && find_groups(&snapshot->network, job, group_of_each);
    snapshot_release(snapshot);
    if (!fit)
        return false;
    if (!several)
        return submit_to_one(groups, first_group(group_of_each, job->count), job);
    const struct split_job *split = split_job_new(job, group_of_each);
    return split != NULL && submit_to_several(groups, split);
}

void groups_read_figures(struct groups *groups, struct intake_figures *figures)
{
    *figures = (struct intake_figures){0};
    for (int group = FIRST; group < ENDS; group++) {
        struct intake *intake = atomic_load(&groups->intakes[group]);
        struct intake_figures one;
        if (intake == NULL)
            continue;
        intake_read_figures(intake, &one);
        figures->waiting_events += one.waiting_events;
        figures->batches += one.batches;
        for (int status = 0; status < EVENT_STATUSES; status++)
            figures->events[status] += one.events[status];
    }
}

void groups_read_health(struct groups *groups, struct intake_health *health)
{
    *health = (struct intake_health){0};
    for (int group = FIRST; group < ENDS; group++) {
        struct intake *intake = atomic_load(&groups->intakes[group]);
        struct intake_health one;
        if (intake == NULL)
            continue;
        intake_read_health(intake, &one);
        if (one.oldest_ms > health->oldest_ms)
            health->oldest_ms = one.oldest_ms;
        if (one.failed_at_ms > health->failed_at_ms)
            health->failed_at_ms = one.failed_at_ms;
    }
}

struct groups *groups_start(const struct config *config, struct snapshot_cache *snapshots,
                            const struct pg_stop *stop, struct intake_listener listener)
{
    struct groups *groups = calloc(1, sizeof *groups);
    if (groups == NULL)
        return NULL;
    groups->config = config;
    groups->snapshots = snapshots;
    groups->stop = stop;
    groups->listener = listener;
    pthread_mutex_init(&groups->starting, NULL);
    if (intake_of(groups, FIRST) == NULL) {
        groups_stop(groups);
        return NULL;
    }
    return groups;
}

void groups_stop(struct groups *groups)
{
    if (groups == NULL)
        return;
    pthread_mutex_lock(&groups->starting);
    groups->stopping = true;
    pthread_mutex_unlock(&groups->starting);
    for (int group = FIRST; group < ENDS; group++)
        intake_stop(atomic_load(&groups->intakes[group]));
    pthread_mutex_destroy(&groups->starting);
    free(groups);
}
