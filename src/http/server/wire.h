/* SPDX-License-Identifier: ISC */
/* Stands between the sockets and libmicrohttpd: checks each connection's framing (http/server/framing.h),
 * ends slow requests, and limits the number of connections.
 *
 * libmicrohttpd (0.9.75) accepts much that RFC 9112 forbids, so a request hidden in a body could be executed.
 * It shows nobody the bytes, refuses requests in its own words, and counts any byte as activity. But it reads
 * sockets only by recv(2), and the dynamic linker prefers a recv that the executable defines. wire.c defines
 * it, and checks the bytes in libmicrohttpd's own buffer. (A thread or process in front would cost two more
 * system calls for each request.) Descriptors of others, such as libpq's, are read as usual. Should another
 * libmicrohttpd read in another way, then no request is served, because the reader has not seen it. */
#ifndef DEPOSITD_HTTP_SERVER_WIRE_H
#define DEPOSITD_HTTP_SERVER_WIRE_H

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

/* False: there was no memory to watch the connection. None of its requests may be served. */
bool wire_is_watched(struct MHD_Connection *connection);
/* To be called once for each request, in order. NULL: close the connection. */
MUST_CHECK struct wire_connection *wire_begin_request(struct MHD_Connection *connection);
/* To be called when the request that was begun last has ended, answered or not. */
void wire_end_request(struct MHD_Connection *connection);
/* Whether the connection is reserved for one request of a probe. */
bool wire_is_reserved(const struct wire_connection *connection);
/* Why to refuse the request that was begun last; REASON_NONE: nothing is wrong so far. The rest of a refused
 * request's body is filler. */
enum reason wire_refusal(const struct wire_connection *connection, const char **detail);

#endif
