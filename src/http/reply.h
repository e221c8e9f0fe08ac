/* SPDX-License-Identifier: ISC */
/* From an answer to a response of libmicrohttpd: status, headers, body. On the server's thread. */
#ifndef DEPOSITD_HTTP_REPLY_H
#define DEPOSITD_HTTP_REPLY_H

#include "http/exchange.h"

/* The two responses that can be sent when there is no memory for any other. */
MUST_CHECK bool reply_init(struct exchanges *all);
void reply_dispose(struct exchanges *all);

/* Without any exchange: there was no memory for one. */
enum MHD_Result reply_overloaded(const struct exchanges *all, struct MHD_Connection *connection);

#endif
