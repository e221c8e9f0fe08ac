/* SPDX-License-Identifier: ISC */
/* All schemas are among the document's components. */
#include "http/contract/openapi_reference.h"

void openapi_reference(struct buffer *document, const char *schema)
{
    buffer_printf(document, "{\"$ref\":\"#/components/schemas/%s\"}", schema);
}
