/* SPDX-License-Identifier: ISC */
/* An opening as a spreadsheet: each line is a part of it, such as the cups of a type at a site, and together
 * the lines become the event of the kind opening. */
#ifndef DEPOSITD_HTTP_EVENTS_OPENING_LINES_H
#define DEPOSITD_HTTP_EVENTS_OPENING_LINES_H

#include "http/request/csv_body.h"

extern const struct csv_form csv_opening;

struct opening_head {
    const char *scheme;
    const char *event_id; /* NULL: it follows from the rest, so that the same lines again are a duplicate */
    const char *occurred_at; /* RFC 3339 */
};

/* Makes the event of {"lines": […]}. `body` notes the line of each part. NULL: faults were added, whose
 * pointers are into the lines. */
MUST_CHECK json_t *opening_of_lines(const json_t *json, const struct opening_head *head,
                                    struct csv_body *body, struct faults *faults);

#endif
