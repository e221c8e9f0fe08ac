/* SPDX-License-Identifier: ISC */
/* The form for an event of any kind: its fields, and the event that they become. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_EVENT_H
#define DEPOSITD_HTTP_FORMS_FORM_EVENT_H

#include "http/request/handler.h"
#include "http/request/route.h"
#include "http/request/shape.h"

/* Whether the operation posts an event that the fields state. */
bool form_is_event(const struct route *route);

/* The fields that a person fills in for a kind such as "count": its shape without the members that the form
 * itself knows. NULL: there is no such kind for the key, or out of memory, and a fault has been added. */
const struct shape *form_event_shape(const struct request *request, struct answer *answer, const char *kind);

/* Adds a list of links to the forms for the kinds that the key may post. */
void form_event_kinds(const struct request *request, struct buffer *text);

/* Makes the event of the fields' values. The values get the local time of the event if they lack it, so that
 * the same form sent again is the same event. NULL: a fault has been added. */
json_t *form_event(const struct request *request, struct answer *answer, const char *kind,
                   const char *event_id, json_t *values);

/* The path of the earlier event that the fields name; NULL: they name none, or out of memory. */
const char *form_event_referred(struct arena *arena, const json_t *values);

/* The page to go to after the event has been posted. */
const char *form_event_next(const struct request *asked, const struct answer *inner);

#endif
