/* SPDX-License-Identifier: ISC */
/* Cups with identity: the sightings that are derived from entries, and what people read of them. */
#ifndef DEPOSITD_STORE_CUP_STORE_H
#define DEPOSITD_STORE_CUP_STORE_H

#include "store/read_store.h"

/* Entries of a scheme that were not looked at for cups. */
struct cup_slice {
    int32_t scheme;
    int64_t after, through;
};

/* The first `most` such entries of each scheme; the schemes after `last` come first. */
MUST_CHECK enum store_result store_cups_behind(struct pg *pg, struct arena *arena, int64_t most, int32_t last,
                                               struct cup_slice **slices, size_t *count);
/* In a transaction. *locked false: another instance looks at entries for cups now. */
MUST_CHECK enum store_result store_cups_lock(struct pg *pg, bool *locked);
/* Keeps the sightings of a slice and what they bring to light, and moves the scheme's place. In a transaction
 * that holds the lock. STORE_CONFLICT: another instance has looked at these entries meanwhile. */
MUST_CHECK enum store_result store_cups_keep(struct pg *pg, const struct cup_slice *slice,
                                             struct instant now);

/* A slice of the cups that were seen at these sites; `id` NULL: all, else that one. */
MUST_CHECK enum store_result read_cups(struct pg *pg, const struct cup_id *id,
                                       const struct visible_sites *visible, struct list_slice *slice);
/* A cup with its latest sightings. *found false: it was not seen at these sites. */
MUST_CHECK enum store_result read_cup(struct pg *pg, const struct cup_id *id,
                                      const struct visible_sites *visible, int sightings, struct buffer *json,
                                      bool *found);

#endif
