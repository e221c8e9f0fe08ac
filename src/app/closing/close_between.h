/* SPDX-License-Identifier: ISC */
/* The part of a close that settles what the scheme owes the hosts that took its cups back. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_BETWEEN_H
#define DEPOSITD_APP_CLOSING_CLOSE_BETWEEN_H

#include "app/closing/closing.h"

/* On a pay day: appends a settle entry for each host that is to be paid, and fills `pool_payments` in the
 * closing. They have no ids yet. */
MUST_CHECK enum store_result close_between(struct closing *closing);

#endif
