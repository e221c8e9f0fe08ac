/* SPDX-License-Identifier: ISC */
/* The proof that an entry is under its day's seal: its leaf, the path to the root (RFC 9162 section 2.1.3),
 * and the parts of the seal. A proof that does not hold is never given. */
#ifndef DEPOSITD_APP_PROOF_PROOF_H
#define DEPOSITD_APP_PROOF_PROOF_H

#include "depositd/network.h"
#include "store/seal_store.h"

struct proof {
    int64_t entry;
    struct date date;
    const char *leaf; /* canonical JSON */
    struct sha256 hash;
    struct inclusion inclusion; /* index and path */
    uint64_t leaves;
    struct sha256 root, previous, seal;
    const char *document; /* the other data under the seal; NULL unless asked for */
};

struct proof_order {
    const struct network *network;
    const struct scheme *scheme;
    int64_t entry;
    struct visible_sites visible;
    bool with_document; /* for readers who may see all participants' figures */
};

/* Texts are in the arena. *refusal: NOT_FOUND, DAY_NOT_SEALED, or SEAL_BROKEN if the rows no longer lead to
 * the seal. The cost grows with the entries of the day; the memory is constant. */
MUST_CHECK enum store_result proof_make(struct pg *pg, struct arena *arena, const struct proof_order *order,
                                        struct proof *proof, enum reason *refusal);

#endif
