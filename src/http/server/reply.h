/* SPDX-License-Identifier: ISC */
/* Turns an answer into a response of libmicrohttpd: status, headers, body. Runs on the server's thread,
 * except for the response to a long answer. */
#ifndef DEPOSITD_HTTP_SERVER_REPLY_H
#define DEPOSITD_HTTP_SERVER_REPLY_H

#include "http/server/exchange.h"

/* Makes the two responses that need no more memory when they are sent. */
MUST_CHECK bool reply_init(struct exchanges *all);
void reply_dispose(struct exchanges *all);

/* DECIDED: makes the response, unless the worker has made it, and queues it. The exchange is SENT then.
 * MHD_NO: the response cannot be queued. */
enum MHD_Result reply_send(struct exchange *exchange);

/* On the worker's thread: makes the response that reads from the long answer. `length` is that of the body,
 * or MHD_SIZE_UNKNOWN while the body is still being made. False: out of memory. */
MUST_CHECK bool reply_prepare(struct exchange *exchange, uint64_t length);

/* Whether the client accepts gzip for the answer as it is, and the answer is long enough. */
bool reply_is_better_coded(const struct exchange *exchange);
/* On the worker's thread: codes the body, and marks the entity tag; of an answer without a body, which has
 * not been modified, only the latter. */
void reply_code(struct answer *answer);

/* Answers without an exchange, when there was no memory for one. */
enum MHD_Result reply_overloaded(const struct exchanges *all, struct MHD_Connection *connection);

#endif
