/* SPDX-License-Identifier: ISC */
/* An answer, or a body, of any length. A short one stays in memory. A longer one goes to a file without a
 * name, which takes room on the disk only while it is in use. */
#ifndef DEPOSITD_HTTP_REQUEST_SPOOL_H
#define DEPOSITD_HTTP_REQUEST_SPOOL_H

#include "base/buffer.h"

#include <microhttpd.h>

struct spool {
    struct buffer waiting; /* not yet in the file */
    const char *folder;    /* where the file is made; borrowed */
    uint64_t maximum;      /* bytes in the file */
    int file;              /* -1: there is no file yet */
    uint64_t written;
    bool failed; /* out of memory, out of room, or over the maximum: some of the answer was lost */
};

/* Makes a file without a name, to read and write. -1, with errno: it cannot be made. */
int spool_file(const char *folder);

void spool_init(struct spool *spool, const char *folder, uint64_t maximum);
void spool_dispose(struct spool *spool);

/* The buffer to add to. Call spool_settle before it holds too much. */
struct buffer *spool_buffer(struct spool *spool);
/* Moves the waiting bytes to the file, if they are many. */
void spool_settle(struct spool *spool);

/* Moves all bytes to the file, so that they can be read there by pread. The spool keeps the file. -1: the
 * spool has failed. */
MUST_CHECK int spool_finish(struct spool *spool);

/* Makes the response from everything that was added, and empties the spool. NULL: the spool has failed, or
 * out of memory. */
MUST_CHECK struct MHD_Response *spool_response(struct spool *spool);

/* Makes the response from a buffer alone, and empties the buffer. NULL: the buffer has failed, or out of
 * memory. */
MUST_CHECK struct MHD_Response *spool_take_buffer(struct buffer *buffer);

#endif
