/* SPDX-License-Identifier: ISC */
/* The bodies of what is done to payments and journals: why it is done. */
#ifndef DEPOSITD_HTTP_RESOURCES_PAYMENT_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_PAYMENT_SHAPES_H

#include "http/request/shape.h"

struct stated_reason {
    const char *reason; /* NULL: none */
};

/* Where a reason must be given, and where one may. Into struct stated_reason. */
extern const struct shape shape_reason;
extern const struct shape shape_note;

#endif
