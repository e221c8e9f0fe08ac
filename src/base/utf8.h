/* SPDX-License-Identifier: ISC */
/* UTF-8 as RFC 3629 has it: without overlong forms, surrogates, and numbers beyond U+10FFFF. */
#ifndef DEPOSITD_BASE_UTF8_H
#define DEPOSITD_BASE_UTF8_H

#include "depositd/attributes.h"

#include <stdbool.h>

/* Whether the text, up to its NUL, is UTF-8. */
MUST_CHECK bool utf8_valid(const char *text);

#endif
