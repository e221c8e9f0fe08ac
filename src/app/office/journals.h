/* SPDX-License-Identifier: ISC */
/* Decisions on proposed journals: a second person approves one, which makes it an entry, or somebody
 * withdraws it. Works under the head row (app/posting/head_work.h). The faults are about the request as a
 * whole. */
#ifndef DEPOSITD_APP_OFFICE_JOURNALS_H
#define DEPOSITD_APP_OFFICE_JOURNALS_H

#include "app/posting/head_work.h"

/* The day of occurrence stays as it was stated; if it has closed since, the journal is late. Faults:
 * NOT_FOUND, PROPOSAL_DECIDED, SECOND_KEY_NEEDED. A key may repeat its own approval. */
MUST_CHECK enum store_result journal_approve(struct head_work *work, const struct uuid *id,
                                             struct faults *faults);
/* The same faults, but the key that proposed the journal may withdraw it. */
MUST_CHECK enum store_result journal_withdraw(struct head_work *work, const struct uuid *id, const char *note,
                                              struct faults *faults);

#endif
