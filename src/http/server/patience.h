/* SPDX-License-Identifier: ISC */
/* How long a request on a read worker may wait for the database, and for whom: it has a deadline, and a read
 * ends when its client has gone. All of this runs on the worker's thread. */
#ifndef DEPOSITD_HTTP_SERVER_PATIENCE_H
#define DEPOSITD_HTTP_SERVER_PATIENCE_H

#include "http/server/exchange.h"

/* Sets the deadline and the watch of the connection for this exchange. False: the deadline has passed in the
 * queue, or the client of a read has gone. */
MUST_CHECK bool patience_begin(struct exchange *exchange, struct pg *pg);
/* A piece of a long answer was made: the deadline is for the next one now. */
void patience_extend(struct exchange *exchange);
/* The connection is nobody's again. */
void patience_end(struct pg *pg);

/* Whether the client is there, as far as its socket tells; only while the connection is suspended. */
MUST_CHECK bool patience_client_is_there(const struct exchange *exchange);

#endif
