/* SPDX-License-Identifier: ISC */
/* Which reasons a route can give. The document lists them per operation, so that a client handles those and
 * no others; the tests hold every problem that they meet against that list. */
#ifndef DEPOSITD_HTTP_CONTRACT_ROUTE_REASONS_H
#define DEPOSITD_HTTP_CONTRACT_ROUTE_REASONS_H

#include "depositd/reason.h"
#include "http/request/route.h"

/* Long lists of rows; ended by REASON_NONE. */
extern const enum reason event_reasons[];
extern const enum reason reference_reasons[], proposal_reasons[];
extern const enum reason statement_reasons[];

bool route_can_give(const struct route *route, enum reason reason);
/* Whether it can give any reason of this status. */
bool route_can_fail(const struct route *route, int status);

/* Whether the request to a route may have a body. */
bool route_has_body(const struct route *route);

#endif
