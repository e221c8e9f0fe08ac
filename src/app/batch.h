/* SPDX-License-Identifier: ISC */
/* One batch of events, posted in one transaction. */
#ifndef DEPOSITD_APP_BATCH_H
#define DEPOSITD_APP_BATCH_H

#include "app/kept_scheme.h"
#include "app/record.h"

/* An event, and the job that it belongs to. */
struct place {
    struct task task;
    struct intake_job *job;
};

struct batch {
    /* set by the caller */
    struct pg *pg;
    struct arena *arena;
    struct kept_schemes *kept;
    const struct snapshot *snapshot;
    struct instant now;
    bool dry_run;
    bool asks_first;      /* takes the heads and looks the ids up before all else */
    struct place *places; /* with site and scheme found, and allowed */
    size_t count;
    /* the batch's own */
    bool has_heads, has_asked;
    struct opening *openings; /* one for each scheme, ascending … */
    struct desk *desks;       /* … and parallel to them */
    size_t desk_count;
    /* for the caller */
    bool met_replay;
    bool met_others; /* another instance posts, too */
};

/* Fills the results. STORE_CONFLICT: nothing was recorded; to be posted again with asks_first, and a snapshot
 * that is current. */
MUST_CHECK enum store_result batch_post(struct batch *batch);

#endif
