/* SPDX-License-Identifier: ISC */
/* The shapes of statements that people make outside the ledger: the totals of a day, the outcome of an
 * exception, and a batch for a re-maker. The file of each handler defines its shape. */
#ifndef DEPOSITD_HTTP_RESOURCES_OVERSIGHT_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_OVERSIGHT_SHAPES_H

#include "http/request/shape.h"

/* Fills struct day_totals. */
extern const struct shape shape_day_totals_put;
extern const struct shape shape_exception_resolve, shape_exceptions_resolve;
extern const struct shape shape_remaking_batch;

#endif
