/* SPDX-License-Identifier: ISC */
/* The writer posts events in batches over one connection, and remembers the state that it left behind. One
 * thread uses it; other threads may read only failed_at_ms. */
#ifndef DEPOSITD_APP_POSTING_WRITER_H
#define DEPOSITD_APP_POSTING_WRITER_H

#include "app/posting/batch.h"
#include "app/posting/intake_job.h"

#include <stdatomic.h>

/* An event that is to be posted, and the job it belongs to. */
struct pending_event {
    struct submission submission;
    struct intake_job *job;
};

struct writer {
    /* set by the owner */
    struct pg *pg;
    struct snapshot_cache *snapshots;
    int64_t post_ms;    /* the time for all attempts to post a run of events */
    struct arena arena; /* of one run; the owner also puts the run's events there */
    /* the writer's own */
    struct kept_schemes kept;
    int replay_batches;       /* batches left during which ids are looked up first */
    int other_writer_batches; /* batches left during which we assume another writer … */
    struct early_head early;  /* … and the head that both want, if it is only one */
    /* for any thread */
    atomic_int_least64_t failed_at_ms; /* when the database last failed, of clock_monotonic_ms; 0: never */
};

void writer_init(struct writer *writer, struct pg *pg, struct snapshot_cache *snapshots, int64_t post_ms);
void writer_dispose(struct writer *writer); /* also frees the connection */

/* The treatment of events of a scheme whose head somebody else holds. If the head is still held when it is
 * asked for, they are parked in any case. */
enum held_heads {
    HELD_HEADS_SKIPPED,   /* if the head was held the last time, it is not even asked for */
    HELD_HEADS_ASKED_FOR, /* the head is asked for */
    HELD_HEADS_AWAITED    /* the head is asked for and waited for, if the run needs no other */
};

/* Events that are posted together; either all of them or none belong to a dry run. */
struct pending_run {
    struct pending_event *events;
    size_t count;
    enum held_heads held;
};

/* Posts a run: fills the results of its events, or the failures of their jobs. Events may come back parked. A
 * run of no events lets go of the early head. */
void writer_post(struct writer *writer, const struct pending_run *run);
/* Empties the writer's arena for the next run, and forgets copies that are too many. */
void writer_end_run(struct writer *writer);

/* If another instance posts to the same scheme, takes the scheme's head before the next run is taken from the
 * queue. */
void writer_take_early_head(struct writer *writer);

/* Whether another instance posts, as far as the last batches show. */
bool writer_assumes_other_writer(const struct writer *writer);

#endif
