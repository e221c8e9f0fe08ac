/* SPDX-License-Identifier: ISC */
/* The queue and the writer's thread. They decide which jobs are posted together, and answer each job.
 *
 * The thread takes all jobs that wait, up to a bound, and lets the writer post them. If events of a job must
 * wait for a scheme's head, the job is parked and tried again later. Jobs in the queue go on meanwhile. */
#include "app/posting/intake.h"

#include "app/posting/parking.h"
#include "app/posting/writer.h"
#include "base/clock.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <time.h>

struct intake {
    pthread_t thread;
    size_t waiting_max, batch_max;   /* events; set before the thread starts */
    int64_t half_ms;                 /* half of the deadline: for waiting, and for posting; set likewise */
    struct intake_listener listener; /* set likewise */
    pthread_mutex_t lock;
    pthread_cond_t wake;
    /* under the lock */
    struct job_list queue;
    size_t waiting_events;
    bool stopping;
    int64_t in_hand_ms; /* when the thread took the jobs that it works on; 0: it has none */
    /* the thread's own */
    struct writer writer;
    struct parking parking;
    /* written by the thread, read by any */
    atomic_uint_least64_t batches, events[EVENT_STATUSES];
};

/* Gives back the jobs that are done, and parks the others. */
static void finish(struct intake *intake, struct intake_job *jobs)
{
    while (jobs != NULL) {
        struct intake_job *job = jobs;
        jobs = job->next;
        if (parking_keep(&intake->parking, job))
            continue;
        job_settle_failure(job);
        job->done(job);
    }
}

/* Lists the events of a job that are to be posted. These are the events without faults of shape; of a job
 * that was parked, the events that still wait. */
static size_t list_pending(struct intake_job *job, bool was_parked, struct pending_event *pending)
{
    size_t count = 0;
    for (size_t i = 0; i < job->count; i++) {
        struct event_result *result = &job->results[i];
        if (was_parked ? !result->parked : result->faults.count > 0)
            continue;
        result->parked = false;
        pending[count++] = (struct pending_event){
            .submission = {.event = &job->events[i],
                           .result = result,
                           .comes_from = job->comes_from != NULL ? job->comes_from[i] : NULL,
                           .arena = job->arena},
            .job = job,
        };
    }
    return count;
}

static void count_results(struct intake *intake, const struct pending_run *run)
{
    uint64_t events[EVENT_STATUSES] = {0};
    for (size_t i = 0; i < run->count; i++) {
        const struct intake_job *job = run->events[i].job;
        const struct event_result *result = run->events[i].submission.result;
        events[result->status] += job->failure == REASON_NONE && !job->dry_run && !result->parked;
    }
    for (int status = 0; status < EVENT_STATUSES; status++)
        atomic_fetch_add_explicit(&intake->events[status], events[status], memory_order_relaxed);
    if (events[EVENT_RECORDED] > 0 && intake->listener.recorded != NULL)
        intake->listener.recorded(intake->listener.context);
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
    *health = (struct intake_health){.failed_at_ms = atomic_load(&intake->writer.failed_at_ms)};
    pthread_mutex_lock(&intake->lock);
    if (intake->queue.first != NULL)
        health->oldest_ms = now - intake->queue.first->submitted_ms;
    if (intake->in_hand_ms != 0 && now - intake->in_hand_ms > health->oldest_ms)
        health->oldest_ms = now - intake->in_hand_ms;
    pthread_mutex_unlock(&intake->lock);
}

/* Lists the events of all jobs that are not late, one job after the other. NULL: out of memory. */
static struct pending_event *list_jobs(struct intake *intake, struct intake_job *jobs, bool were_parked,
                                       size_t *count)
{
    size_t total = 0;
    for (struct intake_job *job = jobs; job != NULL; job = job->next)
        total += job->count;
    struct pending_event *pending = arena_array(&intake->writer.arena, total + 1, sizeof *pending);
    for (struct intake_job *job = jobs; job != NULL; job = job->next) {
        if (pending == NULL)
            job->failure = REASON_INTERNAL_ERROR;
        else if (!job_is_late(job, intake->half_ms))
            *count += list_pending(job, were_parked, pending + *count);
        else if (were_parked)
            job_give_up_parked(job);
        else
            job->failure = REASON_OVERLOADED;
    }
    return pending;
}

/* Returns whether any event was recorded or refused. */
static bool post_jobs(struct intake *intake, struct intake_job *jobs, enum held_heads held)
{
    struct pending_run run = {.held = held};
    bool progress = false;
    run.events = list_jobs(intake, jobs, held != HELD_HEADS_SKIPPED, &run.count);
    writer_post(&intake->writer, &run);
    if (run.count > 0)
        count_results(intake, &run);
    for (size_t i = 0; i < run.count; i++)
        progress = progress || !run.events[i].submission.result->parked;
    finish(intake, jobs);
    writer_end_run(&intake->writer);
    return progress;
}

static bool is_queue_empty(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    bool empty = intake->queue.first == NULL;
    pthread_mutex_unlock(&intake->lock);
    return empty;
}

/* The writer may wait for a head if another instance seems to have it, which lets go of it soon, or if there
 * is nothing else to do. Without waiting, an instance would starve if its head is nearly always taken. A wait
 * holds up events of other schemes, so it is brief if there are any, and after a wait in vain none is for a
 * while (head_wait_ms). */
static void retry_parked(struct intake *intake)
{
    bool may_wait = writer_assumes_other_writer(&intake->writer) || is_queue_empty(intake);
    bool progress = post_jobs(intake, parking_take(&intake->parking, intake->batch_max),
                              may_wait ? HELD_HEADS_AWAITED : HELD_HEADS_ASKED_FOR);
    parking_plan_retry(&intake->parking, progress);
}

static size_t counted(const struct intake_job *job)
{
    return job->beyond_bound ? 0 : job->count;
}

/* Sleeps until a job comes or parked jobs are due. Called under the lock. */
static void sleep_on(struct intake *intake)
{
    if (parking_is_empty(&intake->parking)) {
        pthread_cond_wait(&intake->wake, &intake->lock);
        return;
    }
    struct timespec until = {.tv_sec = intake->parking.retry_at_ms / 1000,
                             .tv_nsec = intake->parking.retry_at_ms % 1000 * 1000000};
    pthread_cond_clockwait(&intake->wake, &intake->lock, CLOCK_MONOTONIC, &until);
}

/* False: the service stops, and no job is left. */
static bool wait_for_jobs(struct intake *intake)
{
    pthread_mutex_lock(&intake->lock);
    intake->in_hand_ms = 0;
    while (intake->queue.first == NULL && !parking_is_due(&intake->parking) &&
           !(intake->stopping && parking_is_empty(&intake->parking)))
        sleep_on(intake);
    bool waiting = intake->queue.first != NULL || !parking_is_empty(&intake->parking);
    if (intake->queue.first != NULL)
        intake->in_hand_ms = clock_monotonic_ms();
    pthread_mutex_unlock(&intake->lock);
    return waiting;
}

/* Takes the jobs that wait, up to the bound. A dry run goes alone. NULL: no job waits. */
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

static void post_queue(struct intake *intake)
{
    if (is_queue_empty(intake))
        return;
    bool parked = !parking_is_empty(&intake->parking);
    writer_take_early_head(&intake->writer);
    (void)post_jobs(intake, take_jobs(intake), HELD_HEADS_SKIPPED);
    /* Try the first parked jobs at once: another instance's batch may be over by then. */
    if (!parked && !parking_is_empty(&intake->parking))
        parking_plan_retry(&intake->parking, true);
}

static void *run(void *argument)
{
    struct intake *intake = argument;
    while (wait_for_jobs(intake)) {
        if (parking_is_due(&intake->parking))
            retry_parked(intake);
        post_queue(intake);
    }
    return NULL;
}

/* Called under the lock. */
static bool has_room(const struct intake *intake, const struct intake_job *job)
{
    bool room = job->beyond_bound ||
                intake->waiting_events == 0 || /* a job larger than the bound goes alone */
                intake->waiting_events + job->count <= intake->waiting_max;
    return room && !intake->stopping;
}

/* Called under the lock. */
static void append(struct intake *intake, struct intake_job *job)
{
    job->failure = REASON_NONE;
    job->submitted_ms = clock_monotonic_ms();
    job_list_append(&intake->queue, job);
    intake->waiting_events += counted(job);
    pthread_cond_signal(&intake->wake);
}

bool intake_submit(const struct intake_place *places, size_t count)
{
    bool taken = true;
    for (size_t i = 0; i < count; i++)
        pthread_mutex_lock(&places[i].intake->lock);
    for (size_t i = 0; i < count; i++)
        taken = taken && has_room(places[i].intake, places[i].job);
    for (size_t i = 0; i < count && taken; i++)
        append(places[i].intake, places[i].job);
    for (size_t i = count; i-- > 0;)
        pthread_mutex_unlock(&places[i].intake->lock);
    return taken;
}

static void intake_free(struct intake *intake)
{
    writer_dispose(&intake->writer);
    pthread_cond_destroy(&intake->wake);
    pthread_mutex_destroy(&intake->lock);
    free(intake);
}

struct intake *intake_start(const struct config *config, struct snapshot_cache *cache,
                            const struct pg_stop *stop, struct intake_listener listener)
{
    struct intake *intake = calloc(1, sizeof *intake);
    if (intake == NULL)
        return NULL;
    pthread_mutex_init(&intake->lock, NULL);
    pthread_cond_init(&intake->wake, NULL);
    intake->waiting_max = (size_t)config->queue_events;
    intake->batch_max = (size_t)config->batch_events;
    intake->half_ms = config->post_deadline_ms / 2;
    intake->listener = listener;
    intake->parking = (struct parking){.events_max = intake->waiting_max, .wait_ms = intake->half_ms};
    struct pg *pg =
        pg_new(config->dsn, &(struct pg_bounds){.statement_ms = (int)intake->half_ms, .stop = stop});
    if (pg != NULL)
        pg_plan_once(pg);
    writer_init(&intake->writer, pg, cache, intake->half_ms);
    if (pg == NULL || pthread_create(&intake->thread, NULL, run, intake) != 0) {
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
