/* SPDX-License-Identifier: ISC */
/* The status of a proposed journal, or of another proposal. */
#ifndef DEPOSITD_STORE_PROPOSAL_STATUS_H
#define DEPOSITD_STORE_PROPOSAL_STATUS_H

enum proposal_status { PROPOSAL_OPEN, PROPOSAL_APPROVED, PROPOSAL_WITHDRAWN, PROPOSAL_STATUSES };

/* The words by which they are stored and shown; NULL-ended. */
extern const char *const proposal_status_words[];

#endif
