/* SPDX-License-Identifier: ISC */
/* The first values of the form for an event, which follow from the earlier event that the link names. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_BEGIN_H
#define DEPOSITD_HTTP_FORMS_FORM_BEGIN_H

#include "http/request/handler.h"

/* Adds to the fields' values. A receipt and a loss get the cups of the dispatch that are still on the road. A
 * journal that undoes another (the field "undoes" of the request's form) gets its legs, turned round. Fields
 * that the link filled in stay. */
void form_begin(const struct request *request, const char *kind, json_t *values);

#endif
