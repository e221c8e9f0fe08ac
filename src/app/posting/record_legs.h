/* SPDX-License-Identifier: ISC */
/* The legs of a journal. */
#ifndef DEPOSITD_APP_POSTING_RECORD_LEGS_H
#define DEPOSITD_APP_POSTING_RECORD_LEGS_H

#include "app/posting/recording.h"

/* Finds the accounts of the legs that a journal states, into recording->stated, and checks them: a journal
 * may move certain accounts only, and its legs sum to zero. Faults are in recording->faults. */
MUST_CHECK enum store_result record_find_legs(struct recording *recording);

/* Refuses a journal of the day (MONTH_CLOSED) if two people have closed its month. Call it under the head
 * row. */
MUST_CHECK enum store_result record_check_month(struct pg *pg, int32_t scheme, struct date day,
                                                struct faults *faults);

#endif
