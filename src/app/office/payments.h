/* SPDX-License-Identifier: ISC */
/* The desk at which the office works after the close: payments change, lines of the bank's are booked,
 * journals decided on. Each work is one transaction that holds the scheme's head row, so that of two who do
 * the same at once the second sees what the first has done. What it posts goes to the business day that
 * contains now.
 *
 * Any thread, with a connection of its own; blocks. */
#ifndef DEPOSITD_APP_OFFICE_PAYMENTS_H
#define DEPOSITD_APP_OFFICE_PAYMENTS_H

#include "app/network/snapshot.h"
#include "app/posting/post_facts.h"
#include "app/transaction/fault.h"
#include "depositd/payment.h"

/* Open within one transaction; its arena lives as long. */
struct payment_desk {
    struct pg *pg;
    struct arena arena;
    const struct snapshot *snapshot;
    const struct network *network;
    const struct scheme *scheme;
    int32_t key; /* who acts; 0: the service */
    struct instant now;
    struct calendar calendar;
    const struct business_day *today; /* where entries post */
    struct ledger_state state;
    struct ledger ledger;
};

struct payment_order {
    int32_t scheme;
    int32_t key; /* 0: the service */
    bool dry_run;
    /* What is to be done. Begins anew each time that the transaction has lost a race. With faults, or in a
     * dry run, nothing of it is kept. */
    enum store_result (*work)(void *context, struct payment_desk *desk, struct faults *faults);
    /* Called at the end of the transaction, when all of it is in its view: where the answer is read. May be
     * NULL. */
    enum store_result (*view)(void *context, struct pg *pg);
    void *context;
};

/* STORE_OK with no faults: it is done. Besides those of the work: UNAUTHENTICATED, SCHEME_NOT_OPEN,
 * OUT_OF_RANGE. */
MUST_CHECK enum store_result payment_desk_run(struct pg *pg, struct snapshot_cache *snapshots,
                                              const struct payment_order *order, struct faults *faults);

/* The reasons of payment_decide, and NOT_FOUND; then nothing of it was done. A work of many changes that goes
 * on where one is refused gives a list of faults of its own. `note` may be NULL. */
MUST_CHECK enum store_result payment_desk_change(struct payment_desk *desk, const char *payment_id,
                                                 enum payment_change change, const char *note,
                                                 struct faults *faults);
/* Approves all payments of a day that the key may approve now; those that are held stay. NOT_FOUND: the day
 * is not closed. APPROVER_CLOSED_DAY, SECOND_KEY_NEEDED: that is why there was nothing to do for this key. */
MUST_CHECK enum store_result payment_desk_approve_day(struct payment_desk *desk, struct date day,
                                                      const char *note, struct faults *faults);

/* A line of the bank's, or the part of one that is over or under: against bank_suspense. Positive: the
 * account grew. */
MUST_CHECK enum store_result payment_desk_bank_line(struct payment_desk *desk, struct money amount,
                                                    int64_t *entry);
/* And what it turned out to be: of a participant with a site in the scheme. The amount's sign is the line's.
 */
MUST_CHECK enum store_result payment_desk_resolve_line(struct payment_desk *desk, struct money amount,
                                                       int32_t participant, enum line_target target,
                                                       int64_t *entry);

#endif
