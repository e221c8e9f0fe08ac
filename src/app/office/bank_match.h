/* SPDX-License-Identifier: ISC */
/* Decides what each line of a statement is: a payment's money, its return, or something for a person.
 * Resolving a line (bank_resolve.c) shares some of it. Works under the head row (app/posting/head_work.h). */
#ifndef DEPOSITD_APP_OFFICE_BANK_MATCH_H
#define DEPOSITD_APP_OFFICE_BANK_MATCH_H

#include "app/office/payments.h"
#include "payment/camt053.h"
#include "store/bank_store.h"

/* *rows: one for each line of the statement, to be stored by the caller. Their entries have been appended. */
MUST_CHECK enum store_result bank_match(struct head_work *work, const struct camt_statement *statement,
                                        struct bank_line_row **rows, struct faults *faults);

/* Whether an earlier statement had the line. */
bool bank_line_is_repeated(const struct bank_line_row *row);

/* Whether the payment goes straight from one participant to another, and not over the pool's account. */
bool bank_payment_is_direct(const struct bank_payment *payment);
/* By how much the payment moves the pool's account: positive for a collection, negative for a payout. */
struct money bank_payment_effect(const struct bank_payment *payment);
bool bank_same_sign(struct money a, struct money b);

/* Confirms the payment, or fails one that was confirmed. *entry is the entry of that. */
MUST_CHECK enum store_result bank_payment_change(struct head_work *work, struct bank_payment *payment,
                                                 enum payment_change change, const char *note,
                                                 struct faults *faults, int64_t *entry);

#endif
