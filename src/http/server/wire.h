/* SPDX-License-Identifier: ISC */
/* Stands between the sockets and libmicrohttpd: checks each connection's framing (http/server/framing.h),
 * ends slow requests, and limits the number of connections.
 *
 * libmicrohttpd (0.9.75) accepts much that RFC 9112 forbids, so a request hidden in a body could be executed.
 * It offers no way to see the bytes, refuses requests in its own words, and counts any byte as activity. But
 * it reads sockets only by recv(2), and the dynamic linker prefers a recv that the executable defines. wire.c
 * defines it, and checks the bytes in libmicrohttpd's own buffer. (A thread or process in front would cost
 * two more system calls for each request.) Descriptors of other libraries, such as libpq's, are read as
 * usual. If another libmicrohttpd reads in another way, no request is served, because the reader has not seen
 * it. */
#ifndef DEPOSITD_HTTP_SERVER_WIRE_H
#define DEPOSITD_HTTP_SERVER_WIRE_H

#include "base/config.h"
#include "depositd/reason.h"

#include <microhttpd.h>

struct wire;
struct wire_connection; /* belongs to the server's thread */

/* Only one wire may exist at a time. NULL: out of memory, or of threads. */
MUST_CHECK struct wire *wire_start(const struct config *config);
/* To be called when libmicrohttpd has ended all connections. */
void wire_stop(struct wire *wire);

/* libmicrohttpd's callbacks; the closure is the wire. */
enum MHD_Result wire_accept(void *closure, const struct sockaddr *address, socklen_t length);
void wire_notify(void *closure, struct MHD_Connection *connection, void **context,
                 enum MHD_ConnectionNotificationCode code);

/* False: there was no memory to watch the connection. None of its requests may be served. */
bool wire_is_watched(struct MHD_Connection *connection);
/* To be called once for each request, in order. NULL: close the connection. */
MUST_CHECK struct wire_connection *wire_begin_request(struct MHD_Connection *connection);
/* To be called when the latest request has ended, answered or not. */
void wire_end_request(struct MHD_Connection *connection);
/* Whether the connection is reserved for a single request of a probe. */
bool wire_is_reserved(const struct wire_connection *connection);
/* The reason to refuse the latest request; REASON_NONE: nothing is wrong so far. The rest of a refused
 * request's body is filler. */
enum reason wire_refusal(const struct wire_connection *connection, const char **detail);

#endif
