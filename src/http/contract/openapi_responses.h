/* SPDX-License-Identifier: ISC */
/* The responses of the OpenAPI document: the answers of an operation, with headers and examples, and its
 * problems, with the reasons for each status. */
#ifndef DEPOSITD_HTTP_CONTRACT_OPENAPI_RESPONSES_H
#define DEPOSITD_HTTP_CONTRACT_OPENAPI_RESPONSES_H

#include "base/buffer.h"
#include "http/request/route.h"

#include <jansson.h>

/* Adds the member `responses` of an operation. */
void openapi_responses(struct buffer *document, const json_t *examples, const struct route *route);

/* Adds the members `responses` and `headers` of the components. */
void openapi_problem_responses(struct buffer *document, const json_t *examples);
void openapi_headers(struct buffer *document);

#endif
