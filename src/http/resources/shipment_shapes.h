/* SPDX-License-Identifier: ISC */
/* The shape of requests for shipments. */
#ifndef DEPOSITD_HTTP_RESOURCES_SHIPMENT_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_SHIPMENT_SHAPES_H

#include "depositd/event.h"
#include "http/request/shape.h"

enum { SHIPMENTS_MAX = 100 }; /* of a request */

struct shipment_body {
    char site[CODE_SIZE], to[CODE_SIZE];
    bool has_shipment;
    struct uuid shipment;
    struct shape_list cups; /* of struct body_line */
    struct date wanted_on;
    const char *note;
    bool has_bearer;
    int bearer; /* one less than enum bearer */
};

struct shipments_body {
    char scheme[CODE_SIZE];
    struct shape_list shipments; /* of struct shipment_body */
};

/* Fills struct shipments_body. */
extern const struct shape shape_shipments;

#endif
