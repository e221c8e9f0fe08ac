/* SPDX-License-Identifier: ISC */
/* A hash table that is at most half full. */
#include "app/network/reference_seen.h"

#include "base/memory.h"
#include "depositd/seal.h"

#include <stdlib.h>
#include <string.h>

enum { CAPACITY_FIRST = 1024, NAME_MAX_SIZE = 128 };

/* Never 0, which marks a free slot. */
static uint64_t hash_of(enum reference_kind kind, const void *name, size_t size)
{
    char text[NAME_MAX_SIZE] = {(char)kind};
    struct sha256 hash;
    uint64_t number;
    if (size > sizeof text - 1)
        abort();
    memcpy(text + 1, name, size);
    sha256_of(text, size + 1, &hash);
    memcpy(&number, hash.bytes, sizeof number);
    return number != 0 ? number : 1;
}

/* The slot that has the number, or the free one that it belongs into. */
static uint64_t *slot_of(uint64_t *slots, size_t capacity, uint64_t number)
{
    size_t i = (size_t)(number & (capacity - 1));
    while (slots[i] != 0 && slots[i] != number)
        i = (i + 1) & (capacity - 1);
    return &slots[i];
}

static bool grow(struct seen *seen)
{
    size_t capacity = seen->capacity == 0 ? CAPACITY_FIRST : 2 * seen->capacity;
    uint64_t *slots = calloc(capacity, sizeof *slots);
    if (slots == NULL) {
        memory_note_failure();
        return false;
    }
    for (size_t i = 0; i < seen->capacity; i++)
        if (seen->slots[i] != 0)
            *slot_of(slots, capacity, seen->slots[i]) = seen->slots[i];
    free(seen->slots);
    seen->slots = slots;
    seen->capacity = capacity;
    return true;
}

void seen_dispose(struct seen *seen)
{
    free(seen->slots);
    *seen = (struct seen){0};
}

bool seen_has(const struct seen *seen, enum reference_kind kind, const void *name, size_t size)
{
    return seen->count > 0 && *slot_of(seen->slots, seen->capacity, hash_of(kind, name, size)) != 0;
}

bool seen_add(struct seen *seen, enum reference_kind kind, const void *name, size_t size, bool *before)
{
    if (2 * seen->count >= seen->capacity && !grow(seen))
        return false;
    uint64_t number = hash_of(kind, name, size);
    uint64_t *slot = slot_of(seen->slots, seen->capacity, number);
    *before = *slot != 0;
    *slot = number;
    seen->count += !*before;
    return true;
}
