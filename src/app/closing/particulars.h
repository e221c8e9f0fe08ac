/* SPDX-License-Identifier: ISC */
/* The particulars of a closed day are fixed with the day, but stand neither in a leaf of its tree nor in the
 * document of its seal. They are: the key and the time of recording of each entry, exceptions, the lines of
 * the sites, the day's bounds and closing, due dates and accounts of payments, and all changes of reference
 * data and keys until the close. Hashing them would slow down the close, so it is done afterwards, into a
 * chain of its own. From then on the check `particulars_verify` finds a change of them. */
#ifndef DEPOSITD_APP_CLOSING_PARTICULARS_H
#define DEPOSITD_APP_CLOSING_PARTICULARS_H

#include "store/particulars_store.h"

/* Hashing a large day takes a while. Now and then it asks `wanted` whether to leave off. */
struct particulars_pause {
    bool (*wanted)(void *context);
    bool (*enough)(void *context); /* asked between days: whether to begin no other day */
    void *context;
};

/* Keeps the particulars of the next day of each scheme that lacks them, until there are enough. *kept: there
 * was such a day.
 * STORE_CONFLICT: left off because `wanted` said so; the next call begins that day again. Any number of
 * instances may call this. */
MUST_CHECK enum store_result particulars_keep(struct pg *pg, const struct particulars_pause *pause,
                                              bool *kept);

/* Hashes each part anew. `pause` may be NULL. STORE_CONFLICT: left off because `wanted` said so. */
MUST_CHECK enum store_result particulars_hash(struct pg *pg, const struct particulars_day *day,
                                              const struct particulars_pause *pause,
                                              struct sha256 parts[static PARTICULARS_PARTS]);
/* A link of the chain: the digest of the day's particulars, of the link before, and of the day's seal. */
void particulars_link(const struct particulars_day *day, const struct sha256 *parts, struct sha256 *digest);

#endif
