/* SPDX-License-Identifier: ISC */
/* Quality values in the lists with which a client says what it prefers (RFC 9110 section 12.4.2). Pure; any
 * thread. */
#ifndef DEPOSITD_HTTP_REQUEST_QUALITY_H
#define DEPOSITD_HTTP_REQUEST_QUALITY_H

#include <stddef.h>

enum { QUALITY_MAX = 1000 };

/* The length of an element's name, without its parameters. */
size_t quality_name_length(const char *element);
/* Finds the quality among the parameters `;a=b;q=0.5`, up to the comma, in thousandths. QUALITY_MAX: none is
 * given; a malformed one counts as 0. */
int quality_of(const char *parameters);

#endif
