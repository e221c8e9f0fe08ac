/* SPDX-License-Identifier: ISC */
/* Work on the ledger of one scheme, in a transaction that holds the scheme's head row.
 *
 * The head row belongs to one transaction until that ends. Only this transaction appends entries to the
 * scheme, closes its days or changes its payments. If two callers do the same at once, the second one sees
 * the work of the first. The writer (writer.c) takes the head rows of a batch without waiting, and a change
 * of reference data (store_reference_lock) takes all of them. Everybody else calls head_work_run, which does
 * this:
 *
 *   1. begin, with the newest snapshot; `before`: reads that need not hold up the writer
 *   2. take the head row; STORE_CONFLICT if reference data or keys are newer than the snapshot
 *   3. read the calendar, after making it reach a little beyond now
 *   4. `work`: read, decide, append entries to the ledger, write rows of its own
 *   5. write the entries; `view`: read the answer; commit
 *
 * A failure, a fault, and a dry run at its end roll everything back. An attempt that lost a race
 * (app/transaction/retry.h) is rolled back and repeated from step 1, with no faults, an empty arena and a
 * later `now`. So each callback may run several times: it sets anew whatever it keeps in its context, and
 * changes nothing but that context and the database. It neither commits nor rolls back. Nothing in the arena
 * outlives the attempt.
 *
 * Any thread, with a connection of its own. Blocks. */
#ifndef DEPOSITD_APP_POSTING_HEAD_WORK_H
#define DEPOSITD_APP_POSTING_HEAD_WORK_H

#include "app/network/snapshot.h"
#include "app/posting/post_facts.h"
#include "app/transaction/fault.h"

/* One attempt. Its owner is head_work_run; callbacks borrow it. */
struct head_work {
    struct pg *pg;
    struct arena arena;
    const struct snapshot *snapshot;
    const struct network *network;
    const struct scheme *scheme;
    int32_t key; /* the key that acts; 0: the service */
    struct instant now;
    int closed_days;                  /* as in the order, until the work reads the calendar again */
    struct calendar calendar;         /* from step 3 on, or set by `before`: then step 3 is left out */
    const struct business_day *today; /* where an entry of now posts; set if the order `posts_now` */
    struct ledger_state state;        /* from step 2 on */
    struct unwritten unwritten;       /* in `work` only, as is … */
    struct ledger ledger;             /* … the ledger */
    bool done;                        /* set by `before`: there is nothing to do, go to `view` */
};

struct head_order {
    int32_t scheme;
    int32_t key; /* 0: the service. UNAUTHENTICATED: the key is not in force any more */
    bool dry_run;
    /* How many closed days the calendar has before the first day that is not closed. 0: all. */
    int closed_days;
    /* The work posts entries of now, or is refused: SCHEME_NOT_OPEN if now is in no business day,
     * OUT_OF_RANGE if a balance would become too large. */
    bool posts_now;
    /* The work decides on the scheme's opening. All other work is refused (OPENING_PENDING) while an opening
     * waits for a second person. */
    bool decides_opening;
    /* Each callback may be NULL. A fault ends the attempt after the callback that added it. */
    enum store_result (*before)(void *context, struct head_work *work, struct faults *faults);
    enum store_result (*work)(void *context, struct head_work *work, struct faults *faults);
    enum store_result (*view)(void *context, struct pg *pg);
    void *context;
};

/* STORE_OK with no faults: the work is done and committed, or in a dry run could be. `faults` must be
 * empty. */
MUST_CHECK enum store_result head_work_run(struct pg *pg, struct snapshot_cache *snapshots,
                                           const struct head_order *order, struct faults *faults);

/* In `work`, if the order `posts_now`: posts an entry of now by the key. *entry is its number; 0: nothing
 * moves, and there is no entry. */
MUST_CHECK enum store_result head_work_post(struct head_work *work, const struct posting_facts *facts,
                                            int64_t *entry);

/* Reads the calendar, for a `before` that needs it. Step 3 does not read it again. */
MUST_CHECK enum store_result head_work_calendar(struct head_work *work);

/* Steps 2 and 3, for a `before` that does two works in one transaction. Both steps are done again afterwards,
 * but the calendar is not read again. */
MUST_CHECK enum store_result head_work_take(struct head_work *work);

#endif
