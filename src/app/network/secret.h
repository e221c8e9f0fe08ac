/* SPDX-License-Identifier: ISC */
/* Makes secrets: of keys, and of browsers' sessions. */
#ifndef DEPOSITD_APP_NETWORK_SECRET_H
#define DEPOSITD_APP_NETWORK_SECRET_H

#include "depositd/attributes.h"
#include "depositd/seal.h"

#include <stdbool.h>

/* Three characters of prefix and 32 random bytes in base64url, with the terminating NUL. */
enum { SECRET_PREFIX = 3, SECRET_SIZE = SECRET_PREFIX + 43 + 1 };

/* Makes a secret that begins with `prefix`, and its hash. False: there are no random numbers. */
MUST_CHECK bool secret_make(const char *prefix, char secret[static SECRET_SIZE], struct sha256 *hash);

#endif
