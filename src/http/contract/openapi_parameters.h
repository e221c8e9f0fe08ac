/* SPDX-License-Identifier: ISC */
/* The parameters of an operation in the OpenAPI document. */
#ifndef DEPOSITD_HTTP_CONTRACT_OPENAPI_PARAMETERS_H
#define DEPOSITD_HTTP_CONTRACT_OPENAPI_PARAMETERS_H

#include "base/buffer.h"
#include "http/request/route.h"

#include <jansson.h>

/* Adds the member `parameters`. */
void openapi_parameters(struct buffer *document, const json_t *examples, const struct route *route);

#endif
