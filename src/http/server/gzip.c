/* SPDX-License-Identifier: ISC */
/* A thin layer over zlib. */
#include "http/server/gzip.h"

#include <limits.h>
#include <stdlib.h>
#define ZLIB_CONST
#include <zlib.h>

/* The fastest level takes less than half the time of zlib's usual one, and makes long reports a tenth of
 * their size. GZIP_FRAME makes zlib write the frame of gzip. MEMORY is what zlib takes unless asked. */
enum { LEVEL = Z_BEST_SPEED, WINDOW_BITS = 15, GZIP_FRAME = 16, MEMORY = 8, ROOM = 16 << 10 };

struct gzip {
    z_stream stream;
};

struct gzip *gzip_new(void)
{
    struct gzip *gzip = calloc(1, sizeof *gzip);
    if (gzip == NULL || deflateInit2(&gzip->stream, LEVEL, Z_DEFLATED, WINDOW_BITS + GZIP_FRAME, MEMORY,
                                     Z_DEFAULT_STRATEGY) == Z_OK)
        return gzip;
    free(gzip);
    return NULL;
}

void gzip_free(struct gzip *gzip)
{
    if (gzip == NULL)
        return;
    deflateEnd(&gzip->stream);
    free(gzip);
}

/* zlib is done when it leaves room. */
static void flush(z_stream *stream, int how, struct buffer *coded)
{
    char room[ROOM];
    do {
        stream->next_out = (unsigned char *)room;
        stream->avail_out = sizeof room;
        deflate(stream, how);
        buffer_add(coded, room, sizeof room - stream->avail_out);
    } while (stream->avail_out == 0);
}

bool gzip_add(struct gzip *gzip, const char *bytes, size_t length, bool last, struct buffer *coded)
{
    z_stream *stream = &gzip->stream;
    if (length > UINT_MAX)
        return false;
    stream->next_in = (const unsigned char *)bytes;
    stream->avail_in = (unsigned)length;
    flush(stream, last ? Z_FINISH : Z_SYNC_FLUSH, coded);
    return !coded->failed;
}

bool gzip_whole(struct buffer *body)
{
    struct buffer coded;
    struct gzip *gzip = gzip_new();
    buffer_init(&coded, body->maximum);
    bool done = gzip != NULL && gzip_add(gzip, body->data, body->length, true, &coded);
    gzip_free(gzip);
    if (done) {
        buffer_dispose(body);
        *body = coded;
    } else {
        buffer_dispose(&coded);
    }
    return done;
}
