/* SPDX-License-Identifier: ISC */
/* The part of a close that finds out who owes whom: fees, positions, settle entries, payments. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_SETTLE_H
#define DEPOSITD_APP_CLOSING_CLOSE_SETTLE_H

#include "app/closing/closing.h"

/* Appends the fees of each site and the settle entries to the ledger, and stores positions and payments.
 * Fills `positions` and `payments` in the closing. */
MUST_CHECK enum store_result close_settle(struct closing *closing);

#endif
