/* SPDX-License-Identifier: ISC */
/* Cups that a host took back, in the books of their home: the home's entries follow the host's returns,
 * exchanges and their reversals one for one, in the host's order, each exactly once.
 *
 * The transaction that appends the home's entries also moves the home's place among the host's entries, both
 * under the home's head row. So any number of instances may do this, and may be killed at any moment. The
 * host's numbers become visible in their order, so a transaction that sees an entry sees all before it. */
#ifndef DEPOSITD_APP_CLOSING_RETURNS_FOLLOW_H
#define DEPOSITD_APP_CLOSING_RETURNS_FOLLOW_H

#include "app/network/snapshot.h"
#include "store/follow_store.h"

struct returns_follower {
    bool (*has_enough)(void *context); /* asked between two transactions: others wait for the connection */
    void *context;
    struct snapshot_cache *snapshots;
    struct pair_behind last; /* its own; zero at first: the pair that had the last turn */
};

/* Follows some more entries of each pair. *more: some are left that nobody else is at. */
MUST_CHECK enum store_result returns_follow(struct pg *pg, struct returns_follower *follower, bool *more);

#endif
