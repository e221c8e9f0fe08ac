/* SPDX-License-Identifier: ISC */
/* The members of an opening. */
#ifndef DEPOSITD_HTTP_EVENTS_OPENING_BODY_H
#define DEPOSITD_HTTP_EVENTS_OPENING_BODY_H

#include "depositd/event.h"
#include "http/request/shape.h"

/* As they are decoded. */
struct opening_body {
    struct shape_list places, shipments, due;
    struct decimal bank;
};

extern const struct shape opening_place_shape, opening_shipment_shape, opening_due_shape;

/* Checks what the shapes cannot express: that a line names a site or another place, and that nothing stands
 * twice. *opening is in the memory of the faults, and NULL if memory is lacking. */
void opening_body_read(const struct opening_body *body, const struct opening **opening,
                       struct faults *faults);

#endif
