/* SPDX-License-Identifier: ISC */
/* The document of a seal. A day's seal is the hash of the previous seal, the root of the day's Merkle tree,
 * and this document. The close writes the document, and a check of the seal writes it again from the rows. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_DOCUMENT_H
#define DEPOSITD_APP_CLOSING_CLOSE_DOCUMENT_H

#include "base/buffer.h"
#include "depositd/network.h"
#include "store/close_store.h"

struct close_document {
    const struct network *network;
    const struct scheme *scheme;
    struct date date;
    uint64_t entries;
    const struct position_row *positions; /* by participant code */
    size_t position_count;
    const struct payment_row *payments; /* by payment id */
    size_t payment_count;
};

/* Appends canonical JSON: {date, entries, payments, positions, scheme}. */
void close_document_write(const struct close_document *document, struct buffer *text);

/* How the document names a party to a payment: "pool" for 0, else the participant's code. "?" stands for a
 * participant that does not exist; only a tampered row names one. */
/* Writes the party that is paid: as above, or pool/CODE for another scheme's pool. */
void close_document_payee(const struct network *network, const struct payment_row *payment,
                          struct buffer *text);
const char *close_document_party(const struct network *network, int32_t participant);

#endif
