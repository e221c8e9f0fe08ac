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
/* Restores a stored frontier. False: `node_count` does not fit `leaves`. */
MUST_CHECK bool frontier_restore(struct frontier *frontier, uint64_t leaves, const void *nodes,
                                 size_t node_count);

/* The inclusion path of one leaf (RFC 9162 section 2.1.3): the hashes that its hash is joined with, step by
 * step, on the way to the root. It is found in one pass over the hashes of all leaves, of which no more than
 * a frontier is kept. */
enum { INCLUSION_PATH_MAX = 64 };

struct inclusion {
    bool found;     /* the leaf has come by, … */
    uint64_t index; /* … and was this one, from 0 */
    struct frontier frontier;
    struct sha256 path[INCLUSION_PATH_MAX];
    size_t length;
};

void inclusion_init(struct inclusion *inclusion);
/* The next leaf's hash; `wanted`: it is the one whose path is to be found. */
void inclusion_append(struct inclusion *inclusion, const struct sha256 *leaf, bool wanted);
/* After the last leaf: completes the path, and gives the root. False: the leaf did not come by. */
MUST_CHECK bool inclusion_finish(struct inclusion *inclusion, struct sha256 *root);

/* Whether the path leads from the leaf's hash to the root of a tree of so many leaves (RFC 9162
 * section 2.1.3.2). */
MUST_CHECK bool inclusion_verify(const struct sha256 *leaf, uint64_t index, uint64_t leaves,
                                 const struct sha256 *path, size_t length, const struct sha256 *root);

/* SHA-256(previous || root || document): the document is the canonical JSON of the day's figures. */
void seal_of(const struct sha256 *previous, const struct sha256 *root, const void *document, size_t length,
             struct sha256 *seal);

#endif
