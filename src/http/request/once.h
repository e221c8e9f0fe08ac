/* SPDX-License-Identifier: ISC */
/* A number for one copy of a form, so that the form is done once however often it is sent. */
#ifndef DEPOSITD_HTTP_REQUEST_ONCE_H
#define DEPOSITD_HTTP_REQUEST_ONCE_H

#include "depositd/civil.h"

/* Writes a new random UUID (RFC 9562 section 5.4). False: there are no random numbers. */
MUST_CHECK bool once_new(char text[static UUID_TEXT_MAX]);

#endif
