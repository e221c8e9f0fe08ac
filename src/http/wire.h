/* SPDX-License-Identifier: ISC */
/* What stands between the socket and libmicrohttpd: each connection's framing is checked (http/framing.h),
 * slow clients meet their deadlines, and there are only so many connections.
 *
 * libmicrohttpd (0.9.75) takes much that RFC 9112 forbids, so that a request hidden in a body could be
 * executed; it gives nobody the bytes, refuses in its own words, and counts any byte as activity. It reads
 * sockets by recv(2) alone, and an executable that defines recv is asked in place of the C library. This one
 * does: the bytes are read where they would have been, and checked where they lie. (A thread or a process in
 * front would cost two more system calls for each request.) Descriptors that are none of the server's go
 * straight through. A request whose head was not seen here is not served, should libmicrohttpd ever read in
 * another way. */
#ifndef DEPOSITD_HTTP_WIRE_H
#define DEPOSITD_HTTP_WIRE_H

#include "base/config.h"
#include "depositd/reason.h"

#include <microhttpd.h>

struct wire;
struct wire_connection; /* the server's thread's */

/* There may be one at a time. NULL: out of memory, or of threads. */
MUST_CHECK struct wire *wire_start(const struct config *config);
/* libmicrohttpd has ended all connections. */
void wire_stop(struct wire *wire);

/* libmicrohttpd's callbacks; the closure is the wire. */
enum MHD_Result wire_accept(void *closure, const struct sockaddr *address, socklen_t length);
void wire_notify(void *closure, struct MHD_Connection *connection, void **context,
                 enum MHD_ConnectionNotificationCode code);

/* For each request once, in order: the connection that it came on. NULL: give up the connection. */
MUST_CHECK struct wire_connection *wire_begin_request(struct MHD_Connection *connection);
/* Whether the connection is there for the probes only, and for one request. */
bool wire_is_reserved(const struct wire_connection *connection);
/* Why the request that was begun last is to be refused; its body, or the rest of it, is then made up.
 * REASON_NONE: nothing is wrong so far. */
enum reason wire_refusal(const struct wire_connection *connection, const char **detail);

#endif
