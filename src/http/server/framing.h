/* SPDX-License-Identifier: ISC */
/* A strict reader of HTTP/1 framing (RFC 9112): it finds where each request ends. It does no I/O.
 *
 * The caller gives the reader a connection's bytes as they arrive. The reader returns the bytes that
 * libmicrohttpd may see: complete, well-formed heads, and bodies with correct framing. It holds incomplete
 * heads back. It simplifies some things that the standard allows: absolute targets, blanks after values,
 * chunk extensions, trailer fields. The first violation ends the connection. The reader then passes nothing
 * more on, and writes a stand-in that completes the request for libmicrohttpd. `reason` says how to refuse
 * that request. */
#ifndef DEPOSITD_HTTP_SERVER_FRAMING_H
#define DEPOSITD_HTTP_SERVER_FRAMING_H

#include "http/server/framing_state.h"

struct framing_split {
    size_t pass; /* bytes at the beginning, for libmicrohttpd */
    size_t hold; /* bytes after those, which the caller puts before the next bytes */
};

void framing_init(struct framing *framing);

/* Reads `length` bytes and changes them in place. They begin with the bytes that the last call held back.
 * There is room for FRAMING_SLACK more bytes after them. On a violation, only the bytes before it are passed
 * on; the caller then asks for the stand-in. */
struct framing_split framing_read(struct framing *framing, char *bytes, size_t length);

/* Refuses the present request, or the next one if there is none, for a reason outside its bytes. */
void framing_refuse(struct framing *framing, enum reason reason, const char *detail);

/* After a refusal: writes the next bytes of the stand-in and returns how many, or 0 when it is complete.
 * `room` is at least FRAMING_SLACK. *can is false if too much of the body is missing to fill it in. */
size_t framing_stand_in(struct framing *framing, char *bytes, size_t room, bool *can);

/* Whether a request has begun and is incomplete. `held` bytes were held back by the last call. */
bool framing_is_within(const struct framing *framing, size_t held);

#endif
