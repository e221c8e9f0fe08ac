/* SPDX-License-Identifier: ISC */
/* The office's changes of payments after the close. They work under the head row (app/posting/head_work.h),
 * with an order that `posts_now`: their entries go to the business day that contains now. */
#ifndef DEPOSITD_APP_OFFICE_PAYMENTS_H
#define DEPOSITD_APP_OFFICE_PAYMENTS_H

#include "app/posting/head_work.h"
#include "depositd/payment.h"

/* Changes one payment. Faults: the reasons of payment_decide, and NOT_FOUND; then nothing was done to it. A
 * caller that makes many changes and goes on after a refusal passes a list of faults of its own. `note`: NULL
 * is none. */
MUST_CHECK enum store_result payments_change(struct head_work *work, const char *payment_id,
                                             enum payment_change change, const char *note,
                                             struct faults *faults);

/* The same, where `booked` is the amount that the bank booked; 0: not said. A payment in another currency
 * than the books is only confirmed with it (MEMBER_MISSING), and any other is confirmed with its own amount
 * (OUT_OF_RANGE). */
MUST_CHECK enum store_result payments_change_booked(struct head_work *work, const char *payment_id,
                                                    enum payment_change change, struct money booked,
                                                    const char *note, struct faults *faults);

/* Approves all payments of a day that the key may approve now; held payments stay as they are. NOT_FOUND: the
 * day is not closed. APPROVER_CLOSED_DAY, SECOND_KEY_NEEDED: this key may approve none of them, for this
 * reason. */
MUST_CHECK enum store_result payments_approve_day(struct head_work *work, struct date day, const char *note,
                                                  struct faults *faults);

/* Approves these payments of a day, all or none. Faults point to /payments/0 … : PAYMENT_UNKNOWN,
 * PAYMENT_STATE if it does not wait for approval, and the reasons of payment_decide. NOT_FOUND: the day is
 * not closed. */
MUST_CHECK enum store_result payments_approve_some(struct head_work *work, struct date day,
                                                   const char *const *ids, size_t count, const char *note,
                                                   struct faults *faults);

#endif
