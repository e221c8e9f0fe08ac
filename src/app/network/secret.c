/* SPDX-License-Identifier: ISC */
/* Random bytes as text. */
#include "app/network/secret.h"

#include <assert.h>
#include <gnutls/crypto.h>
#include <gnutls/gnutls.h>
#include <string.h>

/* RFC 4648 section 5, without padding. */
static void base64url(const uint8_t *bytes, size_t count, char *text)
{
    static const char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
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

bool secret_make(const char *prefix, char secret[static SECRET_SIZE], struct sha256 *hash)
{
    uint8_t random[32];
    assert(strlen(prefix) == SECRET_PREFIX);
    if (gnutls_rnd(GNUTLS_RND_KEY, random, sizeof random) != 0)
        return false;
    memcpy(secret, prefix, SECRET_PREFIX);
    base64url(random, sizeof random, secret + SECRET_PREFIX);
    gnutls_memset(random, 0, sizeof random);
    sha256_of(secret, SECRET_SIZE - 1, hash);
    return true;
}
