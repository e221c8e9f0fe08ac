/* SPDX-License-Identifier: ISC */
/* All schemas stand among the document's components. */
#include "http/contract/openapi_reference.h"

void openapi_reference(struct buffer *document, const char *schema)
{
    buffer_printf(document, "{\"$ref\":\"#/components/schemas/%s\"}", schema);
}
