/* SPDX-License-Identifier: ISC */
/* The writer: its queue, its thread, and what becomes of a batch that fails.
 *
 * A batch is all that waits, up to a bound. It goes through or comes back as a whole; one that fails because
 * of one of its events is halved until that event stands alone, so that nobody else's event suffers. */
#include "app/intake.h"

#include "app/batch.h"
#include "base/clock.h"
#include "base/log.h"

#include <assert.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

enum {
    ATTEMPTS_MAX = 5, /* of a transaction that lost a race */
    CAUTION = 16      /* batches that don't take it that all is well, after one for which it was not */
};

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
    int64_t half_ms; /* of the deadline: for a batch with all its attempts */
    struct kept_schemes kept;
    int replays;      /* so many more batches look their ids up */
    int company;      /* so many more batches take it that another instance posts, too … */
    struct turn turn; /* … whose head the two take in turn, if it is only one */
    /* the writer's; read by others */
    atomic_uint_least64_t batches, events[EVENT_STATUSES];
};

const char *event_status_word(enum event_status status)
{
    static const char *const words[] = {
#define X(name, word) #word,
        EVENT_STATUS_TABLE(X)
#undef X
    };
    static_assert(sizeof words / sizeof words[0] == EVENT_STATUSES, "a word for each status");
    assert(status < EVENT_STATUSES);
    return words[status];
}

/* --- a stretch of events ------------------------------------------------------------------------------ */

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

static void remember(int *caution, bool met)
{
    if (met)
        *caution = CAUTION;
    else if (*caution > 0)
        --*caution;
}

/* Replays come in flocks, and so do another instance's batches. */
static enum store_result post(struct intake *intake, struct batch *batch)
{
    enum store_result result = batch_post(batch);
    remember(&intake->replays, batch->met_replay || result == STORE_CONFLICT);
    remember(&intake->company, batch->met_others);
    if (batch->met_others)
        intake->turn.scheme = batch->desk_count == 1 ? batch->openings[0].scheme : 0;
    return result;
}

static void give_up(struct intake *intake)
{
    pg_rollback(intake->pg);
    intake->turn.taken = false;
}

/* With `asked`, the snapshot is made current first. Without, it may be old: then an event that is let in is
 * seen to be so under the head row, and one that is turned away must be looked at again. */
static enum store_result attempt(struct intake *intake, const struct place *places, size_t count, bool asked)
{
    struct batch batch = {
        .pg = intake->pg,
        .arena = &intake->arena,
        .kept = &intake->kept,
        .now = clock_now(),
        .dry_run = places[0].job->dry_run,
        .turn = intake->turn,
        .takes_heads = intake->company > 0,
        .looks_up = asked || intake->replays > 0 || places[0].job->dry_run,
    };
    enum store_result result = asked ? snapshot_refresh(intake->snapshots, intake->pg) : STORE_OK;
    if (result != STORE_OK)
        return result;
    batch.snapshot = snapshot_hold(intake->snapshots);
    if (batch.snapshot == NULL || !admit(&batch, places, count))
        result = batch.snapshot == NULL ? STORE_CONFLICT : STORE_FAILED;
    else if (!asked && batch.count < count)
        result = STORE_CONFLICT;
    else if (batch.count > 0)
        result = post(intake, &batch);
    snapshot_release(batch.snapshot);
    give_up(intake); /* what failed, a dry run, a turn that was not used */
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
    case STORE_TOO_SLOW:
    case STORE_CONFLICT:
    case STORE_LOCKED:
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
    if (result == STORE_UNAVAILABLE || result == STORE_TOO_SLOW || result == STORE_OUTCOME_UNKNOWN ||
        result == STORE_CONFLICT || result == STORE_LOCKED) {
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
        if (job->results[i].entry != 0 || job->results[i].status == EVENT_PROPOSED)
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

static void count_results(struct intake *intake, const struct place *places, size_t count)
{
    uint64_t events[EVENT_STATUSES] = {0};
    for (size_t i = 0; i < count; i++)
        events[places[i].task.result->status] +=
            places[i].job->failure == REASON_NONE && !places[i].job->dry_run;
    for (int status = 0; status < EVENT_STATUSES; status++)
        atomic_fetch_add_explicit(&intake->events[status], events[status], memory_order_relaxed);
    atomic_fetch_add_explicit(&intake->batches, 1, memory_order_relaxed);
}

void intake_read_figures(struct intake *intake, struct intake_figures *figures)
{
    pthread_mutex_lock(&intake->lock);
    figures->waiting_events = intake->waiting_events;
    pthread_mutex_unlock(&intake->lock);
    figures->batches = atomic_load_explicit(&intake->batches, memory_order_relaxed);
    for (int status = 0; status < EVENT_STATUSES; status++)
        figures->events[status] = atomic_load_explicit(&intake->events[status], memory_order_relaxed);
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
    pg_set_deadline(intake->pg, clock_monotonic_ms() + intake->half_ms);
    if (count > 0) {
        post_stretch(intake, places, count);
        count_results(intake, places, count);
    } else {
        give_up(intake); /* the turn */
    }
    finish(jobs);
    arena_reset(&intake->arena);
}

static size_t counted(const struct intake_job *job)
{
    return job->beyond_bound ? 0 : job->count;
}

/* False: stopping, and nothing is left. */
static bool wait_for_jobs(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    while (intake->first == NULL && !intake->stopping)
        pthread_cond_wait(&intake->wake, &intake->lock);
    bool waiting = intake->first != NULL;
    pthread_mutex_unlock(&intake->lock);
    return waiting;
}

/* What waits, up to the bound; a dry run goes alone. */
static struct intake_job *take_jobs(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    struct intake_job *jobs = intake->first, *last = jobs;
    size_t events = jobs->count, of_bound = counted(jobs);
    while (last->next != NULL && !last->dry_run && !last->next->dry_run &&
           events + last->next->count <= intake->batch_max) {
        last = last->next;
        events += last->count;
        of_bound += counted(last);
    }
    intake->first = last->next;
    last->next = NULL;
    if (intake->first == NULL)
        intake->last = NULL;
    intake->waiting_events -= of_bound;
    pthread_mutex_unlock(&intake->lock);
    return jobs;
}

static void *run(void *argument)
{
    struct intake *intake = argument;
    while (wait_for_jobs(intake)) {
        pg_set_deadline(intake->pg, clock_monotonic_ms() + intake->half_ms);
        if (intake->company > 0 && intake->replays == 0 && intake->turn.scheme != 0)
            batch_take_turn(&intake->turn, intake->pg, &intake->arena, &intake->kept);
        post_jobs(intake, take_jobs(intake));
    }
    return NULL;
}

bool intake_submit(struct intake *intake, struct intake_job *job)
{
    pthread_mutex_lock(&intake->lock);
    bool room = job->beyond_bound ||
                intake->waiting_events == 0 || /* a job larger than the bound goes alone */
                intake->waiting_events + job->count <= intake->waiting_max;
    bool taken = room && !intake->stopping;
    if (taken) {
        job->next = NULL;
        job->failure = REASON_NONE;
        if (intake->last != NULL)
            intake->last->next = job;
        else
            intake->first = job;
        intake->last = job;
        intake->waiting_events += counted(job);
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

struct intake *intake_start(const struct config *config, struct snapshot_cache *cache,
                            const struct pg_stop *stop)
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
    intake->half_ms = config->post_deadline_ms / 2;
    intake->pg = pg_new(config->dsn, &(struct pg_bounds){.statement_ms = (int)intake->half_ms, .stop = stop});
    if (intake->pg != NULL)
        pg_plan_once(intake->pg);
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
