/* SPDX-License-Identifier: ISC */
/* The HTTP server: libmicrohttpd on one thread of its own, and the read workers. */
#ifndef DEPOSITD_HTTP_SERVER_SERVER_H
#define DEPOSITD_HTTP_SERVER_SERVER_H

#include "app/service/service.h"

struct server;

/* Listens and answers as the service's configuration says; the service outlives the server. NULL: a message
 * of one line is in `error`. */
MUST_CHECK struct server *server_start(struct service *service, char *error, size_t error_size);

/* Takes no new connections, lets requests under way end (those whose client is slow: within 10 seconds), and
 * ends the threads. The writer must still be running: it ends what waits for it. */
void server_stop(struct server *server);

#endif
