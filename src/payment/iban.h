/* SPDX-License-Identifier: ISC */
/* International bank account numbers (ISO 13616): checks the form, the country's length and structure if they
 * are known, and the check digits (ISO 7064, mod 97-10). Cannot tell whether an account exists. Pure; any
 * thread. */
#ifndef DEPOSITD_PAYMENT_IBAN_H
#define DEPOSITD_PAYMENT_IBAN_H

#include "depositd/attributes.h"

#include <stddef.h>

enum iban_result {
    IBAN_OK,
    IBAN_BAD_FORM,      /* not two capitals, two digits, 11 to 30 digits and capitals: the electronic form */
    IBAN_BAD_STRUCTURE, /* the length differs from the country's, or there is a letter or digit in the wrong
                           place */
    IBAN_BAD_CHECK_DIGITS
};

/* Returns the first check that fails. For a country without a row in the table, only the form and the check
 * digits are checked. */
MUST_CHECK enum iban_result iban_check(const char *text);
/* A sentence about the result, to follow the name of a member. */
const char *iban_detail(enum iban_result result);

/* For tests: the countries with a known structure, each with its ISO 3166 code and its BBAN structure as the
 * registry writes it: a length, "!", and n for digits, a for capitals, c for both. */
struct iban_country {
    char code[3];
    const char *structure;
};
const struct iban_country *iban_countries(size_t *count);

#endif
