/* SPDX-License-Identifier: ISC */
/* The decisions of a close: which positions are settled, and the payments that settle them. Pure; any
 * thread. */
#ifndef DEPOSITD_SETTLEMENT_H
#define DEPOSITD_SETTLEMENT_H

#include "depositd/netting.h"
#include "depositd/network.h"

/* A participant's position at a close: the amount that it owes the pool (+) or is owed (-). */
struct position {
    struct money amount;
    struct money arrears; /* the part of the amount that is of payments which failed */
    int32_t days_carried; /* for how many days it has been carried forward up to now */
    bool has_open_site;   /* that has a day after the one that closes */
};

/* Whether it stays untouched until a later close: it is small, of no arrears, and not for too long. */
bool position_is_carried(const struct position *position, const struct terms *terms, int32_t carry_days);

/* The payments that clear the positions: from and to are indices of positions, `count` is the pool.
 * `payments` has room for as many as there are positions; *payment_count is set. */
MUST_CHECK enum netting_result settlement_payments(enum netting_mode mode, const struct money *positions,
                                                   size_t count, struct netting_payment *payments,
                                                   size_t *payment_count);

/* The first banking day after a business day: no Saturday, no Sunday, no holiday. */
struct date payment_due_on(struct date business_day, const struct date *holidays, size_t count);

#endif
