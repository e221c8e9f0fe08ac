/* SPDX-License-Identifier: ISC */
/* The particulars of a closed day: what is fixed with it, but stands neither in a leaf of its tree nor in the
 * document that its seal is over: who posted what and when it was recorded, exceptions, the lines of the
 * sites, bounds and closing, what a payment's due date and account were, and all changes of reference data
 * and keys until the close. They are hashed into a chain of
 * their own after the close, which therefore hashes nothing again; `particulars_verify` then tells a change
 * of them as `seals_verify` tells one of the rest. */
#ifndef DEPOSITD_APP_CLOSING_PARTICULARS_H
#define DEPOSITD_APP_CLOSING_PARTICULARS_H

#include "store/particulars_store.h"

/* Who may want it to be left off: asked now and then, for a large day takes a while. */
struct particulars_pause {
    bool (*wanted)(void *context);
    void *context;
};

/* Keeps those of the next day of each scheme that wants it. *kept: there was one. STORE_CONFLICT: left off,
 * to be begun again. Any number of instances may do so. */
MUST_CHECK enum store_result particulars_keep(struct pg *pg, const struct particulars_pause *pause,
                                              bool *kept);

/* Hashes each part anew. `pause` NULL: nobody may want one. STORE_CONFLICT: left off. */
MUST_CHECK enum store_result particulars_hash(struct pg *pg, const struct particulars_day *day,
                                              const struct particulars_pause *pause,
                                              struct sha256 parts[static PARTICULARS_PARTS]);
/* The digest that links the day to the one before, and to its seal. */
void particulars_link(const struct particulars_day *day, const struct sha256 *parts, struct sha256 *digest);

#endif
