/* SPDX-License-Identifier: ISC */
/* Makes parts of a job, and a whole of its parts. */
#include "app/posting/split_job.h"

#include "depositd/network.h"

#include <stdlib.h>
#include <string.h>

enum { GROUPS = SCHEME_GROUPS_MAX + 1 /* by number, from 1 */ };

static void take_results(struct job_part *part)
{
    struct intake_job *whole = part->split->whole;
    for (size_t i = 0; i < part->job.count; i++) {
        struct event_result *result = &whole->results[part->places[i]];
        *result = part->job.results[i];
        result->faults.arena = whole->arena;
    }
    arena_adopt(whole->arena, &part->arena);
}

/* The failure of the whole job: that of a part, OVERLOADED only if no other. */
static enum reason failure_of(const struct split_job *split)
{
    enum reason failure = REASON_NONE;
    for (size_t i = 0; i < split->count; i++) {
        enum reason of_part = split->parts[i].job.failure;
        if (failure == REASON_NONE || (failure == REASON_OVERLOADED && of_part != REASON_NONE))
            failure = of_part;
    }
    return failure;
}

/* The events of a part that found no room or no database, while other parts were recorded. */
static void reject_overloaded(const struct job_part *part)
{
    if (part->job.failure != REASON_OVERLOADED)
        return;
    for (size_t i = 0; i < part->job.count; i++)
        job_reject_as_overloaded(&part->split->whole->results[part->places[i]]);
}

/* Runs on the writer's thread. */
static void part_done(struct intake_job *job)
{
    struct job_part *part = job->owner;
    struct split_job *split = part->split;
    struct intake_job *whole = split->whole;
    atomic_store(&part->ended, true);
    if (atomic_fetch_sub(&split->left, 1) > 1)
        return;
    for (size_t i = 0; i < split->count; i++)
        take_results(&split->parts[i]);
    whole->failure = failure_of(split);
    if (whole->failure == REASON_OVERLOADED && job_is_partly_recorded(whole)) {
        whole->failure = REASON_NONE;
        for (size_t i = 0; i < split->count; i++)
            reject_overloaded(&split->parts[i]);
    }
    job_settle_failure(whole);
    whole->done(whole);
}

/* Copies the group's events into a part. False: out of memory. */
static bool fill(struct job_part *part, const uint8_t *group_of_each, size_t count)
{
    struct intake_job *job = &part->job, *whole = part->split->whole;
    struct event *events = arena_array(whole->arena, count, sizeof *events);
    struct event_result *results = arena_array(whole->arena, count, sizeof *results);
    part->places = arena_array(whole->arena, count, sizeof *part->places);
    if (events == NULL || results == NULL || part->places == NULL)
        return false;
    arena_init(&part->arena, 0);
    *job = (struct intake_job){
        .arena = &part->arena,
        .key = whole->key,
        .dry_run = whole->dry_run,
        .beyond_bound = whole->beyond_bound,
        .events = events,
        .results = results,
        .done = part_done,
        .owner = part,
    };
    for (size_t i = 0; job->count < count; i++) {
        if (group_of_each[i] != part->group)
            continue;
        part->places[job->count] = i;
        faults_init(&results[job->count].faults, &part->arena);
        events[job->count++] = whole->events[i];
    }
    return true;
}

/* --- events that name events of other parts --------------------------------------------------------------
 */

struct named {
    struct uuid id;
    const struct job_part *part;
};

static int compare_ids(const void *a, const void *b)
{
    return memcmp(a, b, sizeof(struct uuid)); /* the first member of struct named */
}

/* Lists the dispatches of all parts by id. NULL: out of memory. */
static struct named *list_dispatches(const struct split_job *split, size_t *count)
{
    struct named *list = arena_array(split->whole->arena, split->whole->count + 1, sizeof *list);
    *count = 0;
    for (size_t p = 0; p < split->count && list != NULL; p++)
        for (size_t i = 0; i < split->parts[p].job.count; i++)
            if (split->parts[p].job.events[i].kind == KIND_DISPATCH)
                list[(*count)++] = (struct named){split->parts[p].job.events[i].id, &split->parts[p]};
    if (list != NULL)
        qsort(list, *count, sizeof *list, compare_ids);
    return list;
}

/* Notes for each receipt and loss of cups that another scheme sends whether its dispatch is in another part.
 * False: out of memory. */
static bool note_names(struct split_job *split)
{
    size_t count;
    const struct named *list = list_dispatches(split, &count);
    for (size_t p = 0; p < split->count && list != NULL; p++) {
        struct intake_job *job = &split->parts[p].job;
        job->comes_from = arena_array(split->whole->arena, job->count, sizeof *job->comes_from);
        if (job->comes_from == NULL)
            return false;
        for (size_t i = 0; i < job->count; i++) {
            const struct event *event = &job->events[i];
            const struct named *found =
                *event->host != '\0' ? bsearch(&event->refers, list, count, sizeof *list, compare_ids) : NULL;
            if (found != NULL && found->part != &split->parts[p])
                job->comes_from[i] = &found->part->ended;
        }
    }
    return list != NULL;
}

struct split_job *split_job_new(struct intake_job *whole, const uint8_t *group_of_each)
{
    size_t counts[GROUPS] = {0};
    struct split_job *split = arena_alloc(whole->arena, sizeof *split);
    struct job_part *parts = arena_array(whole->arena, GROUPS, sizeof *parts);
    if (split == NULL || parts == NULL)
        return NULL;
    for (size_t i = 0; i < whole->count; i++)
        counts[group_of_each[i]]++;
    *split = (struct split_job){.parts = parts, .whole = whole};
    for (uint8_t group = 1; group < GROUPS; group++) {
        if (counts[group] == 0)
            continue;
        struct job_part *part = &parts[split->count++];
        *part = (struct job_part){.group = group, .split = split};
        if (!fill(part, group_of_each, counts[group]))
            return NULL;
    }
    atomic_init(&split->left, split->count);
    return note_names(split) ? split : NULL;
}
