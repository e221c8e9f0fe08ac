/* SPDX-License-Identifier: ISC */
/* A plan of moves as JSON and as CSV. */
#ifndef DEPOSITD_HTTP_RESOURCES_PLAN_ANSWER_H
#define DEPOSITD_HTTP_RESOURCES_PLAN_ANSWER_H

#include "app/cups/cup_plan.h"
#include "base/buffer.h"

void plan_json(struct buffer *text, const struct cup_plan_question *question, const struct cup_plan *plan);
/* The hauls alone: a line for each cup type of each. Only the first line of a pair has hauls and cost, so
 * that a column adds up. */
void plan_csv(struct buffer *text, const struct cup_plan_question *question, const struct cup_plan *plan);

#endif
