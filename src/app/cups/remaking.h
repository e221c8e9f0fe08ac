/* SPDX-License-Identifier: ISC */
/* Batches of retired cups for a re-maker. A batch is a recorded change, so it is made and withdrawn under the
 * locks of these: no cup is retired, and no supply names the batch, in the meantime. */
#ifndef DEPOSITD_APP_CUPS_REMAKING_H
#define DEPOSITD_APP_CUPS_REMAKING_H

#include "app/transaction/fault.h"
#include "store/remaking_store.h"

/* Records the batch, sets its `now`, and appends it to `json`. *made false: it was recorded before, and said
 * the same. STORE_OK with faults: nothing was recorded. Faults: BATCH_CONFLICT, MORE_THAN_RETIRED (points to
 * /cups/0/quantity …). */
MUST_CHECK enum store_result remaking_record(struct pg *pg, struct remaking_batch *batch, bool dry_run,
                                             struct buffer *json, bool *made, struct faults *faults);

/* Withdraws the batch of this scheme and code for its reason. Saying the same again is no fault. Faults:
 * NOT_FOUND, BATCH_WITHDRAWN, BATCH_SUPPLIED. */
MUST_CHECK enum store_result remaking_withdraw(struct pg *pg, struct remaking_batch *batch, bool dry_run,
                                               struct buffer *json, struct faults *faults);

#endif
