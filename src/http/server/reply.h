/* SPDX-License-Identifier: ISC */
/* From an answer to a response of libmicrohttpd: status, headers, body. On the server's thread, but for the
 * response to a long answer. */
#ifndef DEPOSITD_HTTP_SERVER_REPLY_H
#define DEPOSITD_HTTP_SERVER_REPLY_H

#include "http/server/exchange.h"

/* The two responses that can be sent when there is no memory for any other. */
MUST_CHECK bool reply_init(struct exchanges *all);
void reply_dispose(struct exchanges *all);

/* DECIDED: makes the response, unless the worker has, and queues it: SENT. MHD_NO: it can't be queued. */
enum MHD_Result reply_send(struct exchange *exchange);

/* On the worker's thread: makes the response that reads from the long answer. `length` of the body:
 * MHD_SIZE_UNKNOWN where it is still being made. False: out of memory. */
MUST_CHECK bool reply_prepare(struct exchange *exchange, uint64_t length);

/* Without any exchange: there was no memory for one. */
enum MHD_Result reply_overloaded(const struct exchanges *all, struct MHD_Connection *connection);

#endif
