/* SPDX-License-Identifier: ISC */
/* Percent-encoding (RFC 3986 section 2.1) and URI templates (RFC 6570, level 1,
 * and of level 3 the continuation of a query, {&variable}). Any thread. */
#ifndef DEPOSITD_BASE_URI_H
#define DEPOSITD_BASE_URI_H

#include "base/arena.h"
#include "base/buffer.h"

/* Adds a text with all but the unreserved characters percent-encoded: safe in any part of a URI. */
void uri_encode(struct buffer *uri, const char *text);

/* Replaces a text by its decoded copy in the arena; %XX are bytes. The text becomes NULL if it is malformed,
 * contains a NUL, or is not UTF-8. False: out of memory. */
MUST_CHECK bool uri_decode(struct arena *arena, const char **text);

/* The value of a variable, `length` bytes of `name`; NULL: it has none. Used before the next call. */
typedef const char *(*uri_variable)(void *context, const char *name, size_t length);

/* Whether a text is the same as a part of a template or URI. */
bool uri_part_is(const char *text, const char *part, size_t length);

/* Adds the template with each {variable} replaced by its encoded value. False: one has no value, and nothing
 * was added (where the RFC would leave the place empty: a link that has lost a part leads astray).
 * {&variable} adds &variable=value, or nothing if there is no value (RFC 6570 section 3.2.9). */
MUST_CHECK bool uri_expand(struct buffer *uri, const char *pattern, uri_variable value, void *context);

#endif
