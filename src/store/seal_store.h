/* SPDX-License-Identifier: ISC */
/* Reading back seals and the raw entries under them, to verify them. Results are put into the given arena. */
#ifndef DEPOSITD_STORE_SEAL_STORE_H
#define DEPOSITD_STORE_SEAL_STORE_H

#include "store/close_store.h"
#include "store/read_store.h"

/* A business day, and its seal if it has one. */
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
    bool sound;        /* whether date and arrays are as the service writes them; otherwise legs are not
                          read */
    struct leg *legs;
    size_t leg_count;
    const char *agreed, *followed; /* as in the leaf; NULL: none */
    struct sha256 hash;
};
struct leaf_range {
    int32_t scheme;
    int64_t after, through; /* the entry before the range, and its last one */
    int limit;
};
/* Sets the range to the entries of some business days, and those recorded between them. */
MUST_CHECK enum store_result read_leaf_range(struct pg *pg, struct date first, struct date last,
                                             struct leaf_range *range);
/* Reads the next entries of the range, in their order. If there are none, the range is at its end. Runs up to
 * three statements. */
MUST_CHECK enum store_result read_leaves(struct pg *pg, struct arena *arena, const struct leaf_range *range,
                                         struct leaf_row **leaves, size_t *count);

/* The figures under a seal: positions in order of participant code, payments in order of id. */
MUST_CHECK enum store_result read_positions(struct pg *pg, struct arena *arena, int32_t scheme,
                                            struct date day, struct position_row **positions, size_t *count);
MUST_CHECK enum store_result read_payments(struct pg *pg, struct arena *arena, int32_t scheme,
                                           struct date day, struct payment_row **payments, size_t *count);

/* An entry to be proven. */
struct proof_row {
    struct leaf_row leaf;
    int64_t first_entry, last_entry; /* the day's entries are among these */
    struct sealed_day day;           /* without its frontier */
};
struct entry_place {
    int32_t scheme;
    int64_t entry;
};
/* Finds the entry of an event id, in one scheme or in all (0), among the entries of the visible sites.
 * *count: the number of schemes that have one. *place: the first of these entries. */
MUST_CHECK enum store_result read_proof_event(struct pg *pg, const struct uuid *id, int32_t scheme,
                                              const struct visible_sites *visible, struct entry_place *place,
                                              size_t *count);
MUST_CHECK enum store_result read_proof_entry(struct pg *pg, struct arena *arena,
                                              const struct entry_place *place,
                                              const struct visible_sites *visible, struct proof_row *proof,
                                              bool *found);

/* Hashes of leaves of a day, in their order. */
struct hash_slice {
    struct sha256 *hashes;
    size_t count;
    int64_t last; /* the next slice starts after this entry */
    bool more;
};
struct hash_range {
    int32_t scheme;
    struct date day;
    int64_t after, through; /* entries */
};
MUST_CHECK enum store_result read_hashes(struct pg *pg, struct arena *arena, const struct hash_range *range,
                                         struct hash_slice *slice);

/* The chain of seals, as slices of JSON. */
MUST_CHECK enum store_result read_seals(struct pg *pg, int32_t scheme, struct list_slice *slice);

#endif
