/* SPDX-License-Identifier: ISC */
/* The elements that pain.001 and pain.008 share, written through libxml2. The writer remembers that a call
 * has failed, and pain_end reports it. */
#ifndef DEPOSITD_PAYMENT_PAIN_WRITER_H
#define DEPOSITD_PAYMENT_PAIN_WRITER_H

#include "payment/pain.h"

#include <libxml/xmlwriter.h>

struct pain_writer {
    xmlBufferPtr memory;
    xmlTextWriterPtr xml;
    const struct pain_file *file;
    bool sepa; /* euro between IBANs: write the scheme's own codes */
    bool failed;
};

/* The currency in which an order is instructed. */
const struct currency *pain_currency(const struct pain_file *file, const struct pain_order *order);

/* Sorts the file's orders (by date, use of the mandate, currency, and reference) and begins the document: its
 * root, the message's element and the group header. */
void pain_begin(struct pain_writer *writer, struct pain_file *file, const char *namespace,
                const char *message);
/* Ends the document, adds it to the buffer and frees the writer. False: a call has failed. */
MUST_CHECK bool pain_end(struct pain_writer *writer, struct buffer *xml);

void pain_open(struct pain_writer *writer, const char *element);
void pain_close(struct pain_writer *writer);
void pain_text(struct pain_writer *writer, const char *element, const char *text);
/* <element><inner>text</inner></element> */
void pain_wrapped(struct pain_writer *writer, const char *element, const char *inner, const char *text);
void pain_date(struct pain_writer *writer, const char *element, struct date date);
void pain_name(struct pain_writer *writer, const char *element, const char *name);
void pain_instructed(struct pain_writer *writer, const struct pain_order *order);
void pain_account(struct pain_writer *writer, const char *element, const struct pain_party *party);
void pain_agent(struct pain_writer *writer, const char *element, const struct pain_party *party);
void pain_references(struct pain_writer *writer, const struct pain_order *order);
void pain_remittance(struct pain_writer *writer);

/* Finds the end of the block of orders that begins at `first`: the index where the next block begins. */
size_t pain_block_end(const struct pain_file *file, size_t first);
/* Opens PmtInf, with its id, method, count and sum; `block` is 0, 1 … */
void pain_open_block(struct pain_writer *writer, const char *method, size_t block, size_t first, size_t end);

#endif
