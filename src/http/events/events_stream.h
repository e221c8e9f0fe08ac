/* SPDX-License-Identifier: ISC */
/* Events as a stream: application/x-ndjson, an event a line, without limit. Lines are gathered while an
 * earlier lot is being posted, so that the parser and the database work at the same time; a lot that is full
 * waits for the earlier one, and the client with it. The answer has a line for each event and a last one that
 * counts them, which is missing if the stream broke off: then what follows the lines that are there has to be
 * posted again.
 *
 * The server's thread owns the stream; the writer's has the lots that it was given. */
#ifndef DEPOSITD_HTTP_EVENTS_EVENTS_STREAM_H
#define DEPOSITD_HTTP_EVENTS_EVENTS_STREAM_H

#include "http/request/handler.h"

#include <microhttpd.h>

struct events_stream;

/* For an admitted request, which outlives it. `wake` is called, from the writer's thread, when one that waits
 * need not any longer. NULL: out of memory. */
MUST_CHECK struct events_stream *events_stream_new(const struct request *request, void (*wake)(void *owner),
                                                   void *owner);
/* Lots under way are posted, though nobody will hear of it. */
void events_stream_free(struct events_stream *stream);

/* Takes what it can of `data`; returns how much. Less than all: it must wait before it can take the rest. */
MUST_CHECK size_t events_stream_take(struct events_stream *stream, const char *data, size_t length);
/* The body is complete. True: so is the answer. False: it must wait, and then be asked again. */
MUST_CHECK bool events_stream_end(struct events_stream *stream);
/* True: `wake` will be called, or has been. False: there is no need to wait any longer. */
MUST_CHECK bool events_stream_wait(struct events_stream *stream);

/* Ends the body early: lines that the writer does not have yet are not posted, and the answer will have no
 * summary. */
void events_stream_cut(struct events_stream *stream, enum reason reason);

/* Nothing more is posted, and what comes in is thrown away: something went wrong. */
bool events_stream_is_broken(const struct events_stream *stream);

/* After the end: the response (status 200); or NULL, and a fault says what went wrong before any event was
 * posted. */
MUST_CHECK struct MHD_Response *events_stream_response(struct events_stream *stream, struct faults *faults);

#endif
