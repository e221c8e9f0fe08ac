/* SPDX-License-Identifier: ISC */
/* POST /v1/events: from a request's body to a job for the writer, and from its results to the answer. Both
 * ends run on the server's own thread; in between the job is the writer's. */
#ifndef DEPOSITD_HTTP_EVENTS_EVENTS_POST_H
#define DEPOSITD_HTTP_EVENTS_EVENTS_POST_H

#include "http/request/handler.h"

struct posting {
    struct intake_job job; /* its memory is that of the arena given */
    struct event *events;  /* the job's, while they are being read; as are those below */
    struct event_result *results;
    struct uuid *ids;
    bool *id_known; /* of events that could not be read as a whole */
    bool many;      /* an array was posted */
    struct meters *meters;
};

/* Room for `capacity` events of the request's key. False: out of memory. */
MUST_CHECK bool posting_init(struct posting *posting, struct arena *arena, const struct request *request,
                             size_t capacity);
/* Reads one more event from a line of text. `scratch` is used, and may be used again. */
void posting_add_line(struct posting *posting, const char *line, size_t length, struct buffer *scratch);
/* An event that is refused for the length of its line. */
void posting_add_too_long(struct posting *posting);
/* The result of event i, a JSON object. */
void posting_write_result(const struct posting *posting, size_t i, struct buffer *body);

/* How many results there are of each status, as members. */
void posting_write_counts(const int64_t counts[static EVENT_STATUSES], struct buffer *body);

/* Reads the request's JSON. True: the job is for the writer to post. False: the answer stands already, be it
 * that faults were added or that no event was fit to be posted. */
MUST_CHECK bool posting_read(struct posting *posting, const struct request *request, struct answer *answer);

/* Makes the answer from the results, or from the job's failure. */
void posting_answer(const struct posting *posting, struct answer *answer);

#endif
