/* SPDX-License-Identifier: ISC */
/* An answer of any length: in memory while it is short, then in a file without a name, which takes room on
 * the disk no longer than it is needed. */
#ifndef DEPOSITD_HTTP_REQUEST_SPOOL_H
#define DEPOSITD_HTTP_REQUEST_SPOOL_H

#include "base/buffer.h"

#include <microhttpd.h>

struct spool {
    struct buffer waiting; /* not yet in the file */
    const char *folder;    /* where the file is made; borrowed */
    uint64_t maximum;      /* bytes in the file */
    int file;              /* -1: there is none yet */
    uint64_t written;
    bool failed; /* no memory, no room, or over the maximum: what was added is not complete */
};

/* A file without a name, to read and write; -1, with errno: it can't be made. */
int spool_file(const char *folder);

void spool_init(struct spool *spool, const char *folder, uint64_t maximum);
void spool_dispose(struct spool *spool);

/* The buffer to add to; spool_settle must follow before too much is in it. */
struct buffer *spool_buffer(struct spool *spool);
/* Moves what waits to the file, if it is much. */
void spool_settle(struct spool *spool);

/* The response, made of all that was added; empties the spool. NULL: it failed, or no memory. */
MUST_CHECK struct MHD_Response *spool_response(struct spool *spool);

/* The response made of a buffer alone, which is empty afterwards. NULL: it failed, or no memory. */
MUST_CHECK struct MHD_Response *spool_take_buffer(struct buffer *buffer);

#endif
