/* SPDX-License-Identifier: ISC */
/* The content coding of an answer: none, or gzip, as the client accepts it. Any thread. */
#ifndef DEPOSITD_HTTP_REQUEST_CODING_H
#define DEPOSITD_HTTP_REQUEST_CODING_H

#include "base/arena.h"

#include <stdbool.h>

/* Shorter answers are not coded, because a packet holds most of them as they are. */
enum { CODED_MIN = 4096 };

struct codings {
    bool identity; /* an answer without a coding is acceptable */
    bool gzip;     /* gzip is acceptable, and liked no less than no coding */
};

/* Reads Accept-Encoding (NULL: none was sent) as in RFC 9110 section 12.5.3. */
struct codings codings_read(const char *accept_encoding);

/* A coded answer has another entity tag than the same answer without a coding (RFC 9110 section 8.8.3.3): the
 * tag ends in -gzip. NULL: out of memory. */
const char *coding_tag(struct arena *arena, const char *tag);
/* Takes these ends off the tags of If-Match or If-None-Match: both answers have the same content, so
 * conditions compare it alone. NULL: `tags` is NULL, or out of memory. */
const char *coding_plain_tags(struct arena *arena, const char *tags);

#endif
