/* SPDX-License-Identifier: ISC */
/* Sums of what entries move: on each account in each day, and what each site did in each day. Memory comes
 * from the arena. One thread. */
#ifndef DEPOSITD_APP_POSTING_TALLY_H
#define DEPOSITD_APP_POSTING_TALLY_H

#include "base/pairs.h"
#include "store/ledger_store.h"

struct tally {
    struct arena *arena;
    struct pairs movement_keys, site_day_keys; /* where in the rows an account's, a site's day is */
    struct movement_row *movements;
    struct site_day_row *site_days;
    size_t movement_capacity, site_day_capacity;
};

void tally_init(struct tally *tally, struct arena *arena);

/* STORE_OUT_OF_RANGE: the sum does not fit. */
MUST_CHECK enum store_result tally_move(struct tally *tally, struct date date, struct leg leg);
/* The site's day, for the caller to add to; NULL: out of memory. */
struct site_day_row *tally_site_day(struct tally *tally, int32_t site, struct date date);
/* Adds another one. STORE_OUT_OF_RANGE, of which part may have been added: a sum does not fit. */
MUST_CHECK enum store_result tally_add(struct tally *tally, const struct tally *more);

#endif
