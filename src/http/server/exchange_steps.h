/* SPDX-License-Identifier: ISC */
/* The steps that take an exchange from one state to the next. The server's thread calls all of them. */
#ifndef DEPOSITD_HTTP_SERVER_EXCHANGE_STEPS_H
#define DEPOSITD_HTTP_SERVER_EXCHANGE_STEPS_H

#include "http/server/exchange.h"

/* READING: takes a piece of the body. *length becomes the number of bytes left, to be passed again when the
 * exchange is back. False: the body is far larger than any may be; give up the connection. */
MUST_CHECK bool exchange_receive(struct exchange *exchange, const char *data, size_t *length);
/* READING: whether the announced body is refused before the client sends it. The exchange is DECIDED then. */
MUST_CHECK bool exchange_refuses_body(struct exchange *exchange);
/* READING or REFRESHED: refuses the request, unless a fault was found before, and closes the connection. The
 * exchange is DECIDED then, except that a stream first answers the lines that are posted. */
void exchange_refuse(struct exchange *exchange, enum reason reason, const char *detail);
/* Takes the exchange as far as the server's thread can. To be called when the body is complete, and each time
 * the exchange is back. True: it is DECIDED. False: it is away, or back already, and must not be touched
 * until the next call. */
MUST_CHECK bool exchange_advance(struct exchange *exchange);

#endif
