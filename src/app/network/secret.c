/* SPDX-License-Identifier: ISC */
/* Random bytes as text. */
#include "app/network/secret.h"

#include "base/base64url.h"

#include <assert.h>
#include <gnutls/crypto.h>
#include <gnutls/gnutls.h>
#include <string.h>

bool secret_make(const char *prefix, char secret[static SECRET_SIZE], struct sha256 *hash)
{
    uint8_t random[32];
    assert(strlen(prefix) == SECRET_PREFIX);
    if (gnutls_rnd(GNUTLS_RND_KEY, random, sizeof random) != 0)
        return false;
    memcpy(secret, prefix, SECRET_PREFIX);
    base64url_write(random, sizeof random, secret + SECRET_PREFIX);
    gnutls_memset(random, 0, sizeof random);
    sha256_of(secret, SECRET_SIZE - 1, hash);
    return true;
}
