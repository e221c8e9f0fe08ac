/* SPDX-License-Identifier: ISC */
/* The part of a close that charges the sites. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_FEES_H
#define DEPOSITD_APP_CLOSING_CLOSE_FEES_H

#include "app/closing/closing.h"

/* Appends the fees of each site to the ledger and adds them to its clearing. Stores the lines that they are
 * the sums of. */
MUST_CHECK enum store_result close_fees(struct closing *closing);

#endif
