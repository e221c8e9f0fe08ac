/* SPDX-License-Identifier: ISC */
/* Reading back what was sealed, and the raw entries that it was made of: for verifying it. Results are put
 * into the given arena. */
#ifndef DEPOSITD_STORE_SEAL_STORE_H
#define DEPOSITD_STORE_SEAL_STORE_H

#include "store/close_store.h"

/* A business day as it was sealed, if it was. */
struct sealed_day {
    struct date date;
    uint8_t *frontier;
    size_t frontier_size; /* bytes */
    bool sealed;
    int64_t entries;
    struct sha256 root, previous, seal;
};
MUST_CHECK enum store_result read_sealed_days(struct pg *pg, struct arena *arena, int32_t scheme,
                                              struct sealed_day **days, size_t *count);

/* An entry as it was recorded. */
struct leaf_row {
    int64_t entry;
    struct date business_date;
    enum entry_kind kind;
    const char *event; /* NULL: none */
    struct leg *legs;
    size_t leg_count;
    struct sha256 hash;
};
/* At most `limit` entries after one, in their order. */
MUST_CHECK enum store_result read_leaves(struct pg *pg, struct arena *arena, int32_t scheme, int64_t after,
                                         int limit, struct leaf_row **leaves, size_t *count);

/* The figures that a seal is over: positions by participant code, payments by id. */
MUST_CHECK enum store_result read_positions(struct pg *pg, struct arena *arena, int32_t scheme,
                                            struct date day, struct position_row **positions, size_t *count);
MUST_CHECK enum store_result read_payments(struct pg *pg, struct arena *arena, int32_t scheme,
                                           struct date day, struct payment_row **payments, size_t *count);

#endif
