/* SPDX-License-Identifier: ISC */
/* What the office does to payments after the close. Works under the head row (app/posting/head_work.h): the
 * order `posts_now`, and what they post goes to the business day that contains now. */
#ifndef DEPOSITD_APP_OFFICE_PAYMENTS_H
#define DEPOSITD_APP_OFFICE_PAYMENTS_H

#include "app/posting/head_work.h"
#include "depositd/payment.h"

/* Changes one payment. Faults: the reasons of payment_decide, and NOT_FOUND; then nothing was done to it. A
 * work of many changes that goes on after a refusal passes a list of faults of its own. `note`: NULL is none.
 */
MUST_CHECK enum store_result payments_change(struct head_work *work, const char *payment_id,
                                             enum payment_change change, const char *note,
                                             struct faults *faults);

/* Approves all payments of a day that the key may approve now; those that are held stay. NOT_FOUND: the day
 * is not closed. APPROVER_CLOSED_DAY, SECOND_KEY_NEEDED: why this key may approve none of them. */
MUST_CHECK enum store_result payments_approve_day(struct head_work *work, struct date day, const char *note,
                                                  struct faults *faults);

#endif
