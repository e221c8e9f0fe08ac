/* SPDX-License-Identifier: ISC */
/* Posts events for a person in a browser: from a read worker, which waits for the writer. */
#ifndef DEPOSITD_HTTP_EVENTS_EVENTS_RUN_H
#define DEPOSITD_HTTP_EVENTS_EVENTS_RUN_H

#include "http/request/handler.h"

/* Posts the request's JSON as POST /v1/events would, and gives its answer. Blocks until the writer is done,
 * which is at most post_deadline_ms. The worker must not hold a transaction: the writer might need its locks.
 */
void events_run(const struct request *request, struct answer *answer);

#endif
