/* SPDX-License-Identifier: ISC */
/* Parses the bytes of a request's body as JSON. */
#ifndef DEPOSITD_HTTP_REQUEST_JSON_BODY_H
#define DEPOSITD_HTTP_REQUEST_JSON_BODY_H

#include "app/transaction/fault.h"

#include <jansson.h>

/* To be called once, before there are threads. */
void json_body_init(void);

/* Accepts UTF-8 (RFC 8259) with any value, but refuses a member that appears twice and a NUL in a string.
 * NULL: a fault was added. */
MUST_CHECK json_t *json_body_parse(const char *body, size_t length, struct faults *faults);

/* The text of an object's member; "" if it has no such member, or one that is no text. */
const char *json_member_text(const json_t *object, const char *name);

#endif
