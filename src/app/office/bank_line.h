/* SPDX-License-Identifier: ISC */
/* The entries of the bank's lines. Work under the head row (app/posting/head_work.h), on the day of now. */
#ifndef DEPOSITD_APP_OFFICE_BANK_LINE_H
#define DEPOSITD_APP_OFFICE_BANK_LINE_H

#include "app/posting/head_work.h"

/* Books a line, or the part of one that is over or under, against bank_suspense. A positive amount: the bank
 * account grew. */
MUST_CHECK enum store_result bank_line_post(struct head_work *work, struct money amount, int64_t *entry);

/* Moves an amount from bank_suspense to the account that it belongs to, for a participant with a site in the
 * scheme, or for an account of the scheme itself (participant 0). The amount has the sign of the line. */
MUST_CHECK enum store_result bank_line_resolve(struct head_work *work, struct money amount,
                                               int32_t participant, enum line_target target, int64_t *entry);

#endif
