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
    bool was_small; /* it was carried for its size on a pay day before, and not settled or zero since … */
    struct date small_since; /* … and this was the first such pay day */
    bool has_open_site;      /* that has a day after the one that closes */
};

/* A close settles a position, or carries it: leaves it untouched for a later close. */
struct carrying {
    bool carried;
    bool small; /* carried for its size on a pay day … */
    struct date small_since;
};

/* `terms` are those of the day, `carry_days` is how long a small position may be carried. On a pay day a
 * position is carried if it is small, of no arrears, and not for too long. On any other day it is carried
 * whatever it is; a position of zero then ends its time as a small one. */
struct carrying position_carrying(const struct position *position, struct date day, const struct terms *terms,
                                  int32_t carry_days);

/* The payments that clear the positions: from and to are indices of positions, `count` is the pool.
 * `payments` has room for as many as there are positions; *payment_count is set. */
MUST_CHECK enum netting_result settlement_payments(enum netting_mode mode, const struct money *positions,
                                                   size_t count, struct netting_payment *payments,
                                                   size_t *payment_count);

/* The first banking day after a business day: no Saturday, no Sunday, no holiday. */
struct date payment_due_on(struct date business_day, const struct date *holidays, size_t count);

#endif
