/* SPDX-License-Identifier: ISC */
/* Bounds how long a request on a read worker waits for the database: it has a deadline, and a read ends when
 * its client has gone. All of this runs on the worker's thread. */
#ifndef DEPOSITD_HTTP_SERVER_PATIENCE_H
#define DEPOSITD_HTTP_SERVER_PATIENCE_H

#include "http/server/exchange.h"

/* Sets the deadline and the watch of the connection for this exchange. False: the deadline has passed in the
 * queue, or the client of a read has gone. */
MUST_CHECK bool patience_begin(struct exchange *exchange, struct pg *pg);
/* Called when a piece of a long answer was made: sets the deadline for the next piece. */
void patience_extend(struct exchange *exchange);
/* Removes the deadline and the watch from the database connection. */
void patience_end(struct pg *pg);

/* Whether the client is there, judging by its socket. To be called only while the connection is suspended. */
MUST_CHECK bool patience_client_is_there(const struct exchange *exchange);

#endif
