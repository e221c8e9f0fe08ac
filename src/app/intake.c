/* SPDX-License-Identifier: ISC */
/* The writer: its queue, its thread, and the transaction in which a batch of events is posted.
 *
 * A batch is all that waits, up to a bound. It goes through or comes back as a whole; one that fails because
 * of one of its events is halved until that event stands alone, so that nobody else's event suffers. */
#include "app/intake.h"

#include "app/record.h"
#include "base/clock.h"
#include "base/log.h"

#include <assert.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { ATTEMPTS_MAX = 5 }; /* of a transaction that lost a race */

/* A scheme's calendar as the writer last saw it. */
struct kept_calendar {
    int32_t scheme;
    int64_t version;
    struct arena arena;
    struct calendar calendar;
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
    struct kept_calendar **calendars;
    size_t calendar_count, calendar_capacity;
};

/* A stretch of the batch's tasks, posted in one transaction. */
struct batch {
    struct intake *intake;
    const struct snapshot *snapshot;
    struct arena *arena;
    struct instant now;
    struct desk *desks; /* one for each scheme of the batch, ascending by scheme id */
    size_t desk_count;
    bool dry_run;
};

/* One event of the batch and the job that it belongs to. */
struct place {
    struct task task;
    struct intake_job *job;
    size_t index;
};

/* --- the calendars ------------------------------------------------------------------------------------- */

static struct kept_calendar *kept_calendar(struct intake *intake, int32_t scheme)
{
    for (size_t i = 0; i < intake->calendar_count; i++)
        if (intake->calendars[i]->scheme == scheme)
            return intake->calendars[i];
    if (intake->calendar_count == intake->calendar_capacity) {
        size_t capacity = intake->calendar_capacity * 2 + 8;
        struct kept_calendar **grown = realloc(intake->calendars, capacity * sizeof(struct kept_calendar *));
        if (grown == NULL)
            return NULL;
        intake->calendars = grown;
        intake->calendar_capacity = capacity;
    }
    struct kept_calendar *kept = calloc(1, sizeof *kept);
    if (kept == NULL)
        return NULL;
    kept->scheme = scheme;
    arena_init(&kept->arena, 0);
    intake->calendars[intake->calendar_count++] = kept;
    return kept;
}

static bool reaches(const struct calendar *calendar, struct instant instant)
{
    return calendar->count > 0 && calendar->days[calendar->count - 1].ends_at.us > instant.us;
}

/* The calendar at the head's version, extended to a little after now. */
static enum store_result current_calendar(struct batch *batch, const struct head *head,
                                          const struct calendar **calendar)
{
    struct intake *intake = batch->intake;
    struct kept_calendar *kept = kept_calendar(intake, head->scheme);
    struct instant until = {batch->now.us + FUTURE_ALLOWED_US};
    bool extended = false;
    enum store_result result = STORE_OK;
    if (kept == NULL)
        return STORE_FAILED;
    if (kept->version == head->calendar_version && reaches(&kept->calendar, until)) {
        *calendar = &kept->calendar;
        return STORE_OK;
    }
    kept->version = 0;
    result = store_calendar_extend(intake->pg, head->scheme, until, &extended);
    arena_reset(&kept->arena);
    if (result == STORE_OK)
        result = store_calendar(intake->pg, &kept->arena, head->scheme, &kept->calendar);
    /* What this transaction itself has changed may yet be rolled back: it is read again next time. */
    if (result == STORE_OK && !extended)
        kept->version = head->calendar_version;
    *calendar = &kept->calendar;
    return result;
}

/* --- one transaction ----------------------------------------------------------------------------------- */

static size_t distinct_schemes(const struct place *places, size_t count, int32_t *schemes)
{
    size_t found = 0;
    for (size_t i = 0; i < count; i++) {
        size_t at = 0;
        while (at < found && schemes[at] != places[i].task.scheme->id)
            at++;
        if (at == found)
            schemes[found++] = places[i].task.scheme->id;
    }
    return found;
}

static struct desk *desk_of(const struct batch *batch, int32_t scheme)
{
    for (size_t i = 0; i < batch->desk_count; i++)
        if (batch->desks[i].ledger.scheme->id == scheme)
            return &batch->desks[i];
    return NULL;
}

/* Reads for one desk what its events will ask for. */
static enum store_result prefetch(struct batch *batch, struct desk *desk, const struct place *places,
                                  size_t count)
{
    size_t own = 0;
    struct task *tasks = arena_array(batch->arena, count + 1, sizeof *tasks);
    if (tasks == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        if (desk_of(batch, places[i].task.scheme->id) == desk)
            tasks[own++] = places[i].task;
    return desk_prefetch(desk, tasks, own);
}

/* Takes the head rows and opens a desk for each. STORE_CONFLICT: the reference data has moved on. */
static enum store_result open_desks(struct batch *batch, const struct place *places, size_t count)
{
    struct intake *intake = batch->intake;
    size_t most = batch->snapshot->network.scheme_count, found = 0;
    int32_t *schemes = arena_array(batch->arena, most, sizeof *schemes);
    struct head *heads = arena_array(batch->arena, most, sizeof *heads);
    batch->desks = arena_array(batch->arena, most, sizeof *batch->desks);
    if (schemes == NULL || heads == NULL || batch->desks == NULL)
        return STORE_FAILED;
    size_t scheme_count = distinct_schemes(places, count, schemes);
    enum store_result result =
        store_heads_lock(intake->pg, batch->arena, schemes, scheme_count, heads, &found);
    if (result == STORE_OK && found != scheme_count)
        result = STORE_FAILED;
    for (size_t i = 0; i < found && result == STORE_OK; i++) {
        const struct calendar *calendar;
        if (heads[i].reference_version > batch->snapshot->network.version)
            return STORE_CONFLICT;
        result = current_calendar(batch, &heads[i], &calendar);
        if (result != STORE_OK)
            break;
        struct desk *desk = &batch->desks[batch->desk_count++];
        ledger_init(&desk->ledger, intake->pg, batch->arena, &batch->snapshot->network,
                    batch->snapshot->network.scheme_by_id[heads[i].scheme], calendar, heads[i].last_entry,
                    batch->now);
        desk_init(desk);
    }
    for (size_t i = 0; i < batch->desk_count && result == STORE_OK; i++)
        result = prefetch(batch, &batch->desks[i], places, count);
    return result;
}

static enum store_result post_places(struct batch *batch, struct place *places, size_t count)
{
    enum store_result result = pg_begin(batch->intake->pg);
    if (result == STORE_OK)
        result = open_desks(batch, places, count);
    for (size_t i = 0; i < count && result == STORE_OK; i++)
        result = record_event(desk_of(batch, places[i].task.scheme->id), &places[i].task);
    for (size_t i = 0; i < batch->desk_count && result == STORE_OK; i++)
        result = ledger_flush(&batch->desks[i].ledger);
    if (result == STORE_OK && !batch->dry_run)
        result = pg_commit(batch->intake->pg);
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
    }
}

/* Finds site, scheme and permission of each event; moves those that pass to the front and returns how many.
 */
static size_t admit(const struct batch *batch, struct place *places, size_t count)
{
    size_t admitted = 0;
    for (size_t i = 0; i < count; i++) {
        struct place place = places[i];
        place.task.identity = snapshot_key(batch->snapshot, place.job->key);
        if (place.task.identity == NULL)
            place.job->failure = REASON_UNAUTHENTICATED;
        else if (record_admit(&batch->snapshot->network, &place.task))
            places[admitted++] = place;
    }
    return admitted;
}

static enum store_result attempt(struct intake *intake, struct place *places, size_t *count)
{
    struct batch batch = {.intake = intake, .now = clock_now(), .arena = &intake->arena};
    enum store_result result = snapshot_refresh(intake->snapshots, intake->pg);
    if (result != STORE_OK)
        return result;
    batch.snapshot = snapshot_hold(intake->snapshots);
    batch.dry_run = places[0].job->dry_run;
    *count = admit(&batch, places, *count);
    if (*count > 0)
        result = post_places(&batch, places, *count);
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

static void reject_alone(struct place *place, enum store_result failure)
{
    struct event_result *result = place->task.result;
    enum reason reason = reason_of(failure);
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

/* Posts a stretch; halves it when an event of it makes the transaction fail. */
static void post_stretch(struct intake *intake, struct place *places, size_t count)
{
    enum store_result result = STORE_CONFLICT;
    size_t admitted = count;
    for (int tries = 0; tries < ATTEMPTS_MAX && result == STORE_CONFLICT; tries++) {
        if (tries > 0)
            clear_results(places, admitted);
        result = attempt(intake, places, &admitted);
    }
    if (result == STORE_OK)
        return;
    clear_results(places, admitted);
    if (result == STORE_UNAVAILABLE || result == STORE_OUTCOME_UNKNOWN || result == STORE_CONFLICT) {
        fail_places(places, admitted, result);
    } else if (admitted <= 1) {
        log_write(LOG_ERROR, "an event could not be posted", "error", pg_last_error(intake->pg), NULL);
        for (size_t i = 0; i < admitted; i++)
            reject_alone(&places[i], result);
    } else {
        post_stretch(intake, places, admitted / 2);
        post_stretch(intake, places + admitted / 2, admitted - admitted / 2);
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
            .index = i,
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
    bool taken = !intake->stopping && intake->waiting_events + job->count <= intake->waiting_max;
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
    for (size_t i = 0; i < intake->calendar_count; i++) {
        arena_dispose(&intake->calendars[i]->arena);
        free(intake->calendars[i]);
    }
    free(intake->calendars);
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
