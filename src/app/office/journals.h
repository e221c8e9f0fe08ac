/* SPDX-License-Identifier: ISC */
/* What becomes of a journal that was proposed: a second person approves it, and it is an entry; or somebody
 * withdraws it. Works of a payment_desk; the faults stand for the request as a whole. */
#ifndef DEPOSITD_APP_OFFICE_JOURNALS_H
#define DEPOSITD_APP_OFFICE_JOURNALS_H

#include "app/office/payments.h"

/* The day of occurrence stands as it was stated; if it has closed since, the journal is late. NOT_FOUND,
 * PROPOSAL_DECIDED, SECOND_KEY_NEEDED. Approved by this very key already: no fault. */
MUST_CHECK enum store_result journal_approve(struct payment_desk *desk, const struct uuid *id,
                                             struct faults *faults);
/* The same, also for who proposed it. */
MUST_CHECK enum store_result journal_withdraw(struct payment_desk *desk, const struct uuid *id,
                                              const char *note, struct faults *faults);

#endif
