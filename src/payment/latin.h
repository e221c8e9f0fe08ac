/* SPDX-License-Identifier: ISC */
/* The characters that every bank accepts in a payment message:
 *
 * a-z A-Z 0-9 / - ? : ( ) . , ' +  and space.
 *
 * Names are converted to them. An identifier (an account, a mandate) must consist of them already, because to
 * change it would make it name something else. Pure; any thread. */
#ifndef DEPOSITD_PAYMENT_LATIN_H
#define DEPOSITD_PAYMENT_LATIN_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

enum { LATIN_NAME_MAX = 70, LATIN_NAME_SIZE };

/* Writes the name without marks on its letters, as in "Cafe Soeren", cut at 70 characters. A character
 * without a counterpart becomes a full stop. `name` is UTF-8; invalid UTF-8 is taken byte by byte. Never
 * gives an empty text. */
void latin_name(const char *name, char text[static LATIN_NAME_SIZE]);

/* Whether a text may stand as a reference or an identifier: 1 to `max` of these characters, no space at an
 * end, no slash at either, and no two in a row. */
MUST_CHECK bool latin_reference_valid(const char *text, size_t max);

#endif
