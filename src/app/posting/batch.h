/* SPDX-License-Identifier: ISC */
/* One batch of events, posted in one transaction. */
#ifndef DEPOSITD_APP_POSTING_BATCH_H
#define DEPOSITD_APP_POSTING_BATCH_H

#include "app/network/snapshot.h"
#include "app/posting/kept_scheme.h"
#include "app/posting/scheme_ledger.h"
#include "app/posting/waiting.h"

/* The head of one scheme, taken before the batch is made. If two instances post to the scheme, each waits for
 * the other's batch to end. The events that arrive meanwhile go into its own next batch. */
struct early_head {
    int32_t scheme; /* whose head to take early; 0: none */
    bool taken;     /* by the transaction that is open */
    struct head_request request;
    int64_t version; /* of reference data and keys */
};

/* How long to wait for a held head. An early head is held by another instance, which lets go of it after its
 * batch, so waiting longer pays; if it does not let go, somebody else holds the head. A wait that holds up
 * events of other schemes is no longer than a batch. */
enum { EARLY_HEAD_WAIT_MS = 500, HEAD_WAIT_MS = 100, HEAD_WAIT_BRIEF_MS = 10 };

/* Takes the head of early->scheme. If that fails, the head is not taken, and the batch will find out why.
 * STORE_LOCKED: somebody still holds the head. */
enum store_result batch_take_early_head(struct early_head *early, struct pg *pg, struct arena *arena,
                                        struct kept_schemes *kept);

/* The ways in which a batch makes sure that it knows of everything that has happened, from the fastest to the
 * most careful. */
enum batch_way {
    /* One round trip. The batch is made from what this writer keeps, as if nobody had posted since its last
     * batch and all events were new. The first statement takes the heads if they are as expected; the
     * database refuses heads that have moved, and ids that are taken. */
    BATCH_EXPECTS_HEADS,
    /* Two round trips. First the batch takes the heads and reads what other writers have posted since. It
     * still assumes that all events are new; the database refuses ids that are taken. */
    BATCH_TAKES_HEADS,
    /* Two round trips. The first one takes the heads and also looks up which ids the ledger has. So
     * this way finds replays of earlier batches, and it alone may refuse an event or keep a proposal. */
    BATCH_LOOKS_UP
};

struct batch {
    /* set by the caller */
    struct pg *pg;
    struct arena *arena;
    struct kept_schemes *kept;
    const struct snapshot *snapshot;
    struct instant now;
    bool dry_run;
    enum batch_way way;             /* BATCH_EXPECTS_HEADS becomes BATCH_LOOKS_UP if too little is kept */
    const struct early_head *early; /* the head that is taken already; NULL: none. The batch lets go of it if
                                       it needs another one */
    bool may_wait;                  /* for a head that is held, if the batch needs only one */
    bool shares_heads;              /* other instances take these heads as well, as far as the caller knows */
    struct submission *submissions; /* that were admitted */
    size_t count;
    struct waiting waiting;
    /* the batch's own */
    bool heads_asked;                   /* whether a statement that takes the heads was sent */
    struct head_request *head_requests; /* one for each scheme, ascending … */
    struct scheme_ledger *ledgers;      /* … and parallel to them */
    size_t scheme_count;
    uint32_t *places; /* by scheme: where its request and its ledger are, counted from 1; 0: not here */
    const struct known_event *known; /* events that the ledgers had already, as far as they were looked up */
    size_t known_count;
    struct unwritten unwritten; /* by all ledgers */
    /* for the caller */
    bool met_replay;
    bool met_other_writer; /* another instance has posted since this writer's last batch */
};

/* Fills the results. Events that must wait for what others hold are marked as parked and not posted. May
 * leave a transaction open, which the caller rolls back. STORE_CONFLICT: nothing was recorded; post the batch
 * again as BATCH_LOOKS_UP with a current snapshot. */
MUST_CHECK enum store_result batch_post(struct batch *batch);

#endif
