/* SPDX-License-Identifier: ISC */
/* A query read by the shape of a body: a computation that records nothing is asked for by its address, with
 * the parameters that a body would have as members. */
#ifndef DEPOSITD_HTTP_REQUEST_QUERY_BODY_H
#define DEPOSITD_HTTP_REQUEST_QUERY_BODY_H

#include "http/request/handler.h"
#include "http/request/shape.h"

/* Fills `into` as shape_decode does. Members are texts and integers, and each is a parameter of the same
 * name. False: a fault has been added, which names the parameter. */
MUST_CHECK bool query_decode(const struct request *request, struct answer *answer, const struct shape *shape,
                             const void *defaults, void *into);

#endif
