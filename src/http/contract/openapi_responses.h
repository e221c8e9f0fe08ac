/* SPDX-License-Identifier: ISC */
/* The responses of the OpenAPI document: what an operation answers, with its headers and examples, and the
 * problems that it can end in, with the reasons for each status. */
#ifndef DEPOSITD_HTTP_CONTRACT_OPENAPI_RESPONSES_H
#define DEPOSITD_HTTP_CONTRACT_OPENAPI_RESPONSES_H

#include "base/buffer.h"
#include "http/request/route.h"

#include <jansson.h>

/* Adds the member `responses` of an operation. */
void openapi_responses(struct buffer *document, const json_t *examples, const struct route *route);

/* Add the members `responses` and `headers` of the components. */
void openapi_problem_responses(struct buffer *document, const json_t *examples);
void openapi_headers(struct buffer *document);

#endif
