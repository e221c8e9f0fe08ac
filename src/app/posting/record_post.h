/* SPDX-License-Identifier: ISC */
/* From a new event that has passed its checks to an entry, or to a proposed one. */
#ifndef DEPOSITD_APP_POSTING_RECORD_POST_H
#define DEPOSITD_APP_POSTING_RECORD_POST_H

#include "app/posting/recording.h"

/* Derives the legs and, unless that adds a fault, appends the entry with its exceptions, references and
 * transfers, and fills the result. */
MUST_CHECK enum store_result record_post(struct recording *recording);

/* Derives the legs of an event that takes two people and, unless that adds a fault, keeps it with the scheme
 * ledger as a proposal. */
MUST_CHECK enum store_result record_propose(struct recording *recording);

#endif
