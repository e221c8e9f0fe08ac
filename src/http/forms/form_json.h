/* SPDX-License-Identifier: ISC */
/* From the fields of a form to the JSON body of an operation. The shape says what each field becomes. A
 * field's name is the pointer to its member (RFC 6901), so a fault with that pointer belongs beside the
 * field. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_JSON_H
#define DEPOSITD_HTTP_FORMS_FORM_JSON_H

#include "http/request/form_body.h"
#include "http/request/shape.h"

enum { FORM_ROWS_MAX = 1000, FORM_POINTER_MAX = 200 };

/* The name of the hidden field that says how many rows the form had for a list. */
#define FORM_ROWS "rows:"
/* The same for a list whose rows have checkboxes. That list is there even if nothing is checked. */
#define FORM_CHOICE "choice:"

/* A new object. Empty fields are absent members, and rows without a value are absent elements. A value that
 * does not fit its form stays a string, so that the shape's check refuses it. NULL: out of memory. */
json_t *form_json(const struct shape *shape, const struct form_body *form);

#endif
