/* SPDX-License-Identifier: ISC */
/* Recording one event: from a client's statement to an entry in the ledger, or to the reasons against it.
 *
 * The checks run in a fixed order: authorisation (submission_admit), duplicate, then all others, which
 * collect their faults. Facts of the ledger are read under the head row; the domain decides the rest. */
#ifndef DEPOSITD_APP_POSTING_RECORD_H
#define DEPOSITD_APP_POSTING_RECORD_H

#include "app/posting/scheme_ledger.h"

/* Fills the result of an event that was admitted. On anything but STORE_OK the transaction must be rolled
 * back. */
MUST_CHECK enum store_result record_event(struct scheme_ledger *scheme_ledger, struct submission *submission);

#endif
