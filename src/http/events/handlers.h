/* SPDX-License-Identifier: ISC */
/* The handlers of events that the table of routes names, grouped by file. POST /v1/events has no handler,
 * because its events go to the writer. */
#ifndef DEPOSITD_HTTP_EVENTS_HANDLERS_H
#define DEPOSITD_HTTP_EVENTS_HANDLERS_H

#include "http/request/handler.h"

/* events_get.c */
void handle_events_list(const struct request *request, struct answer *answer);
void handle_event_get(const struct request *request, struct answer *answer);
void handle_entry_get(const struct request *request, struct answer *answer);

/* feed_get.c */
void handle_feed(const struct request *request, struct answer *answer);

/* opening_post.c, for the row of a route that posts an event made of lines */
json_t *opening_of_request(const struct request *request, struct answer *answer);

#endif
