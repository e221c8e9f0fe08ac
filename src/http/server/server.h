/* SPDX-License-Identifier: ISC */
/* The HTTP server: libmicrohttpd on one thread of its own, and the read workers. */
#ifndef DEPOSITD_HTTP_SERVER_SERVER_H
#define DEPOSITD_HTTP_SERVER_SERVER_H

#include "app/service/service.h"

struct server;

/* Listens and answers as the service's configuration says. The service must outlive the server. NULL: `error`
 * has a message of one line. */
MUST_CHECK struct server *server_start(struct service *service, char *error, size_t error_size);

/* Takes no new connections, lets requests under way end (within 10 seconds if their client is slow), and ends
 * the threads. The writer must still be running, because it finishes the requests that wait for it. */
void server_stop(struct server *server);

#endif
