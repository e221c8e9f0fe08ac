/* SPDX-License-Identifier: ISC */
/* Events as a stream: application/x-ndjson, an event per line, without limit. Lines are gathered while an
 * earlier lot is being posted, so the parser and the database work at the same time. A full lot waits for the
 * earlier lot, and so does the client. The answer has a line for each event, and a last line that counts
 * them. If the stream broke off, this last line is missing, and the client must post the events without a
 * line again.
 *
 * The server's thread owns the stream. The writer's thread owns the lots that it was given. */
#ifndef DEPOSITD_HTTP_EVENTS_EVENTS_STREAM_H
#define DEPOSITD_HTTP_EVENTS_EVENTS_STREAM_H

#include "http/request/handler.h"

#include <microhttpd.h>

struct events_stream;

/* Begins a stream for an admitted request, which must outlive it. The writer's thread calls `wake` when a
 * waiting stream need not wait any longer. NULL: out of memory. */
MUST_CHECK struct events_stream *events_stream_new(const struct request *request, void (*wake)(void *owner),
                                                   void *owner);
/* Lots under way are still posted, but their results are lost. */
void events_stream_free(struct events_stream *stream);

/* Takes as much of `data` as it can, and returns how much. If it takes less than all, it must wait before it
 * can take the rest. */
MUST_CHECK size_t events_stream_take(struct events_stream *stream, const char *data, size_t length);
/* Called when the body is complete. True: the answer is complete. False: the stream must wait, and then be
 * asked again. */
MUST_CHECK bool events_stream_end(struct events_stream *stream);
/* True: `wake` will be called, or has been called. False: there is no need to wait any longer. */
MUST_CHECK bool events_stream_wait(struct events_stream *stream);

/* Ends the body early. Lines that the writer does not have yet are not posted, and the answer will have no
 * summary. */
void events_stream_cut(struct events_stream *stream, enum reason reason);

/* Whether an error stopped the stream: nothing more is posted, and the rest of the body is thrown away. */
bool events_stream_is_broken(const struct events_stream *stream);

/* Called after the end. Returns the response (status 200), or NULL if a fault says what went wrong before any
 * event was posted. */
MUST_CHECK struct MHD_Response *events_stream_response(struct events_stream *stream, struct faults *faults);

#endif
