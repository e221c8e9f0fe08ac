/* SPDX-License-Identifier: ISC */
/* The shipments of a plan as bodies for POST /v1/shipments. */
#ifndef DEPOSITD_HTTP_RESOURCES_PLAN_REQUESTS_H
#define DEPOSITD_HTTP_RESOURCES_PLAN_REQUESTS_H

#include "app/cups/cup_plan.h"
#include "base/buffer.h"

/* Adds the bodies, with commas between them. Each has as many shipments as one request may have. */
void plan_requests(struct buffer *text, const struct cup_plan_question *question,
                   const struct cup_plan *plan);

#endif
