/* SPDX-License-Identifier: ISC */
/* Conditional reads: an answer that the client already has is not sent again. Any thread. */
#ifndef DEPOSITD_HTTP_REQUEST_CONDITIONAL_H
#define DEPOSITD_HTTP_REQUEST_CONDITIONAL_H

#include "http/request/handler.h"

/* Whether the value of If-None-Match names the entity tag, or names everything by `*`. Compares weakly (RFC
 * 9110 sections 13.1.2 and 8.8.3.2). From a malformed element on, the value names nothing. */
bool etag_is_listed(const char *if_none_match, const char *etag);

/* Gives a whole answer to a read with a key its entity tag, unless it has one. If the client has an answer
 * with that tag, makes the answer a 304 without a body. Pages have no tag. */
void answer_conditionally(const struct request *request, struct answer *answer);

#endif
