/* SPDX-License-Identifier: ISC */
/* From the bytes of a request's body to JSON. */
#ifndef DEPOSITD_HTTP_REQUEST_JSON_BODY_H
#define DEPOSITD_HTTP_REQUEST_JSON_BODY_H

#include "app/transaction/fault.h"

#include <jansson.h>

/* Once, before there are threads. */
void json_body_init(void);

/* UTF-8 (RFC 8259), any value, no member twice, no NUL in a string. NULL: a fault was added. */
MUST_CHECK json_t *json_body_parse(const char *body, size_t length, struct faults *faults);

#endif
