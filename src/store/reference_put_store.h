/* SPDX-License-Identifier: ISC */
/* Puts reference data: one statement for all rows of a kind. app/network decides which rows may be put. */
#ifndef DEPOSITD_STORE_REFERENCE_PUT_STORE_H
#define DEPOSITD_STORE_REFERENCE_PUT_STORE_H

#include "store/reference_store.h"

/* The items that a statement has made or changed: their indices, ascending, in memory of the arena. */
struct reference_differing {
    int64_t *items;
    size_t count;
};

/* Each of these makes or changes rows of its kind. No item may stand there twice. An item that refers to
 * something that is not there is left out. */
typedef enum store_result reference_put_items(struct pg *pg, struct arena *arena,
                                              struct reference_items items,
                                              struct reference_differing *differing);
MUST_CHECK reference_put_items store_put_cup_types, store_put_participants, store_put_schemes,
    store_put_terms, store_put_refund_values, store_put_sites, store_put_office_accounts,
    store_put_tax_registrations, store_put_site_kinds;

/* Gives new schemes their head rows. */
MUST_CHECK enum store_result store_add_heads(struct pg *pg, int64_t version);

/* Drops the business days of schemes in which nothing is posted and no day is closing or closed. */
MUST_CHECK enum store_result store_forget_days(struct pg *pg, const char *const *schemes, size_t count);

#endif
