/* SPDX-License-Identifier: ISC */
/* What a seal was made of, written anew from the rows: the leaf of an entry, and the document of a day's
 * figures. For those who prove a seal and those who doubt it. */
#ifndef DEPOSITD_APP_PROOF_SEALED_H
#define DEPOSITD_APP_PROOF_SEALED_H

#include "base/buffer.h"
#include "depositd/network.h"
#include "store/seal_store.h"

/* Replaces `text` by the entry's leaf. False: the row is such that there is none, or it does not fit. */
MUST_CHECK bool sealed_leaf(const struct network *network, const struct scheme *scheme,
                            const struct leaf_row *row, struct buffer *text);

/* Appends the document. What it reads on the way is of the arena. */
MUST_CHECK enum store_result sealed_document(struct pg *pg, struct arena *arena,
                                             const struct network *network, const struct scheme *scheme,
                                             const struct sealed_day *day, struct buffer *text);

#endif
