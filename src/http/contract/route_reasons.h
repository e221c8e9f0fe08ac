/* SPDX-License-Identifier: ISC */
/* The reasons that a route can give. The document lists them for each operation, so that a client needs to
 * handle only these. The tests compare every problem that they meet with that list. */
#ifndef DEPOSITD_HTTP_CONTRACT_ROUTE_REASONS_H
#define DEPOSITD_HTTP_CONTRACT_ROUTE_REASONS_H

#include "depositd/reason.h"
#include "http/request/route.h"

/* Long lists for the rows; REASON_NONE ends them. */
extern const enum reason event_reasons[];
extern const enum reason reference_reasons[], proposal_reasons[];
extern const enum reason statement_reasons[];

bool route_can_give(const struct route *route, enum reason reason);
/* Whether the route can give any reason of this status. */
bool route_can_fail(const struct route *route, int status);

/* Whether a request to the route may have a body. */
bool route_has_body(const struct route *route);

#endif
