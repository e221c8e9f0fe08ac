/* SPDX-License-Identifier: ISC */
/* Where one request ends and the next begins: a strict reader of HTTP/1 framing (RFC 9112), over bytes only.
 *
 * It takes the bytes of a connection as they come and gives back those that libmicrohttpd may see: heads that
 * are complete and well-formed, and bodies whose framing is. What is incomplete is held back; what is only
 * allowed is made plain (absolute targets, blanks after values, extensions of chunks, trailer fields). The
 * first violation ends the connection: from there on the reader writes a stand-in, so that libmicrohttpd
 * comes to the end of a request, and `reason` says how that request is to be refused. */
#ifndef DEPOSITD_HTTP_FRAMING_H
#define DEPOSITD_HTTP_FRAMING_H

#include "depositd/attributes.h"
#include "depositd/reason.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    FRAMING_HEAD_MAX = 8000,      /* bytes of a request line with all header fields */
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
    uint64_t requests;  /* whose heads are complete, or refused: the refused request is the last of them */
    uint64_t left;      /* bytes of the body, or of the chunk */
    size_t trailers;    /* bytes */
    bool had_blank_line;
    struct framing_head head;
};

struct framing_split {
    size_t pass; /* the first bytes: for libmicrohttpd */
    size_t hold; /* that follow: to be given again, before those that come next */
};

void framing_init(struct framing *framing);

/* Reads `length` bytes, which begin with what the last call held back, and changes them in place; there is
 * room for FRAMING_SLACK more. After a violation what is passed ends before it, and the
 * stand-in has still to be written. */
struct framing_split framing_read(struct framing *framing, char *bytes, size_t length);

/* Refuses the request that is being read, or would be next, for another reason than its bytes. */
void framing_refuse(struct framing *framing, enum reason reason, const char *detail);

/* After a refusal: writes the next bytes of the stand-in, into room for FRAMING_SLACK at least; returns how
 * many, and 0 once it is complete. False in *can: too much of the body is missing to make it up. */
size_t framing_stand_in(struct framing *framing, char *bytes, size_t room, bool *can);

/* Whether a request has begun and is not complete. `held` is what the last call held back. */
bool framing_is_within(const struct framing *framing, size_t held);

#endif
