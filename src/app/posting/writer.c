/* SPDX-License-Identifier: ISC */
/* A run of events is posted as one batch, which goes through or comes back as a whole. A batch that lost a
 * race is tried again, more carefully. A batch that fails because of one of its events is halved until that
 * event stands alone, so that nobody else's event suffers. */
#include "app/posting/writer.h"

#include "app/transaction/retry.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/memory.h"

enum { KEPT_BYTES_MAX = 128 << 20 };
enum { CAUTIOUS_BATCHES = 16 /* after a surprise the writer asks the database first, for so many batches */ };

void writer_init(struct writer *writer, struct pg *pg, struct snapshot_cache *snapshots, int64_t post_ms)
{
    *writer = (struct writer){.pg = pg, .snapshots = snapshots, .post_ms = post_ms};
    writer->kept.bytes_max = KEPT_BYTES_MAX;
    arena_init(&writer->arena, 0);
}

void writer_dispose(struct writer *writer)
{
    kept_schemes_dispose(&writer->kept);
    arena_dispose(&writer->arena);
    pg_free(writer->pg);
}

bool writer_assumes_other_writer(const struct writer *writer)
{
    return writer->other_writer_batches > 0;
}

/* Forgets what an attempt that was rolled back has left in the results. */
static void clear_results(const struct pending_run *run)
{
    for (size_t i = 0; i < run->count; i++) {
        struct event_result *result = run->events[i].submission.result;
        struct arena *arena = result->faults.arena;
        *result = (struct event_result){0};
        faults_init(&result->faults, arena);
        if (run->events[i].job->failure == REASON_UNAUTHENTICATED)
            run->events[i].job->failure = REASON_NONE;
    }
}

/* Whether somebody else held the scheme's head the last time. */
static bool was_held(const struct writer *writer, int32_t scheme)
{
    size_t id = (size_t)scheme;
    const struct kept_schemes *all = &writer->kept;
    return id < all->count && all->by_id[id] != NULL && kept_is_held(all->by_id[id]);
}

static bool is_skipped(const struct writer *writer, const struct pending_run *run,
                       const struct submission *submission)
{
    return run->held == HELD_HEADS_SKIPPED && was_held(writer, submission->scheme->id);
}

/* Finds site, scheme and permission of each event, and puts into the batch those that may be posted now.
 * *turned_away: some may not be posted at all. False: out of memory. */
static bool admit(const struct writer *writer, struct batch *batch, const struct pending_run *run,
                  bool *turned_away)
{
    batch->submissions = arena_array(batch->arena, run->count, sizeof *batch->submissions);
    if (batch->submissions == NULL ||
        !waiting_init(&batch->waiting, batch->arena, &batch->snapshot->network, run->count))
        return false;
    waiting_begin(&batch->waiting);
    for (size_t i = 0; i < run->count; i++) {
        struct submission submission = run->events[i].submission;
        submission.identity = snapshot_key(batch->snapshot, run->events[i].job->key);
        if (submission.identity == NULL)
            run->events[i].job->failure = REASON_UNAUTHENTICATED;
        if (submission.identity == NULL || !submission_admit(&batch->snapshot->network, &submission))
            *turned_away = true;
        else if (!waiting_meets(&batch->waiting, &submission, is_skipped(writer, run, &submission)))
            batch->submissions[batch->count++] = submission;
    }
    return true;
}

static void count_down(int *batches, bool met_again)
{
    if (met_again)
        *batches = CAUTIOUS_BATCHES;
    else if (*batches > 0)
        --*batches;
}

/* Where there was one replay, more are likely; the same is true of batches of another instance. */
static enum store_result post(struct writer *writer, struct batch *batch)
{
    enum store_result result = batch_post(batch);
    count_down(&writer->replay_batches, batch->met_replay || result == STORE_CONFLICT);
    count_down(&writer->other_writer_batches, batch->met_other_writer);
    if (batch->met_other_writer)
        writer->early.scheme = batch->scheme_count == 1 ? batch->head_requests[0].scheme : 0;
    return result;
}

static void roll_back(struct writer *writer)
{
    pg_rollback(writer->pg);
    writer->early.taken = false;
}

/* The fastest way that is careful enough: at least as careful as `least`, and more so for a while after a
 * surprise. */
static enum batch_way choose_way(const struct writer *writer, enum batch_way least, bool dry_run)
{
    if (least == BATCH_LOOKS_UP || writer->replay_batches > 0 || dry_run)
        return BATCH_LOOKS_UP;
    if (least == BATCH_TAKES_HEADS || writer->other_writer_batches > 0)
        return BATCH_TAKES_HEADS;
    return BATCH_EXPECTS_HEADS;
}

/* Only an attempt that must look up renews the snapshot first. With an older snapshot the batch itself finds
 * out, under the heads, whether it may let events in; but an event that was turned away has to be tried
 * again. */
static enum store_result attempt(struct writer *writer, const struct pending_run *run, enum batch_way least)
{
    bool turned_away = false, renews_snapshot = least == BATCH_LOOKS_UP;
    bool dry_run = run->events[0].job->dry_run;
    struct batch batch = {
        .pg = writer->pg,
        .arena = &writer->arena,
        .kept = &writer->kept,
        .now = clock_now(),
        .dry_run = dry_run,
        .way = choose_way(writer, least, dry_run),
        .early = writer->early.taken ? &writer->early : NULL,
        .may_wait = run->held == HELD_HEADS_AWAITED,
        .shares_heads = writer->other_writer_batches > 0 || least == BATCH_TAKES_HEADS,
    };
    memory_forget_failures();
    enum store_result result = renews_snapshot ? snapshot_refresh(writer->snapshots, writer->pg) : STORE_OK;
    if (result != STORE_OK)
        return result;
    batch.snapshot = snapshot_hold(writer->snapshots);
    if (batch.snapshot == NULL || !admit(writer, &batch, run, &turned_away))
        result = batch.snapshot == NULL ? STORE_CONFLICT : STORE_FAILED;
    else if (!renews_snapshot && turned_away)
        result = STORE_CONFLICT;
    else if (batch.count > 0)
        result = post(writer, &batch);
    snapshot_release(batch.snapshot);
    roll_back(writer); /* a failure, a dry run, or an early head that was not used */
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
    case STORE_OK:
    case STORE_REFUSED:
    case STORE_FAILED:
        break;
    }
    return REASON_INTERNAL_ERROR;
}

static void reject_alone(const struct writer *writer, const struct pending_event *event,
                         enum store_result failure)
{
    struct event_result *result = event->submission.result;
    enum reason reason = reason_of(failure);
    log_write(LOG_ERROR, "an event could not be posted", "error", pg_last_error(writer->pg), NULL);
    result->status = EVENT_REJECTED;
    faults_add(&result->faults, reason, "", "%s",
               reason == REASON_OUT_OF_RANGE ? "a balance would become too large"
                                             : "the event could not be posted");
}

static bool is_of_database(enum store_result failure)
{
    return failure == STORE_UNAVAILABLE || failure == STORE_TOO_SLOW || failure == STORE_OUTCOME_UNKNOWN;
}

/* The database failed or others were faster each time: nothing of the run was recorded, or nobody knows. */
static void fail_all(struct writer *writer, const struct pending_run *run, enum store_result failure)
{
    for (size_t i = 0; i < run->count; i++)
        if (run->events[i].job->failure != REASON_OUTCOME_UNKNOWN)
            run->events[i].job->failure = reason_of(failure);
    if (is_of_database(failure))
        atomic_store(&writer->failed_at_ms, clock_monotonic_ms());
}

static bool is_lost_race(enum store_result result)
{
    return result == STORE_CONFLICT || result == STORE_LOCKED;
}

/* Posts the run. retry.h decides how often a lost race is tried again; this function decides the way of each
 * attempt. Any other failure is the fault of one of the events. Halving the run is no retry; it finds out
 * which event it is. */
static void post_run(struct writer *writer, const struct pending_run *run)
{
    size_t half = run->count / 2;
    enum store_result result =
        attempt(writer, run, run->held == HELD_HEADS_SKIPPED ? BATCH_EXPECTS_HEADS : BATCH_TAKES_HEADS);
    for (int tries = 1; retry_is_due(RETRYING_WRITER, result, tries); tries++) {
        clear_results(run);
        result = attempt(writer, run, result == STORE_LOCKED ? BATCH_TAKES_HEADS : BATCH_LOOKS_UP);
    }
    if (result == STORE_OK)
        return;
    clear_results(run);
    if (is_of_database(result) || is_lost_race(result)) {
        fail_all(writer, run, result);
    } else if (run->count == 1) {
        reject_alone(writer, &run->events[0], result);
    } else {
        post_run(writer, &(struct pending_run){run->events, half, run->held});
        post_run(writer, &(struct pending_run){run->events + half, run->count - half, run->held});
    }
}

void writer_post(struct writer *writer, const struct pending_run *run)
{
    pg_set_deadline(writer->pg, clock_monotonic_ms() + writer->post_ms);
    if (run->count > 0)
        post_run(writer, run);
    else
        roll_back(writer); /* lets go of an early head */
}

void writer_end_run(struct writer *writer)
{
    kept_schemes_trim(&writer->kept);
    arena_reset(&writer->arena);
}

/* Does nothing if the head is known to be held. Another writer would have let go of it after its batch, so
 * somebody else has it. */
void writer_take_early_head(struct writer *writer)
{
    if (writer->other_writer_batches == 0 || writer->replay_batches > 0 || writer->early.scheme == 0 ||
        was_held(writer, writer->early.scheme))
        return;
    pg_set_deadline(writer->pg, clock_monotonic_ms() + writer->post_ms);
    if (batch_take_early_head(&writer->early, writer->pg, &writer->arena, &writer->kept) == STORE_LOCKED)
        writer->other_writer_batches = 0;
}
