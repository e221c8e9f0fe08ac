/* SPDX-License-Identifier: ISC */
/* Cups with identity are derived from entries after their commit: the clock follows each scheme's entries,
 * and keeps where the cups were that they name. Posting pays nothing for it. Each scheme has a place of its
 * own among its entries, which moves in the transaction that keeps the sightings. So each entry is looked at
 * once, whatever is killed meanwhile. */
#ifndef DEPOSITD_APP_CLOSING_CUPS_FOLLOW_H
#define DEPOSITD_APP_CLOSING_CUPS_FOLLOW_H

#include "store/pg.h"

struct cups_follower {
    bool (*has_enough)(void *context); /* asked between two slices: others wait for the connection */
    void *context;
    /* its own; zero at first */
    int64_t entries; /* of a slice; fewer after a slice that took too long */
    int32_t last;    /* the scheme that was looked at last */
};

/* Looks at some more entries of each scheme. *more: there was something to look at. */
MUST_CHECK enum store_result cups_follow(struct pg *pg, struct cups_follower *follower, bool *more);

#endif
