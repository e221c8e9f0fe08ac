/* SPDX-License-Identifier: ISC */
/* A set of names of things, kept as hashes of 8 bytes: a change that comes in many pieces remembers by it
 * what stood in earlier pieces. Two names may share a hash, once in some billion changes of a million things;
 * the change is then refused as if it named a thing twice. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_SEEN_H
#define DEPOSITD_APP_NETWORK_REFERENCE_SEEN_H

#include "store/reference_store.h"

struct seen {
    uint64_t *slots; /* open addressing; 0: free */
    size_t count, capacity;
};

void seen_dispose(struct seen *seen);
/* Whether the set has the name, which is `size` bytes. */
bool seen_has(const struct seen *seen, enum reference_kind kind, const void *name, size_t size);
/* Adds the name. *before: whether the set had it. False: no memory. */
MUST_CHECK bool seen_add(struct seen *seen, enum reference_kind kind, const void *name, size_t size,
                         bool *before);

#endif
