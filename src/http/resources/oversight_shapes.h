/* SPDX-License-Identifier: ISC */
/* The shapes of what people say beside the ledger: totals of a day, and what became of an exception. Each
 * stands in the file of its handler. */
#ifndef DEPOSITD_HTTP_RESOURCES_OVERSIGHT_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_OVERSIGHT_SHAPES_H

#include "http/request/shape.h"

/* Into struct day_totals. */
extern const struct shape shape_day_totals_put;
extern const struct shape shape_exception_resolve;

#endif
