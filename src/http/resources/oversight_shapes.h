/* SPDX-License-Identifier: ISC */
/* The shapes of statements that people make outside the ledger: the totals of a day, and the outcome of an
 * exception. The file of each handler defines its shape. */
#ifndef DEPOSITD_HTTP_RESOURCES_OVERSIGHT_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_OVERSIGHT_SHAPES_H

#include "http/request/shape.h"

/* Fills struct day_totals. */
extern const struct shape shape_day_totals_put;
extern const struct shape shape_exception_resolve, shape_exceptions_resolve;

#endif
