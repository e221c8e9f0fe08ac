/* SPDX-License-Identifier: ISC */
/* Entries of a host that concern its homes, and how far each home has followed them. */
#ifndef DEPOSITD_STORE_FOLLOW_STORE_H
#define DEPOSITD_STORE_FOLLOW_STORE_H

#include "store/ledger_store.h"

/* A scheme that has entries of a host still to follow. */
struct pair_behind {
    int32_t home, host;
};

/* All such pairs; those after `last` come first. Costs by pairs that ever had a return, and nothing without.
 */
MUST_CHECK enum store_result store_pairs_behind(struct pg *pg, struct arena *arena, struct pair_behind last,
                                                struct pair_behind **pairs, size_t *count);

/* Takes the place of a pair, and holds it until the commit: the host's last entry that was followed. */
MUST_CHECK enum store_result store_following_take(struct pg *pg, struct pair_behind pair, int64_t *entry,
                                                  bool *taken);
MUST_CHECK enum store_result store_following_move(struct pg *pg, struct pair_behind pair, int64_t entry);

/* An entry of the host, as far as it concerns the home. */
struct entry_to_follow {
    struct followed followed;
    struct instant occurred_at;
    struct agreed agreed;    /* `booked` is zero */
    int64_t reversed;        /* of a reversal: the host's entry that it reverses; else 0 */
    struct moved_cups *cups; /* of a return: the lines whose cups carry the home's deposit */
    size_t cup_count;
};

/* The first `limit` entries after one, in their order. */
struct follow_range {
    struct pair_behind pair;
    int64_t after;
    int limit;
};
MUST_CHECK enum store_result store_entries_to_follow(struct pg *pg, struct arena *arena,
                                                     const struct follow_range *range,
                                                     struct entry_to_follow **entries, size_t *count);

/* The home's entry that followed an entry of the host. */
struct follower_entry {
    int64_t entry;
    struct date business_date;
    struct leg *legs;
    size_t leg_count;
};
MUST_CHECK enum store_result store_follower_of(struct pg *pg, struct arena *arena, struct pair_behind pair,
                                               int64_t host_entry, struct follower_entry *follower,
                                               bool *found);

#endif
