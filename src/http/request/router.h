/* SPDX-License-Identifier: ISC */
/* Finds the row of the table of routes for a method and a path. */
#ifndef DEPOSITD_HTTP_REQUEST_ROUTER_H
#define DEPOSITD_HTTP_REQUEST_ROUTER_H

#include "http/request/handler.h"
#include "http/request/route.h"

enum { ALLOW_MAX = 40 };

const char *method_word(enum method method);

/* Finds the route and sets the request's route and parts. HEAD counts as GET. If there is no such route, the
 * route is NULL and *allowed is the set, 1u << enum method, of the methods that the path has (0: there is no
 * such path). False: out of memory. */
MUST_CHECK bool router_match(const char *method, const char *path, struct request *request,
                             unsigned *allowed);

/* The route of a path, which ends at a question mark. NULL: there is no such route. */
const struct route *router_find(enum method method, const char *target);

/* "GET, HEAD, PUT", for the header Allow. */
void router_allow(unsigned methods, char text[static ALLOW_MAX]);

#endif
