/* SPDX-License-Identifier: ISC */
/* The effects of an approved opening, or of its reversal, besides its legs. Private to proposed_events.c. */
#ifndef DEPOSITD_APP_OFFICE_OPENING_H
#define DEPOSITD_APP_OFFICE_OPENING_H

#include "app/posting/head_work.h"
#include "store/proposed_store.h"

/* Whether what was proposed may still be posted; faults say why not. `occurrence` is its day. */
MUST_CHECK enum store_result opening_check(struct head_work *work, const struct proposal *proposal,
                                           const struct business_day *occurrence, struct faults *faults);

/* After the entry was appended: its shipments, the cups that count as forfeited, and what a reversal refers
 * to. Writes the ledger. */
MUST_CHECK enum store_result opening_effects(struct head_work *work, const struct proposal *proposal,
                                             int64_t entry);

#endif
