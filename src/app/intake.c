/* SPDX-License-Identifier: ISC */
/* The writer: its queue, its thread, and the transaction in which a batch of events is posted.
 *
 * A batch is all that waits, up to a bound. It goes through or comes back as a whole; one that fails because
 * of one of its events is halved until that event stands alone, so that nobody else's event suffers. */
#include "app/intake.h"

#include "app/kept_scheme.h"
#include "app/record.h"
#include "base/clock.h"
#include "base/log.h"

#include <assert.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { ATTEMPTS_MAX = 5 }; /* of a transaction that lost a race */

struct intake {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    /* under the lock */
    struct intake_job *first, *last;
    size_t waiting_events;
    bool stopping;
    /* the writer's own */
    struct snapshot_cache *snapshots;
    struct pg *pg;
    struct arena arena; /* of one batch */
    size_t waiting_max, batch_max;
    struct kept_schemes kept;
};

/* One event of the batch and the job that it belongs to. */
struct place {
    struct task task;
    struct intake_job *job;
};

/* A stretch of the batch, posted in one transaction. */
struct batch {
    struct intake *intake;
    const struct snapshot *snapshot;
    struct arena *arena;
    struct instant now;
    bool dry_run;
    struct place *places; /* those that may be posted */
    size_t count;
    struct opening *openings; /* one for each scheme, ascending … */
    struct desk *desks;       /* … and parallel to them */
    size_t desk_count;
};

/* --- one transaction ----------------------------------------------------------------------------------- */

static int compare_schemes(const void *a, const void *b)
{
    int32_t left = ((const struct opening *)a)->scheme, right = ((const struct opening *)b)->scheme;
    return (left > right) - (left < right);
}

/* The scheme's opening, or NULL. */
static struct opening *opening_of(const struct batch *batch, int32_t scheme)
{
    for (size_t i = 0; i < batch->desk_count; i++)
        if (batch->openings[i].scheme == scheme)
            return &batch->openings[i];
    return NULL;
}

static struct desk *desk_of(const struct batch *batch, int32_t scheme)
{
    return &batch->desks[opening_of(batch, scheme) - batch->openings];
}

/* An opening for each scheme, with the ids of its events. */
static enum store_result make_openings(struct batch *batch)
{
    size_t most = batch->snapshot->network.scheme_count;
    batch->openings = arena_array(batch->arena, most, sizeof *batch->openings);
    batch->desks = arena_array(batch->arena, most, sizeof *batch->desks);
    if (batch->openings == NULL || batch->desks == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < batch->count; i++) {
        int32_t scheme = batch->places[i].task.scheme->id;
        struct opening *opening = opening_of(batch, scheme);
        if (opening == NULL)
            opening = &batch->openings[batch->desk_count++], opening->scheme = scheme;
        opening->id_count++;
    }
    qsort(batch->openings, batch->desk_count, sizeof *batch->openings, compare_schemes);
    for (size_t i = 0; i < batch->desk_count; i++) {
        struct opening *opening = &batch->openings[i];
        struct uuid *ids = arena_array(batch->arena, opening->id_count, sizeof *ids);
        if (ids == NULL)
            return STORE_FAILED;
        opening->ids = ids;
        for (size_t p = 0; p < batch->count; p++)
            if (batch->places[p].task.scheme->id == opening->scheme)
                *ids++ = batch->places[p].task.event->id;
    }
    return STORE_OK;
}

static enum store_result open_desk(struct batch *batch, const struct opening *opening, struct desk *desk)
{
    struct intake *intake = batch->intake;
    const struct network *network = &batch->snapshot->network;
    const struct calendar *calendar;
    struct kept_scheme *kept = kept_scheme(&intake->kept, opening->scheme);
    if (kept == NULL)
        return STORE_FAILED;
    enum store_result result = kept_calendar(kept, intake->pg, &opening->head, batch->now, &calendar);
    if (result != STORE_OK)
        return result;
    ledger_init(&desk->ledger, intake->pg, batch->arena, network, network->scheme_by_id[opening->scheme],
                calendar, kept_state(kept, &opening->head), batch->now);
    return desk_open(desk, opening->known, opening->known_count);
}

/* Reads for one desk what its events will ask for. */
static enum store_result prefetch(const struct batch *batch, struct desk *desk)
{
    size_t own = 0;
    struct task *tasks = arena_array(batch->arena, batch->count + 1, sizeof *tasks);
    if (tasks == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < batch->count; i++)
        if (desk_of(batch, batch->places[i].task.scheme->id) == desk)
            tasks[own++] = batch->places[i].task;
    return desk_prefetch(desk, tasks, own);
}

/* Takes the head rows and opens a desk for each. STORE_CONFLICT: reference data or keys have moved on. */
static enum store_result begin(struct batch *batch)
{
    int64_t version;
    enum store_result result = make_openings(batch);
    if (result == STORE_OK)
        result =
            store_batch_begin(batch->intake->pg, batch->arena, batch->openings, batch->desk_count, &version);
    if (result == STORE_OK && version > batch->snapshot->network.version)
        result = STORE_CONFLICT;
    for (size_t i = 0; i < batch->desk_count && result == STORE_OK; i++)
        result = open_desk(batch, &batch->openings[i], &batch->desks[i]);
    for (size_t i = 0; i < batch->desk_count && result == STORE_OK; i++)
        result = prefetch(batch, &batch->desks[i]);
    return result;
}

/* Writes it all and commits, in one round trip. */
static enum store_result end(struct batch *batch)
{
    struct pg *pg = batch->intake->pg;
    enum store_result result = pg_pipeline_begin(pg);
    for (size_t i = 0; i < batch->desk_count && result == STORE_OK; i++)
        result = ledger_flush(&batch->desks[i].ledger);
    if (result != STORE_OK)
        return result;
    if (batch->dry_run)
        return pg_pipeline_end(pg);
    result = pg_commit(pg);
    for (size_t i = 0; i < batch->desk_count && result == STORE_OK; i++)
        kept_state_confirm(kept_scheme(&batch->intake->kept, batch->openings[i].scheme));
    return result;
}

static enum store_result post(struct batch *batch)
{
    enum store_result result = begin(batch);
    for (size_t i = 0; i < batch->count && result == STORE_OK; i++)
        result = record_event(desk_of(batch, batch->places[i].task.scheme->id), &batch->places[i].task);
    if (result == STORE_OK)
        result = end(batch);
    pg_rollback(batch->intake->pg); /* of what failed, and of a dry run */
    for (size_t i = 0; i < batch->desk_count; i++)
        ledger_dispose(&batch->desks[i].ledger);
    return result;
}

/* Forgets what an attempt that was rolled back has left in the results. */
static void clear_results(struct place *places, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct event_result *result = places[i].task.result;
        struct arena *arena = result->faults.arena;
        *result = (struct event_result){0};
        faults_init(&result->faults, arena);
        if (places[i].job->failure == REASON_UNAUTHENTICATED)
            places[i].job->failure = REASON_NONE;
    }
}

/* Finds site, scheme and permission of each event, and keeps those that may be posted. False: out of memory.
 */
static bool admit(struct batch *batch, const struct place *places, size_t count)
{
    batch->places = arena_array(batch->arena, count, sizeof *batch->places);
    for (size_t i = 0; i < count && batch->places != NULL; i++) {
        struct place place = places[i];
        place.task.identity = snapshot_key(batch->snapshot, place.job->key);
        if (place.task.identity == NULL)
            place.job->failure = REASON_UNAUTHENTICATED;
        else if (record_admit(&batch->snapshot->network, &place.task))
            batch->places[batch->count++] = place;
    }
    return batch->places != NULL;
}

/* With `asked`, the snapshot is made current first. Without, it may be old: then an event that is let in is
 * seen to be so under the head row, and one that is turned away must be looked at again. */
static enum store_result attempt(struct intake *intake, const struct place *places, size_t count, bool asked)
{
    struct batch batch = {.intake = intake, .now = clock_now(), .arena = &intake->arena};
    enum store_result result = asked ? snapshot_refresh(intake->snapshots, intake->pg) : STORE_OK;
    if (result != STORE_OK)
        return result;
    batch.snapshot = snapshot_hold(intake->snapshots);
    batch.dry_run = places[0].job->dry_run;
    if (batch.snapshot == NULL || !admit(&batch, places, count))
        result = batch.snapshot == NULL ? STORE_CONFLICT : STORE_FAILED;
    else if (!asked && batch.count < count)
        result = STORE_CONFLICT;
    else if (batch.count > 0)
        result = post(&batch);
    snapshot_release(batch.snapshot);
    return result;
}

static enum reason reason_of(enum store_result result)
{
    switch (result) {
    case STORE_OUT_OF_RANGE:
        return REASON_OUT_OF_RANGE;
    case STORE_OUTCOME_UNKNOWN:
        return REASON_OUTCOME_UNKNOWN;
    case STORE_UNAVAILABLE:
    case STORE_CONFLICT:
        return REASON_OVERLOADED;
    default:
        return REASON_INTERNAL_ERROR;
    }
}

static void reject_alone(struct intake *intake, struct place *place, enum store_result failure)
{
    struct event_result *result = place->task.result;
    enum reason reason = reason_of(failure);
    log_write(LOG_ERROR, "an event could not be posted", "error", pg_last_error(intake->pg), NULL);
    result->status = EVENT_REJECTED;
    faults_add(&result->faults, reason, "", "%s",
               reason == REASON_OUT_OF_RANGE ? "a balance would become too large"
                                             : "the event could not be posted");
}

/* The whole stretch failed for want of a database: nothing of it was recorded, or nobody knows. */
static void fail_places(struct place *places, size_t count, enum store_result failure)
{
    for (size_t i = 0; i < count; i++)
        if (places[i].job->failure != REASON_OUTCOME_UNKNOWN)
            places[i].job->failure = reason_of(failure);
}

/* Nothing was recorded, and it may go better now: a race was lost, or the connection turned out to have
 * broken. */
static bool is_worth_another(enum store_result result, int tries)
{
    return (result == STORE_CONFLICT && tries < ATTEMPTS_MAX) || (result == STORE_UNAVAILABLE && tries == 1);
}

/* Posts a stretch; halves it when an event of it makes the transaction fail. */
static void post_stretch(struct intake *intake, struct place *places, size_t count)
{
    enum store_result result = attempt(intake, places, count, false);
    for (int tries = 1; is_worth_another(result, tries); tries++) {
        clear_results(places, count);
        result = attempt(intake, places, count, true);
    }
    if (result == STORE_OK)
        return;
    clear_results(places, count);
    if (result == STORE_UNAVAILABLE || result == STORE_OUTCOME_UNKNOWN || result == STORE_CONFLICT) {
        fail_places(places, count, result);
    } else if (count == 1) {
        reject_alone(intake, places, result);
    } else {
        post_stretch(intake, places, count / 2);
        post_stretch(intake, places + count / 2, count - count / 2);
    }
}

/* --- the thread ---------------------------------------------------------------------------------------- */

/* A job of which a part was posted before something went wrong must not say that nothing was recorded. */
static void settle_failure(struct intake_job *job)
{
    if (job->failure == REASON_NONE)
        return;
    for (size_t i = 0; i < job->count; i++)
        if (job->results[i].entry != 0)
            job->failure = REASON_OUTCOME_UNKNOWN;
}

static void finish(struct intake_job *jobs)
{
    while (jobs != NULL) {
        struct intake_job *job = jobs;
        jobs = job->next;
        settle_failure(job);
        job->done(job);
    }
}

static size_t add_places(struct intake_job *job, struct place *places)
{
    size_t count = 0;
    for (size_t i = 0; i < job->count; i++) {
        if (job->results[i].faults.count > 0)
            continue; /* its shape was refused already */
        places[count++] = (struct place){
            .task = {.event = &job->events[i], .result = &job->results[i], .arena = job->arena},
            .job = job,
        };
    }
    return count;
}

static void post_jobs(struct intake *intake, struct intake_job *jobs)
{
    size_t total = 0, count = 0;
    for (struct intake_job *job = jobs; job != NULL; job = job->next)
        total += job->count;
    struct place *places = arena_array(&intake->arena, total + 1, sizeof *places);
    for (struct intake_job *job = jobs; job != NULL; job = job->next) {
        if (places != NULL)
            count += add_places(job, places + count);
        else
            job->failure = REASON_INTERNAL_ERROR;
    }
    if (count > 0)
        post_stretch(intake, places, count);
    finish(jobs);
    arena_reset(&intake->arena);
}

/* Takes what waits, up to the bound; a dry run goes alone. NULL: stopping, and nothing is left. */
static struct intake_job *take_jobs(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    while (intake->first == NULL && !intake->stopping)
        pthread_cond_wait(&intake->wake, &intake->lock);
    struct intake_job *jobs = intake->first, *last = jobs;
    size_t events = jobs != NULL ? jobs->count : 0;
    while (last != NULL && last->next != NULL && !last->dry_run && !last->next->dry_run &&
           events + last->next->count <= intake->batch_max) {
        last = last->next;
        events += last->count;
    }
    if (last != NULL) {
        intake->first = last->next;
        last->next = NULL;
        if (intake->first == NULL)
            intake->last = NULL;
        intake->waiting_events -= events;
    }
    pthread_mutex_unlock(&intake->lock);
    return jobs;
}

static void *run(void *argument)
{
    struct intake *intake = argument;
    struct intake_job *jobs;
    while ((jobs = take_jobs(intake)) != NULL)
        post_jobs(intake, jobs);
    return NULL;
}

bool intake_submit(struct intake *intake, struct intake_job *job)
{
    pthread_mutex_lock(&intake->lock);
    bool room = job->beyond_bound || intake->waiting_events + job->count <= intake->waiting_max;
    bool taken = room && !intake->stopping;
    if (taken) {
        job->next = NULL;
        job->failure = REASON_NONE;
        if (intake->last != NULL)
            intake->last->next = job;
        else
            intake->first = job;
        intake->last = job;
        intake->waiting_events += job->count;
        pthread_cond_signal(&intake->wake);
    }
    pthread_mutex_unlock(&intake->lock);
    return taken;
}

static void intake_free(struct intake *intake)
{
    kept_schemes_dispose(&intake->kept);
    arena_dispose(&intake->arena);
    pg_free(intake->pg);
    pthread_cond_destroy(&intake->wake);
    pthread_mutex_destroy(&intake->lock);
    free(intake);
}

struct intake *intake_start(const struct config *config, struct snapshot_cache *cache)
{
    struct intake *intake = calloc(1, sizeof *intake);
    if (intake == NULL)
        return NULL;
    pthread_mutex_init(&intake->lock, NULL);
    pthread_cond_init(&intake->wake, NULL);
    arena_init(&intake->arena, 0);
    intake->snapshots = cache;
    intake->waiting_max = (size_t)config->queue_events;
    intake->batch_max = (size_t)config->batch_events;
    intake->pg = pg_new(config->dsn);
    if (intake->pg == NULL || pthread_create(&intake->thread, NULL, run, intake) != 0) {
        intake_free(intake);
        return NULL;
    }
    return intake;
}

void intake_stop(struct intake *intake)
{
    if (intake == NULL)
        return;
    pthread_mutex_lock(&intake->lock);
    intake->stopping = true;
    pthread_cond_signal(&intake->wake);
    pthread_mutex_unlock(&intake->lock);
    pthread_join(intake->thread, NULL);
    intake_free(intake);
}
