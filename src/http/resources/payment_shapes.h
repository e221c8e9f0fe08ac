/* SPDX-License-Identifier: ISC */
/* The bodies of decisions on payments and journals: the reason for the decision. */
#ifndef DEPOSITD_HTTP_RESOURCES_PAYMENT_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_PAYMENT_SHAPES_H

#include "depositd/money.h"
#include "http/request/shape.h"

struct stated_reason {
    const char *reason; /* NULL: none */
};

/* The shapes for a required and for an optional reason. They fill struct stated_reason. */
extern const struct shape shape_reason;
extern const struct shape shape_note;

/* A confirmation, with the amount as the bank booked it. Fills struct stated_confirmation. */
struct stated_confirmation {
    struct stated_reason stated;
    struct decimal amount;
    bool has_amount;
};
extern const struct shape shape_confirm;

/* The approval of a day's payments. */
struct stated_approval {
    const char *reason;         /* NULL: none */
    struct shape_list payments; /* const char *, their ids; none: all */
};
extern const struct shape shape_approve;

#endif
