/* SPDX-License-Identifier: ISC */
/* What each line of a statement is: a payment's money, its return, or something that a person should look at.
 * And what of that the resolving of a line shares. Within a work's transaction. */
#ifndef DEPOSITD_APP_OFFICE_BANK_MATCH_H
#define DEPOSITD_APP_OFFICE_BANK_MATCH_H

#include "app/office/payments.h"
#include "payment/camt053.h"
#include "store/bank_store.h"

/* *rows: one for each line of the statement, to be kept; what they call for is done. */
MUST_CHECK enum store_result bank_match(struct head_work *work, const struct camt_statement *statement,
                                        struct bank_line_row **rows, struct faults *faults);

/* From one participant straight to another: never on the pool's account. */
bool bank_payment_direct(const struct bank_payment *payment);
/* What the payment moves on the pool's account. */
struct money bank_payment_effect(const struct bank_payment *payment);
bool same_sign(struct money a, struct money b);

/* Confirms or fails the payment; *entry is what that posted. */
MUST_CHECK enum store_result bank_payment_change(struct head_work *work, struct bank_payment *payment,
                                                 enum payment_change change, const char *note,
                                                 struct faults *faults, int64_t *entry);

#endif
