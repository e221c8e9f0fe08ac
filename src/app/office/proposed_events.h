/* SPDX-License-Identifier: ISC */
/* Decisions on proposed events (journals, and openings with their reversals): a second person approves one,
 * which makes it an entry, or somebody withdraws it. Works under the head row (app/posting/head_work.h). The
 * faults are about the request as a whole. */
#ifndef DEPOSITD_APP_OFFICE_PROPOSED_EVENTS_H
#define DEPOSITD_APP_OFFICE_PROPOSED_EVENTS_H

#include "app/posting/head_work.h"
#include "store/proposed_store.h"

/* The day of occurrence stays as it was stated; if it has closed since, the event is late. Faults: NOT_FOUND,
 * PROPOSAL_DECIDED, SECOND_KEY_NEEDED, and the reasons for which an opening or its reversal can't be posted
 * any more. To repeat one's own approval is no fault. */
MUST_CHECK enum store_result proposed_approve(struct head_work *work, const struct proposed_name *name,
                                              struct faults *faults);
/* NOT_FOUND, PROPOSAL_DECIDED; the key that proposed the event may withdraw it. */
MUST_CHECK enum store_result proposed_withdraw(struct head_work *work, const struct proposed_name *name,
                                               const char *note, struct faults *faults);

#endif
