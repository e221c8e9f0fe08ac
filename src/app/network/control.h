/* SPDX-License-Identifier: ISC */
/* Two people must agree before a write may weaken the controls. Such a write is kept as a proposal, and is
 * carried out when a second person approves it.
 *
 * The write is carried out first, in its transaction. The changes that it made then show whether it weakens
 * control. If it does, the write is rolled back and the proposal is kept instead. */
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
    const struct sha256 *secret_hash; /* of a key, otherwise NULL */
    struct change_author author;
    struct instant now;
    bool dry_run;
    bool by_one; /* the write can't be kept as a proposal: if it takes two people, it is refused */
    struct buffer
        *changes; /* of a dry run: gets the changes that it would make, as a JSON list; NULL: nobody asks */
    int64_t more_changes; /* that are not in the list */
    /* For an approval: says which acts are by the same person. NULL: this is not an approval. `author` has
     * the proposal's number. */
    const struct key_origins *origins;
    struct buffer *json; /* gets the proposal that was kept or approved */
    /* The calls set the members below. */
    int32_t proposed_by; /* for an approval: the key that made the proposal */
    bool proposed;       /* the write was not carried out but proposed … */
    bool was_already;    /* … and had been proposed before */
    bool refused;        /* … or had to be, and may not */
    bool decided;        /* this key approved it before, so nothing is left to do */
    int64_t since;
};

/* To be called in the transaction, under the locks, before the write. For an approval, NOT_FOUND,
 * PROPOSAL_DECIDED, SECOND_KEY_NEEDED and UNAUTHENTICATED may be among the faults. */
MUST_CHECK enum store_result control_begin(struct pg *pg, struct control *control, struct faults *faults);
/* To be called after the write, if it had no fault and control was not `decided`. */
MUST_CHECK enum store_result control_end(struct pg *pg, struct arena *arena, struct control *control);

/* Keeps a proposal whose write has made no change. The changes that it would make are not recorded. */
MUST_CHECK enum store_result control_propose(struct pg *pg, struct control *control,
                                             const struct weakening *weakening);

/* Withdraws a proposal. Its proposer may also do this. */
MUST_CHECK enum store_result control_withdraw(struct pg *pg, struct control *control, const char *note,
                                              struct faults *faults);

#endif
