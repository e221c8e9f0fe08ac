/* SPDX-License-Identifier: ISC */
/* Lines of the bank by which the pool of another scheme, the home, paid for its cups, which this scheme has
 * taken back. Works under the head row (app/posting/head_work.h), on the day of now. */
#ifndef DEPOSITD_APP_OFFICE_BANK_BETWEEN_H
#define DEPOSITD_APP_OFFICE_BANK_BETWEEN_H

#include "app/posting/head_work.h"
#include "payment/camt053.h"
#include "store/bank_store.h"

/* Whether the line says that this amount was instructed. */
bool bank_between_instructed(const struct camt_line *line, struct money amount,
                             const struct currency *currency);

/* NULL: the line, which names the payment, is its money, or its money that goes back. Otherwise the
 * disposition of the line, which a person has to look at. */
const char *bank_between_judge(const struct bank_pool_payment *payment, const struct camt_line *line);

/* Posts an entry of `kind` for the line of this amount, which is the payment's money (below zero: its
 * return). In the other currency the rest goes to refund_variance. *row is to be kept with the line. */
MUST_CHECK enum store_result bank_between_post(struct head_work *work, enum entry_kind kind,
                                               struct bank_pool_payment *payment, struct money amount,
                                               struct between_booked_row *row, int64_t *entry);

#endif
