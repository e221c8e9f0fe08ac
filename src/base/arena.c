/* SPDX-License-Identifier: ISC */
/* Memory that is given back all at once. Allocations are cut from the newest block in the chain; the free
 * part of a block is poisoned, so that AddressSanitizer reports use past an allocation and use after a
 * reset. */
#include "base/arena.h"

#include "base/memory.h"

#include <assert.h>
#include <sanitizer/asan_interface.h> /* its macros are no-ops unless built with AddressSanitizer */
#include <stdalign.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_SIZE = 8192, ITEMS_AT_FIRST = 16 };

struct arena_block {
    struct arena_block *next;
    size_t capacity;
    size_t used;
    alignas(max_align_t) char data[];
};

void arena_init(struct arena *arena, size_t maximum)
{
    *arena = (struct arena){.maximum = maximum};
}

static void block_free(struct arena_block *block)
{
    ASAN_UNPOISON_MEMORY_REGION(block->data, block->capacity);
    free(block);
}

static struct arena_block *block_new(size_t capacity)
{
    struct arena_block *block = memory_allocate(sizeof *block + capacity);
    if (!block)
        return NULL;
    *block = (struct arena_block){.capacity = capacity};
    ASAN_POISON_MEMORY_REGION(block->data, capacity);
    return block;
}

/* Keeps a block of the usual size only: a large one would be held for the sake of one large request. */
void arena_reset(struct arena *arena)
{
    struct arena_block *kept = NULL;
    struct arena_block *next;

    for (struct arena_block *block = arena->blocks; block; block = next) {
        next = block->next;
        if (kept || block->capacity != BLOCK_SIZE)
            block_free(block);
        else
            kept = block;
    }
    if (kept) {
        kept->next = NULL;
        kept->used = 0;
        ASAN_POISON_MEMORY_REGION(kept->data, kept->capacity);
    }
    arena->blocks = kept;
    arena->used = 0;
}

void arena_dispose(struct arena *arena)
{
    arena_reset(arena);
    if (arena->blocks)
        block_free(arena->blocks);
    arena_init(arena, arena->maximum);
}

/* The newest block stays in front, because it may have room. */
void arena_adopt(struct arena *arena, struct arena *other)
{
    struct arena_block **place = arena->blocks != NULL ? &arena->blocks->next : &arena->blocks;
    struct arena_block *rest = *place;
    *place = other->blocks;
    while (*place != NULL)
        place = &(*place)->next;
    *place = rest;
    arena_init(other, other->maximum);
}

size_t arena_held(const struct arena *arena)
{
    size_t bytes = 0;
    for (const struct arena_block *block = arena->blocks; block; block = block->next)
        bytes += sizeof *block + block->capacity;
    return bytes;
}

/* Up to the alignment of any type. An allocation of no bytes takes room as well, so that each allocation has
 * its own address. */
static size_t rounded(size_t size)
{
    size_t alignment = alignof(max_align_t);
    return size == 0 ? alignment : (size + alignment - 1) / alignment * alignment;
}

void *arena_alloc(struct arena *arena, size_t size)
{
    size_t room = rounded(size);
    if (size > PTRDIFF_MAX - BLOCK_SIZE || (arena->maximum != 0 && room > arena->maximum - arena->used)) {
        memory_note_failure();
        return NULL;
    }

    struct arena_block *block = arena->blocks;
    if (!block || room > block->capacity - block->used) {
        block = block_new(room > BLOCK_SIZE ? room : BLOCK_SIZE);
        if (!block)
            return NULL;
        block->next = arena->blocks;
        arena->blocks = block;
    }
    char *data = block->data + block->used;
    block->used += room;
    arena->used += room;
    ASAN_UNPOISON_MEMORY_REGION(data, size);
    return memset(data, 0, size);
}

void *arena_array(struct arena *arena, size_t count, size_t size)
{
    size_t total;
    if (__builtin_mul_overflow(count, size, &total))
        total = SIZE_MAX; /* more than there can be */
    return arena_alloc(arena, total);
}

char *arena_copy(struct arena *arena, const char *text, size_t length)
{
    char *copy = length < SIZE_MAX ? arena_alloc(arena, length + 1) : NULL;
    if (copy && length > 0)
        memcpy(copy, text, length);
    return copy;
}

bool arena_grow(struct arena *arena, void *array, size_t count, size_t *capacity, size_t size)
{
    if (count < *capacity)
        return true;
    size_t larger = *capacity > 0 ? *capacity * 2 : ITEMS_AT_FIRST;
    void *memory = arena_array(arena, larger, size), *old;
    if (memory == NULL)
        return false;
    memcpy(&old, array, sizeof old);
    if (count > 0)
        memcpy(memory, old, count * size);
    memcpy(array, &memory, sizeof memory);
    *capacity = larger;
    return true;
}
