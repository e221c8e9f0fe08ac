/* SPDX-License-Identifier: ISC */
/* The state that the framing reader keeps for a connection: its bounds, its step, and the head so far.
 * framing.c, which follows the connection, and framing_head.c, which reads the lines of heads, share it. */
#ifndef DEPOSITD_HTTP_SERVER_FRAMING_STATE_H
#define DEPOSITD_HTTP_SERVER_FRAMING_STATE_H

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
    FRAMING_SLACK = 64            /* bytes that the reader may add to its input */
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

/* The contents of a head so far. */
struct framing_head {
    size_t next_line; /* offset of the line from the head's first byte */
    size_t searched;  /* the bytes up to here do not end that line */
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

#endif
