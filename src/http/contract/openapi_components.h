/* SPDX-License-Identifier: ISC */
/* The part of the OpenAPI document that its paths refer to. */
#ifndef DEPOSITD_HTTP_CONTRACT_OPENAPI_COMPONENTS_H
#define DEPOSITD_HTTP_CONTRACT_OPENAPI_COMPONENTS_H

#include "base/buffer.h"

#include <jansson.h>

/* "components":{…} */
void openapi_components(struct buffer *document, const json_t *examples);

#endif
