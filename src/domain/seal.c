/* SPDX-License-Identifier: ISC */
/* SHA-256 by Nettle, and over it the tree of RFC 9162 section 2.1. The frontier is a binary counter:
 * appending a leaf joins equal subtrees as adding one carries. Nettle keeps its state on our stack, so that
 * hashing can't fail; GnuTLS allocates for each hash, also in gnutls_hash_fast. */
#include "depositd/seal.h"

#include <assert.h>
#include <nettle/sha2.h>
#include <string.h>

_Static_assert(SHA256_SIZE == SHA256_DIGEST_SIZE, "a digest is all of SHA-256");

struct part {
    const void *data;
    size_t length;
};

static void hash_parts(const struct part *parts, size_t count, struct sha256 *digest)
{
    struct sha256_ctx hash;
    sha256_init(&hash);
    for (size_t i = 0; i < count; i++)
        if (parts[i].length > 0) /* data may be NULL where it is empty */
            sha256_update(&hash, parts[i].length, parts[i].data);
    sha256_digest(&hash, SHA256_SIZE, digest->bytes);
}

void sha256_of(const void *data, size_t length, struct sha256 *digest)
{
    hash_parts(&(const struct part){data, length}, 1, digest);
}

void sha256_hex(const struct sha256 *digest, char text[static SHA256_HEX_MAX])
{
    for (size_t i = 0; i < SHA256_SIZE; i++) {
        text[2 * i] = "0123456789abcdef"[digest->bytes[i] >> 4];
        text[2 * i + 1] = "0123456789abcdef"[digest->bytes[i] & 15];
    }
    text[SHA256_HEX_MAX - 1] = '\0';
}

void merkle_leaf(const void *data, size_t length, struct sha256 *leaf)
{
    hash_parts((const struct part[]){{"\x00", 1}, {data, length}}, 2, leaf);
}

/* `node` may be one of the two. */
void merkle_node(const struct sha256 *left, const struct sha256 *right, struct sha256 *node)
{
    uint8_t input[1 + 2 * SHA256_SIZE] = {1};
    memcpy(input + 1, left->bytes, SHA256_SIZE);
    memcpy(input + 1 + SHA256_SIZE, right->bytes, SHA256_SIZE);
    sha256_of(input, sizeof input, node);
}

void frontier_init(struct frontier *frontier)
{
    *frontier = (struct frontier){0};
}

void frontier_append(struct frontier *frontier, const struct sha256 *leaf)
{
    assert(frontier->leaves < UINT64_MAX);
    struct sha256 node = *leaf;
    size_t last = frontier_node_count(frontier);
    for (uint64_t carry = frontier->leaves; carry & 1; carry >>= 1)
        merkle_node(&frontier->nodes[--last], &node, &node);
    frontier->nodes[last] = node;
    frontier->leaves++;
}

void frontier_root(const struct frontier *frontier, struct sha256 *root)
{
    size_t left = frontier_node_count(frontier);
    if (left == 0) {
        sha256_of("", 0, root);
        return;
    }
    *root = frontier->nodes[--left];
    while (left > 0)
        merkle_node(&frontier->nodes[--left], root, root);
}

size_t frontier_node_count(const struct frontier *frontier)
{
    return (size_t)__builtin_popcountll(frontier->leaves);
}

bool frontier_restore(struct frontier *frontier, uint64_t leaves, const void *nodes, size_t node_count)
{
    if (node_count != (size_t)__builtin_popcountll(leaves))
        return false;
    *frontier = (struct frontier){.leaves = leaves};
    if (node_count > 0)
        memcpy(frontier->nodes, nodes, node_count * sizeof *frontier->nodes);
    return true;
}

void seal_of(const struct sha256 *previous, const struct sha256 *root, const void *document, size_t length,
             struct sha256 *seal)
{
    const struct part parts[] = {
        {previous->bytes, SHA256_SIZE}, {root->bytes, SHA256_SIZE}, {document, length}};
    hash_parts(parts, sizeof parts / sizeof *parts, seal);
}
