/* SPDX-License-Identifier: ISC */
/* POST /v1/events: from a request's body to a job for the writer, and from its results to the answer. Both
 * ends run on the server's own thread; in between the job is the writer's. */
#ifndef DEPOSITD_HTTP_EVENTS_POST_H
#define DEPOSITD_HTTP_EVENTS_POST_H

#include "http/handler.h"

struct posting {
    struct intake_job job; /* its memory is the request's arena */
    bool many;             /* an array was posted */
    const struct uuid *ids;
    const bool *id_known; /* of events that could not be read as a whole */
};

/* Reads the request's JSON. True: the job is for the writer to post. False: the answer stands already, be it
 * that faults were added or that no event was fit to be posted. */
MUST_CHECK bool posting_read(struct posting *posting, const struct request *request, struct answer *answer);

/* Makes the answer from the results, or from the job's failure. */
void posting_answer(const struct posting *posting, struct answer *answer);

#endif
