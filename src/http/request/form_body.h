/* SPDX-License-Identifier: ISC */
/* The bodies of forms: application/x-www-form-urlencoded, as the URL Standard of the WHATWG (section 5.1)
 * says that they are read. */
#ifndef DEPOSITD_HTTP_REQUEST_FORM_BODY_H
#define DEPOSITD_HTTP_REQUEST_FORM_BODY_H

#include "app/transaction/fault.h"

#include <stddef.h>

enum { FORM_FIELDS_MAX = 4096 };

struct form_field {
    const char *name, *value; /* UTF-8, without NUL */
};

struct form_body {
    const struct form_field *fields;
    size_t count;
};

/* Reads the fields, in their order, into the faults' arena. False: a fault has been added, and the form has
 * the fields before it. */
MUST_CHECK bool form_body_parse(const char *body, size_t length, struct form_body *form,
                                struct faults *faults);

/* The value of the first field of that name; NULL: there is none. */
const char *form_value(const struct form_body *form, const char *name);

#endif
