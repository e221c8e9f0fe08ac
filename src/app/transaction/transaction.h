/* SPDX-License-Identifier: ISC */
/* The end of a transaction: the one rule by which its work is kept or undone. */
#ifndef DEPOSITD_APP_TRANSACTION_TRANSACTION_H
#define DEPOSITD_APP_TRANSACTION_TRANSACTION_H

#include "app/transaction/fault.h"
#include "store/pg.h"

/* Commits if `result`, which the work gave, is STORE_OK, no fault was found, and the work is to be kept.
 * `keep` is false in a dry run, and where the work changed nothing. Otherwise rolls back. In the end no
 * transaction is open. Returns `result`, or the result of the commit. */
MUST_CHECK enum store_result transaction_end(struct pg *pg, enum store_result result,
                                             const struct faults *faults, bool keep);

#endif
