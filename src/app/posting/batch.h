/* SPDX-License-Identifier: ISC */
/* One batch of events, posted in one transaction. */
#ifndef DEPOSITD_APP_POSTING_BATCH_H
#define DEPOSITD_APP_POSTING_BATCH_H

#include "app/posting/kept_scheme.h"
#include "app/posting/record.h"

/* An event that is to be posted, and the job it belongs to. */
struct pending_event {
    struct submission submission;
    struct intake_job *job;
};

/* The head of one scheme, taken before the batch is made. Where two instances post to the scheme, each waits
 * for the other's batch to end, and the events that arrive meanwhile go into its own next batch. */
struct early_head {
    int32_t scheme; /* whose head to take early; 0: none */
    bool taken;     /* by the transaction that is open */
    struct head_request request;
    int64_t version; /* of reference data and keys */
};

/* How long to wait for a held head. An early head is held by another instance, which lets go of it after its
 * batch, so waiting longer pays; if it does not let go, somebody else holds the head. */
enum { EARLY_HEAD_WAIT_MS = 500, HEAD_WAIT_MS = 100 };

/* Takes the head of early->scheme. If that fails, the head is not taken, and the batch will find out why.
 * STORE_LOCKED: somebody still holds the head. */
enum store_result batch_take_early_head(struct early_head *early, struct pg *pg, struct arena *arena,
                                        struct kept_schemes *kept);

struct batch {
    /* set by the caller */
    struct pg *pg;
    struct arena *arena;
    struct kept_schemes *kept;
    const struct snapshot *snapshot;
    struct instant now;
    bool dry_run;
    struct early_head early;       /* let go of if the batch is of other schemes */
    bool takes_heads;              /* before all else */
    bool looks_up;                 /* does that, too, and sees which ids are known */
    bool waits;                    /* for a held head, where there is but one scheme */
    struct pending_event *pending; /* with site and scheme found, and allowed */
    size_t count;
    /* the batch's own */
    bool has_heads;
    struct head_request *head_requests; /* one for each scheme, ascending … */
    struct scheme_ledger *ledgers;      /* … and parallel to them */
    size_t scheme_count;
    /* for the caller */
    bool met_replay;
    bool met_other_writer; /* another instance has posted since this writer's last batch */
};

/* Fills the results; events of schemes whose heads others hold are marked as parked, and not posted. May
 * leave a transaction open, to be rolled back. STORE_CONFLICT: nothing was recorded; to be posted again with
 * looks_up, and a snapshot that is current. */
MUST_CHECK enum store_result batch_post(struct batch *batch);

#endif
