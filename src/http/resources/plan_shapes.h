/* SPDX-License-Identifier: ISC */
/* The question for a plan of moves, as a body or a query has it. plans.c defines the shape. */
#ifndef DEPOSITD_HTTP_RESOURCES_PLAN_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_PLAN_SHAPES_H

#include "depositd/event.h"
#include "http/request/shape.h"

struct plan_box_row {
    char cup_type[CODE_SIZE];
    int64_t cups;
};

struct plan_price_row {
    char from[CODE_SIZE], to[CODE_SIZE];
    struct decimal cost;
};

struct plan_body {
    char scheme[CODE_SIZE];
    struct date date;
    int64_t days;
    struct rate service_level;
    struct decimal cost_per_km, cost_per_stop;
    int64_t minimum_load, haul_boxes, box;
    struct shape_list boxes;  /* of struct plan_box_row */
    struct shape_list prices; /* of struct plan_price_row */
    bool has_date, has_cost_per_km, has_cost_per_stop;
};

extern const struct shape shape_plan_ask;

#endif
