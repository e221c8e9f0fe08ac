/* SPDX-License-Identifier: ISC */
/* Memory that is given back all at once: memory for one request, or for one batch of the writer.
 *
 * Blocks are chained; each allocation is zeroed and aligned for any type. Freed memory is poisoned under
 * AddressSanitizer. Owned by one thread at a time. */
#ifndef DEPOSITD_BASE_ARENA_H
#define DEPOSITD_BASE_ARENA_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

struct arena_block;

struct arena {
    struct arena_block *blocks;
    size_t used;    /* bytes handed out in all, for the maximum */
    size_t maximum; /* 0: none */
};

void arena_init(struct arena *arena, size_t maximum);
void arena_dispose(struct arena *arena);
/* Forgets all allocations; keeps one block for the next round. */
void arena_reset(struct arena *arena);

/* Takes over the allocations of `other`, which is empty then. They don't count towards the maximum. */
void arena_adopt(struct arena *arena, struct arena *other);

/* The bytes that it takes from the system, with blocks that are not full. */
size_t arena_held(const struct arena *arena);

/* NULL: out of memory, or over the maximum. */
MUST_CHECK void *arena_alloc(struct arena *arena, size_t size);
/* `count` objects of `size`, checked for overflow. */
MUST_CHECK void *arena_array(struct arena *arena, size_t count, size_t size);
/* A NUL-terminated copy. */
MUST_CHECK char *arena_copy(struct arena *arena, const char *text, size_t length);

/* Makes room for one more element of `size` in an array that grows by doubling within an arena. False: no
 * memory. */
MUST_CHECK bool arena_grow(struct arena *arena, void *array, size_t count, size_t *capacity, size_t size);

#endif
