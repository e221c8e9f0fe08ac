/* SPDX-License-Identifier: ISC */
/* Digests by which a statement or a line is known again when the bank repeats it. Any thread. */
#ifndef DEPOSITD_APP_OFFICE_BANK_DIGEST_H
#define DEPOSITD_APP_OFFICE_BANK_DIGEST_H

#include "depositd/seal.h"
#include "payment/camt053.h"

/* The statement's IBAN, or else its account number. */
const char *bank_account_of(const struct camt_statement *statement);

/* The digest of what the statement says, however the message writes it. False: no memory. */
MUST_CHECK bool bank_statement_digest(const struct camt_statement *statement, struct sha256 *digest);
/* The digest of a line that has a reference of the bank. It is also over part, amount, day and end-to-end id,
 * because some banks give one reference to many entries. False: no memory. */
MUST_CHECK bool bank_line_digest(const struct camt_statement *statement, const struct camt_line *line,
                                 struct sha256 *digest);

#endif
