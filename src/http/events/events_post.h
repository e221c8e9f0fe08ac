/* SPDX-License-Identifier: ISC */
/* POST /v1/events: turns a request's body into a job for the writer, and the job's results into the answer.
 * Both run on the server's own thread. In between, the job belongs to the writer. */
#ifndef DEPOSITD_HTTP_EVENTS_EVENTS_POST_H
#define DEPOSITD_HTTP_EVENTS_EVENTS_POST_H

#include "http/request/handler.h"

struct posting {
    struct intake_job job; /* its memory comes from the given arena */
    struct event *events;  /* the job's; filled while events are read, as are the members below */
    struct event_result *results;
    struct uuid *ids;
    bool *id_known; /* for events that could not be read as a whole */
    bool many;      /* the client posted an array */
    struct meters *meters;
};

/* Makes room for `capacity` events of the request's key. False: out of memory. */
MUST_CHECK bool posting_init(struct posting *posting, struct arena *arena, const struct request *request,
                             size_t capacity);
/* Reads another event from a line of text. `scratch` may be reused afterwards. */
void posting_add_line(struct posting *posting, const char *line, size_t length, struct buffer *scratch);
/* Adds an event that is refused for the length of its line. */
void posting_add_too_long(struct posting *posting);
/* Writes the result of event i, a JSON object. */
void posting_write_result(const struct posting *posting, size_t i, struct buffer *body);

/* Writes the number of results of each status, as members. */
void posting_write_counts(const int64_t counts[static EVENT_STATUSES], struct buffer *body);

/* Reads the request's JSON. True: the writer must post the job. False: the answer is ready, because faults
 * were added or no event was fit to be posted. */
MUST_CHECK bool posting_read(struct posting *posting, const struct request *request, struct answer *answer);

/* Makes the answer from the results, or from the job's failure. */
void posting_answer(const struct posting *posting, struct answer *answer);

#endif
