/* SPDX-License-Identifier: ISC */
/* The feed of a scheme: its entries in their order, and between them the cuts of its days. A cut has no
 * number. It stands after the last entry that was numbered before it. A feed of many schemes is read scheme
 * by scheme. */
#ifndef DEPOSITD_STORE_FEED_STORE_H
#define DEPOSITD_STORE_FEED_STORE_H

#include "store/read_store.h"

/* Gives both parts of where the next slice starts after. Runs three statements. */
MUST_CHECK enum store_result read_feed(struct pg *pg, struct arena *arena, int32_t scheme,
                                       struct list_slice *slice);

/* A place in the feed of a scheme: after an entry (0: before all), or after the cut of a day (since 1970)
 * that stands after the entry. */
struct feed_place {
    int32_t scheme;
    int64_t entry;
    int64_t day; /* SLICE_START: of no cut */
};

/* How far the feed of a scheme goes. */
struct feed_end {
    int32_t scheme;
    int64_t last_entry;
    int64_t cut_entry, cut_day; /* of the last cut; SLICE_START: there is none */
};

/* Of the schemes with these ids (NULL: of all), in the order of the ids. */
MUST_CHECK enum store_result read_feed_ends(struct pg *pg, struct arena *arena, const int32_t *schemes,
                                            size_t scheme_count, struct feed_end **ends, size_t *count);

/* Whether something comes after the place. */
bool feed_goes_on(const struct feed_place *place, const struct feed_end *end);

/* A part of a feed of many schemes. */
struct feed_part {
    const struct feed_end *end;
    const char *code;         /* of the scheme, for the member `scheme` of each item */
    int limit;                /* of items */
    struct feed_place *place; /* that the part begins after; moves on */
    struct buffer *items;     /* gets the items, and a comma before the first if it has items already */
    int added;                /* set by the call: how many items came */
};

/* Reads what comes after the place. Runs up to two statements. */
MUST_CHECK enum store_result read_feed_part(struct pg *pg, struct arena *arena, struct feed_part *part);

#endif
