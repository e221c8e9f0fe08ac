/* SPDX-License-Identifier: ISC */
/* Makes a proof from the rows as they are, and checks it as its reader will. */
#include "app/proof/proof.h"

#include "app/proof/sealed.h"

#include <string.h>

enum { LEAF_MAX = 1 << 24, DOCUMENT_MAX = 64 << 20 };

static enum store_result append_hashes(struct pg *pg, struct hash_range range, struct inclusion *inclusion)
{
    struct arena arena;
    struct hash_slice slice = {.more = true};
    enum store_result result = STORE_OK;
    arena_init(&arena, 0);
    while (slice.more && result == STORE_OK) {
        arena_reset(&arena);
        result = read_hashes(pg, &arena, &range, &slice);
        for (size_t i = 0; i < slice.count && result == STORE_OK; i++)
            inclusion_append(inclusion, &slice.hashes[i], false);
        range.after = slice.last;
    }
    arena_dispose(&arena);
    return result;
}

static enum store_result find_path(struct pg *pg, const struct proof_order *order,
                                   const struct proof_row *row, struct proof *proof)
{
    struct hash_range before = {order->scheme->id, row->day.date, row->first_entry - 1, row->leaf.entry - 1};
    struct hash_range after = {order->scheme->id, row->day.date, row->leaf.entry, row->last_entry};
    inclusion_init(&proof->inclusion);
    enum store_result result = append_hashes(pg, before, &proof->inclusion);
    inclusion_append(&proof->inclusion, &row->leaf.hash, true);
    if (result == STORE_OK)
        result = append_hashes(pg, after, &proof->inclusion);
    return result;
}

static enum store_result write_leaf(const struct proof_order *order, const struct proof_row *row,
                                    struct arena *arena, struct proof *proof, enum reason *refusal)
{
    struct buffer text;
    buffer_init(&text, LEAF_MAX);
    if (sealed_leaf(order->network, order->scheme, &row->leaf, &text)) {
        merkle_leaf(text.data, text.length, &proof->hash);
        proof->leaf = arena_copy(arena, text.data, text.length);
    } else if (!text.failed) { /* otherwise there was no memory for it */
        *refusal = REASON_SEAL_BROKEN;
    }
    buffer_dispose(&text);
    return proof->leaf != NULL || *refusal != REASON_NONE ? STORE_OK : STORE_FAILED;
}

static enum store_result write_document(struct pg *pg, const struct proof_order *order,
                                        const struct proof_row *row, struct arena *arena, struct proof *proof,
                                        enum reason *refusal)
{
    struct buffer text;
    struct sha256 seal;
    buffer_init(&text, DOCUMENT_MAX);
    enum store_result result = sealed_document(pg, arena, order->network, order->scheme, &row->day, &text);
    if (result == STORE_OK) {
        seal_of(&proof->previous, &proof->root, text.data, text.length, &seal);
        if (memcmp(&seal, &proof->seal, sizeof seal) != 0)
            *refusal = REASON_SEAL_BROKEN;
        if (order->with_document) {
            proof->document = arena_copy(arena, text.data, text.length);
            result = proof->document != NULL ? STORE_OK : STORE_FAILED;
        }
    }
    buffer_dispose(&text);
    return result;
}

/* Completes the path, which must lead from the leaf to the root. */
static bool holds(struct proof *proof)
{
    struct inclusion *inclusion = &proof->inclusion;
    struct sha256 root;
    return inclusion_finish(inclusion, &root) &&
           inclusion_verify(&proof->hash, inclusion->index, proof->leaves, inclusion->path, inclusion->length,
                            &proof->root);
}

enum store_result proof_make(struct pg *pg, struct arena *arena, const struct proof_order *order,
                             struct proof *proof, enum reason *refusal)
{
    struct entry_place place = {order->scheme->id, order->entry};
    struct proof_row row;
    bool found;
    *refusal = REASON_NONE;
    enum store_result result = read_proof_entry(pg, arena, &place, &order->visible, &row, &found);
    if (result != STORE_OK)
        return result;
    if (!found || !row.day.sealed) {
        *refusal = found ? REASON_DAY_NOT_SEALED : REASON_NOT_FOUND;
        return STORE_OK;
    }
    *proof = (struct proof){.entry = row.leaf.entry,
                            .date = row.day.date,
                            .leaves = (uint64_t)row.day.entries,
                            .root = row.day.root,
                            .previous = row.day.previous,
                            .seal = row.day.seal};
    result = write_leaf(order, &row, arena, proof, refusal);
    if (result == STORE_OK)
        result = find_path(pg, order, &row, proof);
    if (result == STORE_OK)
        result = write_document(pg, order, &row, arena, proof, refusal);
    if (result == STORE_OK && !holds(proof))
        *refusal = REASON_SEAL_BROKEN;
    return result;
}
