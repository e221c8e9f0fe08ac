/* SPDX-License-Identifier: ISC */
/* Six bits a character, the most significant first. */
#include "base/base64url.h"

#include <string.h>

static const char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

void base64url_write(const uint8_t *bytes, size_t count, char *text)
{
    unsigned bits = 0;
    int held = 0; /* bits not written yet */
    for (size_t i = 0; i < count; i++) {
        bits = bits << 8 | bytes[i];
        for (held += 8; held >= 6; held -= 6)
            *text++ = alphabet[bits >> (held - 6) & 63];
    }
    if (held > 0)
        *text++ = alphabet[bits << (6 - held) & 63];
    *text = '\0';
}

bool base64url_read(const char *text, size_t length, uint8_t *bytes, size_t *count)
{
    unsigned bits = 0;
    int held = 0;
    *count = 0;
    for (size_t i = 0; i < length; i++) {
        const char *digit = memchr(alphabet, text[i], sizeof alphabet - 1);
        if (digit == NULL)
            return false;
        bits = bits << 6 | (unsigned)(digit - alphabet);
        held += 6;
        if (held >= 8) {
            held -= 8;
            bytes[(*count)++] = (uint8_t)(bits >> held & 255);
        }
    }
    /* No bytes need a character that adds no bit of a byte, and the bits left over are zeros. */
    return held < 6 && (bits & ((1u << held) - 1)) == 0;
}
