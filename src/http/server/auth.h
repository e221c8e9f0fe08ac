/* SPDX-License-Identifier: ISC */
/* Finds the caller: by a key's secret as a Bearer token (RFC 6750), by the key's name and secret with HTTP
 * Basic (RFC 7617), or by the cookie of a browser's session (RFC 6265). The service keeps only the hashes of
 * secrets and cookies. */
#ifndef DEPOSITD_HTTP_SERVER_AUTH_H
#define DEPOSITD_HTTP_SERVER_AUTH_H

#include "app/network/snapshot.h"

struct credentials {
    bool given;      /* and well-formed */
    bool by_session; /* secret_hash is that of a session's cookie */
    struct sha256 secret_hash;
    char name[CODE_SIZE]; /* as given with Basic, otherwise empty */
};

/* Reads the value of the header Authorization, or else that of the cookie; NULL: there is none. */
void credentials_read(const char *authorization, const char *cookie, struct credentials *credentials);

/* The place that a request comes from, as a browser states it in headers that no page can forge. NULL: the
 * header is missing. */
struct sender {
    const char *fetch_site; /* Sec-Fetch-Site, of Fetch Metadata Request Headers */
    const char *origin;     /* the origin of the page, in the form of RFC 6454 */
    const char *host;       /* the host that the request is for */
};

/* Whether a browser sent the request from a page of another site, or may have. */
bool sender_is_elsewhere(const struct sender *sender);

/* Whether a page of another site may have made a browser send the request. A browser adds a key by Basic, and
 * a session's cookie, to every request to the service. It does not know Bearer tokens. */
bool credentials_borrowed(const struct credentials *credentials, const struct sender *sender);

/* Of a key's secret. NULL: the snapshot holds no such key. */
const struct identity *credentials_identity(const struct credentials *credentials,
                                            const struct snapshot *snapshot);

#endif
