/* SPDX-License-Identifier: ISC */
/* The writer: its queue, its thread, and what becomes of a batch that fails.
 *
 * A batch is all that waits, up to a bound. It goes through or comes back as a whole; one that fails because
 * of one of its events is halved until that event stands alone, so that nobody else's event suffers.
 *
 * A job with events of a scheme whose head somebody else holds is parked until these are posted, or until it
 * is too late for it. Parked jobs are tried again among themselves, soon at first and then less often. Until
 * then new events of such a scheme are parked without asking the database. */
#include "app/posting/intake.h"

#include "app/posting/batch.h"
#include "app/transaction/retry.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/memory.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum {
    CAUTIOUS_BATCHES = 16, /* for so many batches after a surprise the writer asks the database first */
    RETRY_MS = 5, /* from one try of what is parked to the next; twice as long each time, up to … */
    RETRY_MAX_MS = 200
};

/* An event that is to be posted, and the job it belongs to. */
struct pending_event {
    struct submission submission;
    struct intake_job *job;
};

struct job_list {
    struct intake_job *first, *last;
};

struct intake {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    /* under the lock */
    struct job_list queue;
    size_t waiting_events;
    bool stopping;
    int64_t in_hand_ms; /* since when the writer has had what it works on; 0: nothing */
    /* the writer's own */
    struct snapshot_cache *snapshots;
    struct pg *pg;
    struct arena arena; /* of one batch */
    size_t waiting_max, batch_max;
    int64_t half_ms; /* of the deadline: to wait in, and to be posted in */
    struct kept_schemes kept;
    int replay_batches;       /* batches left during which ids are looked up first */
    int other_writer_batches; /* batches left during which we assume another writer … */
    struct early_head early;  /* … and the head that both want, if it is only one */
    struct job_list parked;
    size_t parked_events;
    int retry_ms;        /* the last pause before what is parked was tried again */
    int64_t retry_at_ms; /* the next time */
    bool retrying;
    bool may_wait; /* while it does: for a head */
    /* the writer's; read by others */
    atomic_uint_least64_t batches, events[EVENT_STATUSES];
    atomic_int_least64_t failed_at_ms;
};

static void append(struct job_list *list, struct intake_job *job)
{
    job->next = NULL;
    if (list->last != NULL)
        list->last->next = job;
    else
        list->first = job;
    list->last = job;
}

/* --- a stretch of events ------------------------------------------------------------------------------ */

/* Forgets what an attempt that was rolled back has left in the results. */
static void clear_results(struct pending_event *pending, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct event_result *result = pending[i].submission.result;
        struct arena *arena = result->faults.arena;
        *result = (struct event_result){0};
        faults_init(&result->faults, arena);
        if (pending[i].job->failure == REASON_UNAUTHENTICATED)
            pending[i].job->failure = REASON_NONE;
    }
}

/* Whether the event can only be parked, as far as is known. */
static bool is_held(const struct intake *intake, int32_t scheme)
{
    size_t id = (size_t)scheme;
    const struct kept_schemes *all = &intake->kept;
    return !intake->retrying && id < all->count && all->by_id[id] != NULL && kept_is_held(all->by_id[id]);
}

/* Finds site, scheme and permission of each event, and keeps those that may be posted now. *turned_away: some
 * may not be posted at all. False: out of memory. */
static bool admit(struct intake *intake, struct batch *batch, const struct pending_event *pending,
                  size_t count, bool *turned_away)
{
    batch->submissions = arena_array(batch->arena, count, sizeof *batch->submissions);
    for (size_t i = 0; i < count && batch->submissions != NULL; i++) {
        struct submission submission = pending[i].submission;
        submission.identity = snapshot_key(batch->snapshot, pending[i].job->key);
        if (submission.identity == NULL)
            pending[i].job->failure = REASON_UNAUTHENTICATED;
        if (submission.identity == NULL || !submission_admit(&batch->snapshot->network, &submission))
            *turned_away = true;
        else if (is_held(intake, submission.scheme->id))
            submission.result->parked = true;
        else
            batch->submissions[batch->count++] = submission;
    }
    return batch->submissions != NULL;
}

static void count_down(int *batches, bool met_again)
{
    if (met_again)
        *batches = CAUTIOUS_BATCHES;
    else if (*batches > 0)
        --*batches;
}

/* A replay is seldom alone, and neither is a batch of another instance. */
static enum store_result post(struct intake *intake, struct batch *batch)
{
    enum store_result result = batch_post(batch);
    count_down(&intake->replay_batches, batch->met_replay || result == STORE_CONFLICT);
    count_down(&intake->other_writer_batches, batch->met_other_writer);
    if (batch->met_other_writer)
        intake->early.scheme = batch->scheme_count == 1 ? batch->head_requests[0].scheme : 0;
    return result;
}

static void roll_back(struct intake *intake)
{
    pg_rollback(intake->pg);
    intake->early.taken = false;
}

/* The fastest way that is careful enough: at least `least`, and more careful for a while after a surprise. */
static enum batch_way choose_way(const struct intake *intake, enum batch_way least, bool dry_run)
{
    if (least == BATCH_LOOKS_UP || intake->replay_batches > 0 || dry_run)
        return BATCH_LOOKS_UP;
    if (least == BATCH_TAKES_HEADS || intake->other_writer_batches > 0)
        return BATCH_TAKES_HEADS;
    return BATCH_EXPECTS_HEADS;
}

/* Only an attempt that must look up renews the snapshot first. With an older snapshot the batch itself finds
 * out, under the heads, whether it may let events in; but an event that was turned away has to be tried
 * again. */
static enum store_result attempt(struct intake *intake, const struct pending_event *pending, size_t count,
                                 enum batch_way least)
{
    bool turned_away = false, renews_snapshot = least == BATCH_LOOKS_UP;
    struct batch batch = {
        .pg = intake->pg,
        .arena = &intake->arena,
        .kept = &intake->kept,
        .now = clock_now(),
        .dry_run = pending[0].job->dry_run,
        .way = choose_way(intake, least, pending[0].job->dry_run),
        .early = intake->early.taken ? &intake->early : NULL,
        .may_wait = intake->may_wait,
        .shares_heads = intake->other_writer_batches > 0 || least == BATCH_TAKES_HEADS,
    };
    memory_forget_failures();
    enum store_result result = renews_snapshot ? snapshot_refresh(intake->snapshots, intake->pg) : STORE_OK;
    if (result != STORE_OK)
        return result;
    batch.snapshot = snapshot_hold(intake->snapshots);
    if (batch.snapshot == NULL || !admit(intake, &batch, pending, count, &turned_away))
        result = batch.snapshot == NULL ? STORE_CONFLICT : STORE_FAILED;
    else if (!renews_snapshot && turned_away)
        result = STORE_CONFLICT;
    else if (batch.count > 0)
        result = post(intake, &batch);
    snapshot_release(batch.snapshot);
    roll_back(intake); /* what failed, a dry run, or an early head that was not used */
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

static void reject_alone(struct intake *intake, struct pending_event *event, enum store_result failure)
{
    struct event_result *result = event->submission.result;
    enum reason reason = reason_of(failure);
    log_write(LOG_ERROR, "an event could not be posted", "error", pg_last_error(intake->pg), NULL);
    result->status = EVENT_REJECTED;
    faults_add(&result->faults, reason, "", "%s",
               reason == REASON_OUT_OF_RANGE ? "a balance would become too large"
                                             : "the event could not be posted");
}

static bool is_the_databases(enum store_result failure)
{
    return failure == STORE_UNAVAILABLE || failure == STORE_TOO_SLOW || failure == STORE_OUTCOME_UNKNOWN;
}

/* The whole stretch failed for want of a database: nothing of it was recorded, or nobody knows. */
static void fail_all(struct intake *intake, struct pending_event *pending, size_t count,
                     enum store_result failure)
{
    for (size_t i = 0; i < count; i++)
        if (pending[i].job->failure != REASON_OUTCOME_UNKNOWN)
            pending[i].job->failure = reason_of(failure);
    if (is_the_databases(failure))
        atomic_store(&intake->failed_at_ms, clock_monotonic_ms());
}

static bool is_lost_race(enum store_result result)
{
    return result == STORE_CONFLICT || result == STORE_LOCKED;
}

/* Posts a stretch. retry.h says how often a lost race is tried again; how much each attempt asks of the
 * database before it writes is decided here. Any other failure is the fault of one of the events. Halving the
 * stretch until that event stands alone is no retry: it finds out which one it is. */
static void post_stretch(struct intake *intake, struct pending_event *pending, size_t count)
{
    enum store_result result =
        attempt(intake, pending, count, intake->retrying ? BATCH_TAKES_HEADS : BATCH_EXPECTS_HEADS);
    for (int tries = 1; retry_is_due(RETRYING_WRITER, result, tries); tries++) {
        clear_results(pending, count);
        result = attempt(intake, pending, count, result == STORE_LOCKED ? BATCH_TAKES_HEADS : BATCH_LOOKS_UP);
    }
    if (result == STORE_OK)
        return;
    clear_results(pending, count);
    if (is_the_databases(result) || is_lost_race(result)) {
        fail_all(intake, pending, count, result);
    } else if (count == 1) {
        reject_alone(intake, pending, result);
    } else {
        post_stretch(intake, pending, count / 2);
        post_stretch(intake, pending + count / 2, count - count / 2);
    }
}

/* --- jobs that are parked ------------------------------------------------------------------------------ */

static bool is_too_late(const struct intake *intake, const struct intake_job *job)
{
    return clock_monotonic_ms() - job->submitted_ms > intake->half_ms;
}

static size_t count_parked(const struct intake_job *job)
{
    size_t count = 0;
    for (size_t i = 0; i < job->count; i++)
        count += job->results[i].parked;
    return count;
}

/* Whether a part of the job is in the database, or will be. */
static bool is_partly_recorded(const struct intake_job *job)
{
    for (size_t i = 0; i < job->count; i++)
        if (job->results[i].entry != 0 || job->results[i].status == EVENT_PROPOSED)
            return true;
    return false;
}

/* The head was not to be had in time: the events that waited for it are turned away, and the whole job where
 * nothing else of it was recorded. */
static void turn_away(struct intake_job *job)
{
    bool partly = is_partly_recorded(job);
    if (!partly)
        job->failure = REASON_OVERLOADED;
    for (size_t i = 0; i < job->count; i++) {
        struct event_result *result = &job->results[i];
        if (result->parked && partly) {
            result->status = EVENT_REJECTED;
            faults_refuse(&result->faults, REASON_OVERLOADED);
        }
        result->parked = false;
    }
}

/* True: it is parked, and not done. */
static bool stays_parked(struct intake *intake, struct intake_job *job)
{
    size_t parked = job->failure == REASON_NONE ? count_parked(job) : 0;
    if (parked == 0)
        return false;
    if (is_too_late(intake, job) || intake->parked_events + parked > intake->waiting_max) {
        turn_away(job);
        return false;
    }
    append(&intake->parked, job);
    intake->parked_events += parked;
    return true;
}

/* The first ones that may be tried together; a dry run goes alone. */
static struct intake_job *take_parked(struct intake *intake)
{
    struct job_list taken = {NULL, NULL};
    size_t events = 0;
    while (intake->parked.first != NULL) {
        struct intake_job *job = intake->parked.first;
        size_t parked = count_parked(job);
        bool alone = job->dry_run || (taken.last != NULL && taken.last->dry_run);
        if (taken.first != NULL && (alone || events + parked > intake->batch_max))
            break;
        intake->parked.first = job->next;
        append(&taken, job);
        events += parked;
    }
    if (intake->parked.first == NULL)
        intake->parked.last = NULL;
    intake->parked_events -= events;
    return taken.first;
}

/* What could be posted says that a head is free again, or goes from hand to hand. */
static void plan_retry(struct intake *intake, bool progress)
{
    if (intake->parked.first == NULL || progress)
        intake->retry_ms = 0;
    intake->retry_at_ms = clock_monotonic_ms() + intake->retry_ms;
    intake->retry_ms = intake->retry_ms == 0 ? RETRY_MS : 2 * intake->retry_ms;
    if (intake->retry_ms > RETRY_MAX_MS)
        intake->retry_ms = RETRY_MAX_MS;
}

/* --- the thread ---------------------------------------------------------------------------------------- */

/* A job of which a part was posted before something went wrong must not say that nothing was recorded. */
static void settle_failure(struct intake_job *job)
{
    if (job->failure != REASON_NONE && is_partly_recorded(job))
        job->failure = REASON_OUTCOME_UNKNOWN;
}

/* Gives back what is done, and parks what is not. */
static void finish(struct intake *intake, struct intake_job *jobs)
{
    while (jobs != NULL) {
        struct intake_job *job = jobs;
        jobs = job->next;
        if (stays_parked(intake, job))
            continue;
        settle_failure(job);
        job->done(job);
    }
}

/* All events of a job that are fit to be posted; of one that was parked, those that still wait. */
static size_t list_pending(struct intake_job *job, bool parked, struct pending_event *pending)
{
    size_t count = 0;
    for (size_t i = 0; i < job->count; i++) {
        struct event_result *result = &job->results[i];
        if (parked ? !result->parked : result->faults.count > 0)
            continue; /* its shape was refused already */
        result->parked = false;
        pending[count++] = (struct pending_event){
            .submission = {.event = &job->events[i], .result = result, .arena = job->arena},
            .job = job,
        };
    }
    return count;
}

static void count_results(struct intake *intake, const struct pending_event *pending, size_t count)
{
    uint64_t events[EVENT_STATUSES] = {0};
    for (size_t i = 0; i < count; i++)
        events[pending[i].submission.result->status] += pending[i].job->failure == REASON_NONE &&
                                                        !pending[i].job->dry_run &&
                                                        !pending[i].submission.result->parked;
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

void intake_read_health(struct intake *intake, struct intake_health *health)
{
    int64_t now = clock_monotonic_ms();
    *health = (struct intake_health){.failed_at_ms = atomic_load(&intake->failed_at_ms)};
    pthread_mutex_lock(&intake->lock);
    if (intake->queue.first != NULL)
        health->oldest_ms = now - intake->queue.first->submitted_ms;
    if (intake->in_hand_ms != 0 && now - intake->in_hand_ms > health->oldest_ms)
        health->oldest_ms = now - intake->in_hand_ms;
    pthread_mutex_unlock(&intake->lock);
}

/* The events of all jobs for which it is not too late, one job after the other. NULL: out of memory. */
static struct pending_event *list_pending_of_all(struct intake *intake, struct intake_job *jobs,
                                                 size_t *count)
{
    size_t total = 0;
    for (struct intake_job *job = jobs; job != NULL; job = job->next)
        total += job->count;
    struct pending_event *pending = arena_array(&intake->arena, total + 1, sizeof *pending);
    for (struct intake_job *job = jobs; job != NULL; job = job->next) {
        if (pending == NULL)
            job->failure = REASON_INTERNAL_ERROR;
        else if (!is_too_late(intake, job))
            *count += list_pending(job, intake->retrying, pending + *count);
        else if (intake->retrying)
            turn_away(job);
        else
            job->failure = REASON_OVERLOADED;
    }
    return pending;
}

/* Returns whether anything of it was recorded or refused. */
static bool post_jobs(struct intake *intake, struct intake_job *jobs)
{
    size_t count = 0;
    bool progress = false;
    struct pending_event *pending = list_pending_of_all(intake, jobs, &count);
    pg_set_deadline(intake->pg, clock_monotonic_ms() + intake->half_ms);
    if (count > 0) {
        post_stretch(intake, pending, count);
        count_results(intake, pending, count);
    } else {
        roll_back(intake); /* lets go of the early head */
    }
    for (size_t i = 0; i < count; i++)
        progress = progress || !pending[i].submission.result->parked;
    finish(intake, jobs);
    arena_reset(&intake->arena);
    return progress;
}

static bool is_queue_empty(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    bool empty = intake->queue.first == NULL;
    pthread_mutex_unlock(&intake->lock);
    return empty;
}

/* Another instance that posts gives its head away soon; who else holds one is waited for only if nothing else
 * is to be done. Not to wait at all would let an instance starve whose head is nearly always taken. */
static void retry_parked(struct intake *intake)
{
    intake->retrying = true;
    intake->may_wait = intake->other_writer_batches > 0 || is_queue_empty(intake);
    bool progress = post_jobs(intake, take_parked(intake));
    intake->retrying = intake->may_wait = false;
    plan_retry(intake, progress);
}

static size_t counted(const struct intake_job *job)
{
    return job->beyond_bound ? 0 : job->count;
}

/* Under the lock: until a job comes, or it is time to try again what is parked. */
static void sleep_on(struct intake *intake)
{
    if (intake->parked.first == NULL) {
        pthread_cond_wait(&intake->wake, &intake->lock);
        return;
    }
    struct timespec until = {.tv_sec = intake->retry_at_ms / 1000,
                             .tv_nsec = intake->retry_at_ms % 1000 * 1000000};
    pthread_cond_clockwait(&intake->wake, &intake->lock, CLOCK_MONOTONIC, &until);
}

static bool is_time_to_retry(const struct intake *intake)
{
    return intake->parked.first != NULL && clock_monotonic_ms() >= intake->retry_at_ms;
}

/* False: stopping, and nothing is left. */
static bool wait_for_jobs(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    intake->in_hand_ms = 0;
    while (intake->queue.first == NULL && !is_time_to_retry(intake) &&
           !(intake->stopping && intake->parked.first == NULL))
        sleep_on(intake);
    bool waiting = intake->queue.first != NULL || intake->parked.first != NULL;
    if (intake->queue.first != NULL)
        intake->in_hand_ms = clock_monotonic_ms();
    pthread_mutex_unlock(&intake->lock);
    return waiting;
}

/* What waits, up to the bound; a dry run goes alone. NULL: nothing. */
static struct intake_job *take_jobs(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    struct intake_job *jobs = intake->queue.first, *last = jobs;
    if (jobs == NULL) {
        pthread_mutex_unlock(&intake->lock);
        return NULL;
    }
    size_t events = jobs->count, of_bound = counted(jobs);
    while (last->next != NULL && !last->dry_run && !last->next->dry_run &&
           events + last->next->count <= intake->batch_max) {
        last = last->next;
        events += last->count;
        of_bound += counted(last);
    }
    intake->queue.first = last->next;
    last->next = NULL;
    if (intake->queue.first == NULL)
        intake->queue.last = NULL;
    intake->waiting_events -= of_bound;
    pthread_mutex_unlock(&intake->lock);
    return jobs;
}

/* Not if the head is known to be held: another writer would have let go of it after its batch. */
static void take_early_head(struct intake *intake)
{
    if (intake->other_writer_batches == 0 || intake->replay_batches > 0 || intake->early.scheme == 0 ||
        is_held(intake, intake->early.scheme))
        return;
    pg_set_deadline(intake->pg, clock_monotonic_ms() + intake->half_ms);
    if (batch_take_early_head(&intake->early, intake->pg, &intake->arena, &intake->kept) == STORE_LOCKED)
        intake->other_writer_batches = 0;
}

static void post_queue(struct intake *intake)
{
    if (is_queue_empty(intake))
        return;
    bool parks = intake->parked.first != NULL;
    take_early_head(intake);
    (void)post_jobs(intake, take_jobs(intake));
    if (!parks && intake->parked.first != NULL)
        plan_retry(intake, true); /* at once: it may have been another instance's short batch */
}

static void *run(void *argument)
{
    struct intake *intake = argument;
    while (wait_for_jobs(intake)) {
        if (is_time_to_retry(intake))
            retry_parked(intake);
        post_queue(intake);
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
        job->failure = REASON_NONE;
        job->submitted_ms = clock_monotonic_ms();
        append(&intake->queue, job);
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
