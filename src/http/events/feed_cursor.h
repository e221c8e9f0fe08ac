/* SPDX-License-Identifier: ISC */
/* The cursor of a feed of many schemes: a place in each of them, as text for a URL. Only places beyond the
 * start are written, so a scheme costs some six bytes, and 700 schemes fit a request's head.
 *
 * The bytes are a version, and then numbers of seven bits a byte, the least significant first, of which the
 * last byte has no high bit:
 *
 *     scheme to begin with (0: any), base day, then for each place, in the order of the schemes' ids:
 *     scheme less the one before, 2 * entry, or 2 * entry + 1 and the day less the base day
 *
 * A list begins with the scheme after the one at which the slice before was full, so that none waits for
 * ever. */
#ifndef DEPOSITD_HTTP_EVENTS_FEED_CURSOR_H
#define DEPOSITD_HTTP_EVENTS_FEED_CURSOR_H

#include "base/arena.h"
#include "store/feed_store.h"

struct feed_cursor {
    int32_t begin;             /* the scheme to begin with; 0: any */
    struct feed_place *places; /* in the order of the schemes' ids */
    size_t count;
};

/* Places at the start are left out. NULL: out of memory. */
const char *feed_cursor_write(const struct feed_cursor *cursor, struct arena *arena);
/* False: it is not a text that feed_cursor_write gives, or out of memory. */
MUST_CHECK bool feed_cursor_read(const char *text, struct arena *arena, struct feed_cursor *cursor);

#endif
