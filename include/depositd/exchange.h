/* SPDX-License-Identifier: ISC */
/* A sum in another currency, at a rate that somebody states. Pure; any thread. */
#ifndef DEPOSITD_EXCHANGE_H
#define DEPOSITD_EXCHANGE_H

#include "depositd/money.h"

/* amount * rate, rounded half to even, once. `rate` is the price of one unit of `from` in units of `to`, and
 * more than 0. False: too large. */
MUST_CHECK bool exchange_at(struct money amount, const struct currency *from, const struct currency *to,
                            struct decimal rate, struct money *sum);

#endif
