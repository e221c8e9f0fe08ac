/* SPDX-License-Identifier: ISC */
/* All schemas are among the document's components. */
#include "http/contract/openapi_reference.h"

#include "http/request/json_text.h"

void openapi_reference(struct buffer *document, const char *schema)
{
    buffer_printf(document, "{\"$ref\":\"#/components/schemas/%s\"}", schema);
}

void openapi_lines(struct buffer *document, const char *schema, const char *description)
{
    buffer_add_text(document,
                    "{\"type\":\"string\",\"contentMediaType\":\"application/x-ndjson\",\"contentSchema\":");
    openapi_reference(document, schema);
    member_string(document, "description", description);
    buffer_add_char(document, '}');
}
