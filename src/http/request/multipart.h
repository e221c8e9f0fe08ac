/* SPDX-License-Identifier: ISC */
/* The bodies of forms with files: multipart/form-data (RFC 7578). */
#ifndef DEPOSITD_HTTP_REQUEST_MULTIPART_H
#define DEPOSITD_HTTP_REQUEST_MULTIPART_H

#include "http/request/form_body.h"

/* Whether a Content-Type (NULL: none was sent) is multipart/form-data. */
bool multipart_is(const char *content_type);

/* Reads the fields as form_body_parse does. The field of a file has the content of the file, which must be
 * UTF-8. False: a fault has been added. */
MUST_CHECK bool multipart_parse(const char *content_type, const char *body, size_t length,
                                struct form_body *form, struct faults *faults);

#endif
