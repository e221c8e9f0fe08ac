/* SPDX-License-Identifier: ISC */
/* Open addressing over positions; grows at half full. */
#include "base/pairs.h"

#include <string.h>

enum { SLOTS_AT_FIRST = 64 };

void pairs_init(struct pairs *pairs, struct arena *arena)
{
    *pairs = (struct pairs){.arena = arena};
}

static uint64_t hash(struct pair pair)
{
    uint64_t mixed = (uint64_t)pair.first * UINT64_C(0x9E3779B97F4A7C15) ^ (uint64_t)pair.second;
    mixed ^= mixed >> 32;
    mixed *= UINT64_C(0xD6E8FEB86659FD93);
    return mixed ^ mixed >> 32;
}

/* The slot that holds the pair, or the free one where it belongs. */
static uint32_t slot_of(const struct pairs *pairs, struct pair pair)
{
    uint32_t slot = (uint32_t)hash(pair) & (pairs->slot_count - 1);
    while (pairs->slots[slot] != 0) {
        const struct pair *item = &pairs->items[pairs->slots[slot] - 1];
        if (item->first == pair.first && item->second == pair.second)
            break;
        slot = (slot + 1) & (pairs->slot_count - 1);
    }
    return slot;
}

static bool grow_slots(struct pairs *pairs)
{
    uint32_t slot_count = pairs->slot_count > 0 ? pairs->slot_count * 2 : SLOTS_AT_FIRST;
    uint32_t *slots = arena_array(pairs->arena, slot_count, sizeof *slots);
    if (slots == NULL)
        return false;
    pairs->slots = slots;
    pairs->slot_count = slot_count;
    for (uint32_t i = 0; i < pairs->count; i++)
        pairs->slots[slot_of(pairs, pairs->items[i])] = i + 1;
    return true;
}

bool pairs_put(struct pairs *pairs, struct pair pair, uint32_t *position, bool *added)
{
    if (pairs->count * 2 >= pairs->slot_count && !grow_slots(pairs))
        return false;
    uint32_t slot = slot_of(pairs, pair);
    *added = pairs->slots[slot] == 0;
    if (*added) {
        size_t capacity = pairs->capacity;
        if (!arena_grow(pairs->arena, &pairs->items, pairs->count, &capacity, sizeof pair))
            return false;
        pairs->capacity = (uint32_t)capacity;
        pairs->items[pairs->count++] = pair;
        pairs->slots[slot] = pairs->count;
    }
    *position = pairs->slots[slot] - 1;
    return true;
}

bool pairs_find(const struct pairs *pairs, struct pair pair, uint32_t *position)
{
    if (pairs->slot_count == 0)
        return false;
    uint32_t slot = slot_of(pairs, pair);
    if (pairs->slots[slot] == 0)
        return false;
    *position = pairs->slots[slot] - 1;
    return true;
}
