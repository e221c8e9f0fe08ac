/* SPDX-License-Identifier: ISC */
/* Bytes as text: base64url of RFC 4648 section 5, without padding. */
#ifndef DEPOSITD_BASE_BASE64URL_H
#define DEPOSITD_BASE_BASE64URL_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Characters for so many bytes, and a NUL. */
#define BASE64URL_SIZE(bytes) (((bytes)*4 + 2) / 3 + 1)

/* `text` has room for BASE64URL_SIZE(count). */
void base64url_write(const uint8_t *bytes, size_t count, char *text);
/* `bytes` has room for three quarters of the text. False: it is not the text of any bytes. */
MUST_CHECK bool base64url_read(const char *text, size_t length, uint8_t *bytes, size_t *count);

#endif
