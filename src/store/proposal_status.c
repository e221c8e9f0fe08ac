/* SPDX-License-Identifier: ISC */
/* The words of the statuses. */
#include "store/proposal_status.h"

#include <stddef.h>

const char *const proposal_status_words[] = {
    [PROPOSAL_OPEN] = "open",
    [PROPOSAL_APPROVED] = "approved",
    [PROPOSAL_WITHDRAWN] = "withdrawn",
    [PROPOSAL_STATUSES] = NULL,
};
