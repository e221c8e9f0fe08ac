/* SPDX-License-Identifier: ISC */
/* Sums of the movements of entries, by account and day, and of the doings of each site, by day. Memory comes
 * from the arena. One thread. */
#ifndef DEPOSITD_APP_POSTING_MOVEMENT_SUMS_H
#define DEPOSITD_APP_POSTING_MOVEMENT_SUMS_H

#include "base/pairs.h"
#include "store/ledger_store.h"

struct movement_sums {
    struct arena *arena;
    struct pairs movement_keys, site_day_keys; /* where in the rows below an account's or a site's day is */
    struct movement_row *movements;
    struct site_day_row *site_days;
    size_t movement_capacity, site_day_capacity;
};

void movement_sums_init(struct movement_sums *sums, struct arena *arena);

/* STORE_OUT_OF_RANGE: the sum does not fit. */
MUST_CHECK enum store_result movement_sums_add_leg(struct movement_sums *sums, struct date date,
                                                   struct leg leg);
/* The row of the site's day, for the caller to add to. NULL: out of memory. */
struct site_day_row *movement_sums_site_day(struct movement_sums *sums, int32_t site, struct date date);
/* Adds all of `more`. STORE_OUT_OF_RANGE: a sum does not fit; a part may have been added. */
MUST_CHECK enum store_result movement_sums_add_all(struct movement_sums *sums,
                                                   const struct movement_sums *more);

#endif
