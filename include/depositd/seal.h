/* SPDX-License-Identifier: ISC */
/* The seal of a business day: SHA-256 and the Merkle tree of RFC 9162 section 2.1, grown leaf by leaf.
 *
 * A frontier holds the roots of the perfect subtrees of the leaves so far, largest first: one for each bit
 * set in `leaves`. Adding a leaf costs one or a few hashes and the day's root is ready at any time, so that a
 * close hashes nothing again. Pure; any thread. */
#ifndef DEPOSITD_SEAL_H
#define DEPOSITD_SEAL_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SHA256_SIZE = 32, SHA256_HEX_MAX = 65, FRONTIER_NODES_MAX = 64 };

struct sha256 {
    uint8_t bytes[SHA256_SIZE];
};

struct frontier {
    uint64_t leaves;
    struct sha256 nodes[FRONTIER_NODES_MAX]; /* popcount(leaves) of them are in use */
};

void sha256_of(const void *data, size_t length, struct sha256 *digest);
void sha256_hex(const struct sha256 *digest, char text[static SHA256_HEX_MAX]);

/* H(0x00 || data), H(0x01 || left || right). */
void merkle_leaf(const void *data, size_t length, struct sha256 *leaf);
void merkle_node(const struct sha256 *left, const struct sha256 *right, struct sha256 *node);

void frontier_init(struct frontier *frontier);
void frontier_append(struct frontier *frontier, const struct sha256 *leaf);
/* The root over the leaves so far; SHA-256 of nothing when there are none. */
void frontier_root(const struct frontier *frontier, struct sha256 *root);
/* How many nodes are in use: they are stored as that many times 32 bytes, together with `leaves`. */
size_t frontier_node_count(const struct frontier *frontier);
/* Restores what was stored. False: `node_count` does not fit `leaves`. */
MUST_CHECK bool frontier_restore(struct frontier *frontier, uint64_t leaves, const void *nodes,
                                 size_t node_count);

/* SHA-256(previous || root || document): the document is the canonical JSON of the day's figures. */
void seal_of(const struct sha256 *previous, const struct sha256 *root, const void *document, size_t length,
             struct sha256 *seal);

#endif
