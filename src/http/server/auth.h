/* SPDX-License-Identifier: ISC */
/* Who is calling: a key's secret as a Bearer token (RFC 6750), or the key's name and secret by HTTP Basic
 * (RFC 7617). Only the secret's hash is kept. */
#ifndef DEPOSITD_HTTP_SERVER_AUTH_H
#define DEPOSITD_HTTP_SERVER_AUTH_H

#include "app/network/snapshot.h"

struct credentials {
    bool given; /* and well-formed */
    struct sha256 secret_hash;
    char name[CODE_SIZE]; /* as given with Basic; else empty */
};

/* From the value of the header Authorization; NULL: there is none. */
void credentials_read(const char *authorization, struct credentials *credentials);

/* Where a browser says that a request comes from, by headers that no page can forge. NULL: it does not. */
struct sender {
    const char *fetch_site; /* Sec-Fetch-Site, of Fetch Metadata Request Headers */
    const char *origin;     /* of the page, as RFC 6454 writes it */
    const char *host;       /* that the request is for */
};

/* Whether a page of another site may have made a browser send this: with Basic, browsers add the key to
 * whatever goes to the service. Bearer tokens they do not know of. */
bool credentials_borrowed(const struct credentials *credentials, const struct sender *sender);

/* NULL: the snapshot holds no such key. */
const struct identity *credentials_identity(const struct credentials *credentials,
                                            const struct snapshot *snapshot);

#endif
