/* SPDX-License-Identifier: ISC */
/* How the OpenAPI document refers to its schemas. */
#ifndef DEPOSITD_HTTP_CONTRACT_OPENAPI_REFERENCE_H
#define DEPOSITD_HTTP_CONTRACT_OPENAPI_REFERENCE_H

#include "base/buffer.h"

/* Adds {"$ref":…}. */
void openapi_reference(struct buffer *document, const char *schema);
/* Adds the schema of lines (NDJSON), each of which has the schema. */
void openapi_lines(struct buffer *document, const char *schema, const char *description);

#endif
