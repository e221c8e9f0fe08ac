/* SPDX-License-Identifier: ISC */
/* A shape as JSON Schema, for the OpenAPI document. */
#ifndef DEPOSITD_HTTP_REQUEST_SHAPE_SCHEMA_H
#define DEPOSITD_HTTP_REQUEST_SHAPE_SCHEMA_H

#include "http/request/shape.h"

/* Writes the JSON Schema (2020-12) of the shape: {"type":"object",…,"additionalProperties":false}. Shapes
 * within are referred to as #/components/schemas/NAME. */
void shape_schema(const struct shape *shape, struct buffer *schema);

#endif
