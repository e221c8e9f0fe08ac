/* SPDX-License-Identifier: ISC */
/* The number need not be secret, because a form counts only with the session that it was made for. */
#include "http/request/once.h"

#include <gnutls/crypto.h>

bool once_new(char text[static UUID_TEXT_MAX])
{
    struct uuid once;
    if (gnutls_rnd(GNUTLS_RND_NONCE, once.bytes, sizeof once.bytes) != 0)
        return false;
    once.bytes[6] = (unsigned char)((once.bytes[6] & 0x0f) | 0x40);
    once.bytes[8] = (unsigned char)((once.bytes[8] & 0x3f) | 0x80);
    uuid_format(&once, text);
    return true;
}
