/* SPDX-License-Identifier: ISC */
/* The lines of a head, for framing.c. Each line is checked by itself, and simplified in place. */
#ifndef DEPOSITD_HTTP_SERVER_FRAMING_HEAD_H
#define DEPOSITD_HTTP_SERVER_FRAMING_HEAD_H

#include "http/server/framing_state.h"

/* The bytes of one call of framing_read: those up to `write` are for libmicrohttpd, those from `read` on are
 * still to be read. */
struct framing_bytes {
    struct framing *framing;
    char *bytes;
    size_t length, read, write;
};

/* Always returns false, so the caller can return its result. The detail is a constant. */
bool framing_fault(struct framing *framing, enum reason reason, const char *detail);

/* Checks the first line of the head: `length` bytes at `read`, without the CRLF. False: it is refused. */
MUST_CHECK bool framing_request_line(struct framing_bytes *all, size_t length);
/* Checks a header field, whose line begins `at` bytes after `read`. False: it is refused. */
MUST_CHECK bool framing_field_line(struct framing_bytes *all, size_t at, size_t length);
/* Checks the syntax alone (RFC 9112 section 5), and sets *name_length. False: it is refused. */
MUST_CHECK bool framing_field_syntax(struct framing *framing, const char *line, size_t length,
                                     size_t *name_length);
/* Finds from the whole head how the body that follows is framed. False: it is refused. */
MUST_CHECK bool framing_body_follows(struct framing *framing);

/* Whether the text may stand in a field's value, or in an extension of a chunk. */
MUST_CHECK bool framing_is_text(const char *text, size_t length);

#endif
