/* SPDX-License-Identifier: ISC */
/* camt.053.001.08, BankToCustomerStatement: a bank's report of the bookings on an account.
 *
 * The text comes from outside, so it is read with care. It must be UTF-8 without a document type, and so
 * without entities of its own. Nothing is fetched. Depth, lengths and numbers are bounded, and every element
 * must be of the message's namespace. Elements that the service does not use are skipped. Results live in the
 * arena. Any thread. */
#ifndef DEPOSITD_PAYMENT_CAMT053_H
#define DEPOSITD_PAYMENT_CAMT053_H

#include "base/arena.h"
#include "payment/camt053_statement.h"

/* Sets up the XML library. To be called once, before there are threads. */
void camt053_init(void);

MUST_CHECK enum camt_result camt053_read(const char *text, size_t length, const struct currency *currency,
                                         struct arena *arena, struct camt_document *document);

#endif
