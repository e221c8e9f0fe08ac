/* SPDX-License-Identifier: ISC */
/* Examples of the OpenAPI document, from a real run. examples.json has them by operationId. A test plays the
 * same requests again and compares the answers. */
#ifndef DEPOSITD_HTTP_CONTRACT_OPENAPI_EXAMPLES_H
#define DEPOSITD_HTTP_CONTRACT_OPENAPI_EXAMPLES_H

#include "base/buffer.h"
#include "http/request/route.h"

#include <jansson.h>

/* NULL: out of memory. The caller frees it with json_decref. */
json_t *examples_read(void);

/* Each function writes a member `examples`, or nothing if there are no examples. A body that was refused is
 * not used as an example. `type` is without parameters. */
void examples_of_body(struct buffer *document, const json_t *examples, const struct route *route,
                      const char *type);
void examples_of_answer(struct buffer *document, const json_t *examples, const struct route *route,
                        int status, const char *type);

/* The text that the parameter has in the first target that contains it; "" if no target does. `name` is in
 * the path or in the query. */
void example_of_parameter(const json_t *examples, const struct route *route, const char *name, bool in_path,
                          char *text, size_t size);

#endif
