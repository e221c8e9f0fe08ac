/* SPDX-License-Identifier: ISC */
/* Identifiers of others that prove themselves: GS1 keys by their check digit (mod 10), a BIC by its form.
 * Whether one was ever given out is not known here. Pure; any thread. */
#ifndef DEPOSITD_IDENTIFIER_H
#define DEPOSITD_IDENTIFIER_H

#include "depositd/attributes.h"

#include <stdbool.h>

/* Global Location Number: 13 digits, the last one the check digit. */
MUST_CHECK bool gln_valid(const char *text);

/* Global Returnable Asset Identifier as in AI (8003): 0, 12 digits, check digit; then a serial number of up
 * to 16 characters, or none, which names the asset type. */
MUST_CHECK bool grai_valid(const char *text);

/* The check digit of these digits (GS1 General Specifications, mod 10): the last one has weight 3, the one
 * before it 1, and so on by turns from the right. */
char gs1_check_digit(const char *digits);

/* ISO 9362, in the form that the ISO 20022 schemas ask for: 8 or 11 characters. */
MUST_CHECK bool bic_valid(const char *text);

#endif
