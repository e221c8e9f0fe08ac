/* SPDX-License-Identifier: ISC */
/* By what a statement, and a line, are told again when the bank sends them again. Any thread. */
#ifndef DEPOSITD_APP_OFFICE_BANK_DIGEST_H
#define DEPOSITD_APP_OFFICE_BANK_DIGEST_H

#include "depositd/seal.h"
#include "payment/camt053.h"

/* Its IBAN, or else the other number it has. */
const char *bank_account_of(const struct camt_statement *statement);

/* Over what the statement says, not how. False: no memory. */
MUST_CHECK bool bank_statement_digest(const struct camt_statement *statement, struct sha256 *digest);
/* Of a line with a reference of the bank's, over that and what goes with it: some banks give one reference to
 * many entries. False: no memory. */
MUST_CHECK bool bank_line_digest(const struct camt_statement *statement, const struct camt_line *line,
                                 struct sha256 *digest);

#endif
