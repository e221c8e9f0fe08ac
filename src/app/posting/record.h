/* SPDX-License-Identifier: ISC */
/* Recording one event: from what a client states to an entry in the ledger, or to the reasons why not.
 *
 * The checks run in a fixed order: authorisation (submission_admit), duplicate, then all others, which
 * collect their faults. What depends on the ledger is read under the head row; the domain decides the rest.
 */
#ifndef DEPOSITD_APP_POSTING_RECORD_H
#define DEPOSITD_APP_POSTING_RECORD_H

#include "app/posting/scheme_ledger.h"

/* Fills the result of an event that was admitted. Anything but STORE_OK is about the transaction, which must
 * then be rolled back. */
MUST_CHECK enum store_result record_event(struct scheme_ledger *scheme_ledger, struct submission *submission);

#endif
