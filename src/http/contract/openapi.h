/* SPDX-License-Identifier: ISC */
/* The OpenAPI 3.1 document, made from the table of routes, the shapes of bodies, the table of reasons, and
 * the schemas of answers in answers.json. */
#ifndef DEPOSITD_HTTP_CONTRACT_OPENAPI_H
#define DEPOSITD_HTTP_CONTRACT_OPENAPI_H

#include "base/buffer.h"

/* Initialises `document` and fills it. If memory ran out, the buffer has failed. */
void openapi_write(struct buffer *document);

#endif
