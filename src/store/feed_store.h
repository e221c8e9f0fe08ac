/* SPDX-License-Identifier: ISC */
/* The feed of a scheme: its entries in their order, and between them the cuts of its days. A cut has no
 * number. It stands after the last entry that was numbered before it. */
#ifndef DEPOSITD_STORE_FEED_STORE_H
#define DEPOSITD_STORE_FEED_STORE_H

#include "store/read_store.h"

/* Gives both parts of where the next slice starts after. Runs three statements. */
MUST_CHECK enum store_result read_feed(struct pg *pg, struct arena *arena, int32_t scheme,
                                       struct list_slice *slice);

#endif
