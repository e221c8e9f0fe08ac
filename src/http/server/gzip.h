/* SPDX-License-Identifier: ISC */
/* The gzip coding (RFC 1952) of an answer: whole, or piece by piece while it is made. Owned by one thread at
 * a time. */
#ifndef DEPOSITD_HTTP_SERVER_GZIP_H
#define DEPOSITD_HTTP_SERVER_GZIP_H

#include "base/buffer.h"

struct gzip;

/* NULL: out of memory. */
MUST_CHECK struct gzip *gzip_new(void);
void gzip_free(struct gzip *gzip);

/* Appends the coded bytes to `coded`, so that the client can decode all that was added so far. `last`: ends
 * the coding. False: out of memory. */
MUST_CHECK bool gzip_add(struct gzip *gzip, const char *bytes, size_t length, bool last,
                         struct buffer *coded);

/* Codes a body. False: out of memory; the body is as it was. */
MUST_CHECK bool gzip_whole(struct buffer *body);

#endif
