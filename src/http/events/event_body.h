/* SPDX-License-Identifier: ISC */
/* An event as clients post it: the members of each kind, as shapes, and the conversion from JSON to a struct
 * event with its canonical text and digest. */
#ifndef DEPOSITD_HTTP_EVENTS_EVENT_BODY_H
#define DEPOSITD_HTTP_EVENTS_EVENT_BODY_H

#include "depositd/event.h"
#include "http/request/shape.h"

enum { EVENT_TEXT_MAX = 8 << 20 }; /* the room that the scratch buffer below must have */

/* Reads an event into memory of the faults' arena. There must be no faults before. `scratch` is emptied and
 * used. False: faults were added, with pointers that begin at the event. */
MUST_CHECK bool event_body_read(const json_t *json, struct event *event, struct buffer *scratch,
                                struct faults *faults);

/* Reads only the id, for the answer about an event that cannot be read as a whole. */
MUST_CHECK bool event_body_id(const json_t *json, struct uuid *id);

/* The shape of a kind's body; NULL: clients do not post this kind. */
const struct shape *event_body_shape(enum entry_kind kind);

#endif
