/* SPDX-License-Identifier: ISC */
/* Reading ahead for the events of a batch. */
#ifndef DEPOSITD_APP_POSTING_PREFETCH_H
#define DEPOSITD_APP_POSTING_PREFETCH_H

#include "app/posting/ledger.h"
#include "app/posting/submission.h"

/* Events that will be recorded, and the ledger of each. */
struct foreseen {
    const struct submission *submissions;
    struct ledger *const *ledgers; /* parallel */
    size_t count;
};

/* Reads, in one statement each, the balances and the days that the events will ask of their ledgers. The
 * ledgers read all others when they are asked for. A ledger whose events ask for days that the writer does
 * not keep gets a calendar with all days. */
MUST_CHECK enum store_result prefetch(struct pg *pg, struct arena *arena, const struct foreseen *foreseen);

#endif
