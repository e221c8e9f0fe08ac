/* SPDX-License-Identifier: ISC */
/* International bank account numbers (ISO 13616): the form, the country's own length and structure where that
 * is known, and the check digits (ISO 7064, mod 97-10). Whether an account was ever opened is not known here.
 * Pure; any thread. */
#ifndef DEPOSITD_PAYMENT_IBAN_H
#define DEPOSITD_PAYMENT_IBAN_H

#include "depositd/attributes.h"

#include <stddef.h>

enum iban_result {
    IBAN_OK,
    IBAN_BAD_FORM,      /* not two capitals, two digits, 11 to 30 digits and capitals: the electronic form */
    IBAN_BAD_STRUCTURE, /* the country's accounts are longer or shorter, or have a letter or digit elsewhere
                         */
    IBAN_BAD_CHECK_DIGITS
};

/* The first of these that it fails. Of a country without a row in the table only form and check digits count.
 */
MUST_CHECK enum iban_result iban_check(const char *text);
/* A sentence about it, to follow the name of a member. */
const char *iban_detail(enum iban_result result);

/* The countries whose structure is known, for tests: ISO 3166 code and BBAN structure as the registry writes
 * it: a length, "!", and n digits, a capitals, c both. */
struct iban_country {
    char code[3];
    const char *structure;
};
const struct iban_country *iban_countries(size_t *count);

#endif
