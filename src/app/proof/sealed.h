/* SPDX-License-Identifier: ISC */
/* The data under a seal, written again from the rows: the leaf of an entry, and the document of a day's
 * figures. Proofs and checks use it. */
#ifndef DEPOSITD_APP_PROOF_SEALED_H
#define DEPOSITD_APP_PROOF_SEALED_H

#include "base/buffer.h"
#include "depositd/network.h"
#include "store/seal_store.h"

/* Replaces `text` by the entry's leaf. False: the row cannot have a leaf, or the leaf does not fit. */
MUST_CHECK bool sealed_leaf(const struct network *network, const struct scheme *scheme,
                            const struct leaf_row *row, struct buffer *text);

/* Appends the document. The data that it reads on the way is in the arena. */
MUST_CHECK enum store_result sealed_document(struct pg *pg, struct arena *arena,
                                             const struct network *network, const struct scheme *scheme,
                                             const struct sealed_day *day, struct buffer *text);

#endif
