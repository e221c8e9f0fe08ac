/* SPDX-License-Identifier: ISC */
/* Inclusion paths (RFC 9162 section 2.1.3). Whenever two subtrees are joined, and the leaf is in one of them,
 * the other is the next step of its path: first as leaves come in and equal subtrees are joined, then, from
 * the right, as those that are left over are. */
#include "depositd/seal.h"

#include <assert.h>
#include <string.h>

void inclusion_init(struct inclusion *inclusion)
{
    *inclusion = (struct inclusion){0};
}

static void add_step(struct inclusion *inclusion, const struct sha256 *sibling)
{
    assert(inclusion->length < INCLUSION_PATH_MAX);
    inclusion->path[inclusion->length++] = *sibling;
}

/* Two neighbours are about to be joined: the left of them holds the leaves from `first`, the right those from
 * `middle` up to `end`. */
static void watch(struct inclusion *inclusion, const struct sha256 *left, const struct sha256 *right,
                  uint64_t first, uint64_t middle, uint64_t end)
{
    if (!inclusion->found)
        return;
    if (inclusion->index >= first && inclusion->index < middle)
        add_step(inclusion, right);
    else if (inclusion->index >= middle && inclusion->index < end)
        add_step(inclusion, left);
}

/* As frontier_append, with an eye on the leaf. */
void inclusion_append(struct inclusion *inclusion, const struct sha256 *leaf, bool wanted)
{
    struct frontier *frontier = &inclusion->frontier;
    size_t last = frontier_node_count(frontier);
    uint64_t end = frontier->leaves + 1, width = 1;
    struct sha256 node = *leaf;
    if (wanted) {
        inclusion->found = true;
        inclusion->index = frontier->leaves;
    }
    for (uint64_t carry = frontier->leaves; carry & 1; carry >>= 1) {
        const struct sha256 *left = &frontier->nodes[--last];
        watch(inclusion, left, &node, end - 2 * width, end - width, end);
        merkle_node(left, &node, &node);
        width *= 2;
    }
    frontier->nodes[last] = node;
    frontier->leaves++;
}

bool inclusion_finish(struct inclusion *inclusion, struct sha256 *root)
{
    const struct frontier *frontier = &inclusion->frontier;
    if (!inclusion->found)
        return false;
    size_t left = frontier_node_count(frontier) - 1;
    uint64_t middle = frontier->leaves, rest = frontier->leaves;
    struct sha256 node = frontier->nodes[left];
    while (left > 0) {
        middle -= rest & -rest; /* the smallest subtree that is left is the last one */
        rest &= rest - 1;
        watch(inclusion, &frontier->nodes[--left], &node, middle - (rest & -rest), middle, frontier->leaves);
        merkle_node(&frontier->nodes[left], &node, &node);
    }
    *root = node;
    return true;
}

bool inclusion_verify(const struct sha256 *leaf, uint64_t index, uint64_t leaves, const struct sha256 *path,
                      size_t length, const struct sha256 *root)
{
    if (index >= leaves)
        return false;
    struct sha256 node = *leaf;
    uint64_t at = index, last = leaves - 1;
    for (size_t i = 0; i < length; i++) {
        if (last == 0)
            return false;
        if ((at & 1) == 0 && at != last) {
            merkle_node(&node, &path[i], &node);
        } else {
            merkle_node(&path[i], &node, &node);
            while ((at & 1) == 0 && at != 0) {
                at >>= 1;
                last >>= 1;
            }
        }
        at >>= 1;
        last >>= 1;
    }
    return last == 0 && memcmp(&node, root, sizeof node) == 0;
}
