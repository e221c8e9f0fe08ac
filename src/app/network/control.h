/* SPDX-License-Identifier: ISC */
/* The control of two people over what would weaken it: a write that does is not done but kept as a proposal,
 * and done when a second person approves it.
 *
 * A write is done first, in its transaction; whether it weakens control is then seen from the changes that it
 * made. If it does, it is taken back and the proposal kept in its place. */
#ifndef DEPOSITD_APP_NETWORK_CONTROL_H
#define DEPOSITD_APP_NETWORK_CONTROL_H

#include "app/transaction/fault.h"
#include "depositd/access.h"
#include "store/proposal_store.h"
#include "store/reference_store.h"

struct control {
    /* The write as it was asked for. */
    enum proposal_what what;
    const char *name;                 /* "": none */
    const char *body;                 /* JSON */
    const struct sha256 *secret_hash; /* of a key; else NULL */
    struct change_author author;
    struct instant now;
    bool dry_run;
    /* Of an approval: whose acts are whose. NULL: it is no approval. The proposal is the author's. */
    const struct key_origins *origins;
    struct buffer *json; /* gets the proposal that was kept, or approved */
    /* Set by the calls. */
    bool proposed;    /* it was not done but proposed, … */
    bool was_already; /* … and that before */
    bool decided;     /* this key has approved it before: nothing is left to do */
    int64_t since;
};

/* Within the transaction, under the locks, before the write. Of an approval NOT_FOUND, PROPOSAL_DECIDED,
 * SECOND_KEY_NEEDED and UNAUTHENTICATED may be among the faults. */
MUST_CHECK enum store_result control_begin(struct pg *pg, struct control *control, struct faults *faults);
/* After it, if it had no fault and control was not `decided`. */
MUST_CHECK enum store_result control_end(struct pg *pg, struct arena *arena, struct control *control);

/* Keeps a proposal that has made no change, and none that it would make is recorded. */
MUST_CHECK enum store_result control_propose(struct pg *pg, struct control *control,
                                             const struct weakening *weakening);

/* Withdraws what was proposed; also who proposed it may. */
MUST_CHECK enum store_result control_withdraw(struct pg *pg, struct control *control, const char *note,
                                              struct faults *faults);

#endif
