/* SPDX-License-Identifier: ISC */
/* UTF-8 as RFC 3629 has it: without overlong forms, surrogates, and numbers beyond U+10FFFF. */
#ifndef DEPOSITD_BASE_UTF8_H
#define DEPOSITD_BASE_UTF8_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

/* Whether the text, up to its NUL, is UTF-8. */
MUST_CHECK bool utf8_valid(const char *text);

/* Of a text that is UTF-8: the number of its characters, and whether one is a control character of ASCII. */
size_t utf8_length(const char *text);
bool utf8_has_control(const char *text);

#endif
