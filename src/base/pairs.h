/* SPDX-License-Identifier: ISC */
/* A set of pairs of numbers, each at a position 0, 1, 2 … in the order in which it was first put in: the
 * caller keeps what belongs to a pair in an array of its own. Memory comes from the arena. One thread at a
 * time. */
#ifndef DEPOSITD_BASE_PAIRS_H
#define DEPOSITD_BASE_PAIRS_H

#include "base/arena.h"

#include <stdbool.h>
#include <stdint.h>

struct pair {
    int64_t first, second;
};

struct pairs {
    struct arena *arena;
    struct pair *items; /* by position */
    uint32_t count, capacity;
    uint32_t *slots; /* position + 1; 0: free */
    uint32_t slot_count;
};

void pairs_init(struct pairs *pairs, struct arena *arena);
/* The pair's position; *added says whether it is new. False: no memory. */
MUST_CHECK bool pairs_put(struct pairs *pairs, struct pair pair, uint32_t *position, bool *added);
/* False: it is not in. */
MUST_CHECK bool pairs_find(const struct pairs *pairs, struct pair pair, uint32_t *position);

#endif
