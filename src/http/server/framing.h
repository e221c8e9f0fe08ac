/* SPDX-License-Identifier: ISC */
/* A strict reader of HTTP/1 framing (RFC 9112): it finds where each request ends. It does no I/O.
 *
 * The caller gives the reader a connection's bytes as they arrive. The reader returns those that
 * libmicrohttpd may see: complete, well-formed heads, and bodies with correct framing. It holds incomplete
 * heads back. It simplifies some things that the standard allows: absolute targets, blanks after values,
 * chunk extensions, trailer fields. The first violation ends the connection: the reader then passes nothing
 * more on, and writes a stand-in that completes the request for libmicrohttpd. `reason` says how to refuse
 * that request. */
#ifndef DEPOSITD_HTTP_SERVER_FRAMING_H
#define DEPOSITD_HTTP_SERVER_FRAMING_H

#include "depositd/attributes.h"
#include "depositd/reason.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    FRAMING_HEAD_MAX = 8000,      /* bytes of a request line and its header fields */
    FRAMING_FIELDS_MAX = 64,      /* fields, parameters and cookies: libmicrohttpd keeps a record of each */
    FRAMING_CHUNK_LINE_MAX = 256, /* the size of a chunk with its extensions */
    FRAMING_TRAILERS_MAX = 1024,  /* bytes */
    FRAMING_FILL_MAX = 16 << 20,  /* bytes of a body that a stand-in makes up */
    FRAMING_AUTHORITY_MAX = 255,  /* bytes of host and port in an absolute target */
    FRAMING_SLACK = 64            /* bytes that the reader may add to what it was given */
};

enum framing_state {
    FRAMING_HEAD,
    FRAMING_BODY, /* of a known length */
    FRAMING_CHUNK_LINE,
    FRAMING_CHUNK_DATA,
    FRAMING_CHUNK_END,
    FRAMING_TRAILERS,
    FRAMING_OVER /* the stand-in is complete; nothing is passed on any more */
};

/* What a head has said so far. */
struct framing_head {
    size_t next_line; /* where it begins, from the head's first byte */
    size_t searched;  /* up to here there is no end of that line */
    size_t fields, hosts;
    uint64_t length;
    bool has_request_line, is_head_method, is_http_1_0;
    bool has_length, has_codings, chunked, ends_chunked, unknown_coding;
    char authority[FRAMING_AUTHORITY_MAX + 1]; /* of an absolute target; "": the target is not absolute */
};

struct framing {
    enum framing_state state;
    enum reason reason; /* REASON_NONE: nothing is wrong */
    const char *detail; /* a sentence with the clause of the standard */
    uint64_t requests;  /* heads so far, complete or refused; a refused request is always the last one */
    uint64_t left;      /* bytes of the body, or of the chunk */
    size_t trailers;    /* bytes */
    bool had_blank_line;
    struct framing_head head;
};

struct framing_split {
    size_t pass; /* bytes at the beginning, for libmicrohttpd */
    size_t hold; /* bytes after them, which the caller puts before the next ones */
};

void framing_init(struct framing *framing);

/* Reads `length` bytes and changes them in place. They begin with the bytes that the last call held back, and
 * there is room for FRAMING_SLACK more after them. In case of a violation, only bytes before it are passed
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
