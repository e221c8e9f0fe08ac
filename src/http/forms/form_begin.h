/* SPDX-License-Identifier: ISC */
/* The first values of a form, which follow from a thing that the link names: an earlier event, a request, a
 * plan. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_BEGIN_H
#define DEPOSITD_HTTP_FORMS_FORM_BEGIN_H

#include "http/request/handler.h"

/* Adds to the fields' values. A receipt and a loss get the cups of the dispatch that are still on the road. A
 * journal that undoes another (the field "undoes" of the request's form) gets its legs, turned round. Fields
 * that the link filled in stay. */
void form_begin(const struct request *request, const char *kind, json_t *values);

/* Whether the form asks for shipments of the plan on the page that the link came from. */
bool form_begins_with_plan(const struct request *request, const char *page);
/* The values of a form that asks for the shipments of the plan at *back: those of one of the plan's requests,
 * by its number in the field "part" of the request's form. Each has a new id. *back becomes the page to go to
 * afterwards. If a fault was added, the values are of no use. NULL: a fault was added. */
json_t *form_begin_shipments(const struct request *request, struct answer *answer, const char **back);

#endif
