/* SPDX-License-Identifier: ISC */
/* libmicrohttpd, its callbacks, start and stop.
 *
 * It polls with poll(2). Its epoll mode (0.9.75) stops answering when exactly 128 or 256 connections become
 * ready at once, and group commit makes clients march in step. */
#include "http/server/server.h"

#include "app/office/bank.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/memory.h"
#include "http/contract/openapi.h"
#include "http/contract/routes.h"
#include "http/request/json_body.h"
#include "http/request/meters.h"
#include "http/request/route.h"
#include "http/server/callers.h"
#include "http/server/exchange_steps.h"
#include "http/server/rates.h"
#include "http/server/reply.h"
#include "http/server/wire.h"

#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

enum {
    DESCRIPTORS_BESIDES = 64, /* the database's connections, standard streams, libmicrohttpd's own */
    CONNECTION_BYTES = 24576, /* a whole head, a record of each field, and the head of the answer with a Link
                                 as long as the target; libmicrohttpd clears them for each request */
    MESSAGE_MAX = 512,
    LACK_PAUSE_NS = 20000000,
    GUESSES_PER_SECOND = 1, /* at a key's secret, of one name from one address … */
    GUESSES_AT_ONCE = 10    /* … after a pause */
};

struct server {
    struct exchanges exchanges;
    struct wire *wire;
    struct MHD_Daemon *daemon;
};

/* A reserved connection may ask only for these paths. */
static bool is_probe(const char *path)
{
    return strcmp(path, "/healthz") == 0 || strcmp(path, "/readyz") == 0 || strcmp(path, "/metrics") == 0;
}

static void refuse_what_is_wrong(struct exchange *exchange)
{
    const char *detail;
    enum reason reason = wire_refusal(exchange->wire, &detail);
    if (reason != REASON_NONE)
        exchange_refuse(exchange, reason, detail);
    else if (exchange->last && !is_probe(exchange->request.path))
        exchange_refuse(exchange, REASON_OVERLOADED, "There are too many connections.");
}

/* Called when the head of a request is complete. */
static enum MHD_Result begin(struct exchanges *all, struct MHD_Connection *connection, const char *path,
                             const char *method, const char *version, void **context)
{
    struct wire_connection *wire = wire_begin_request(connection);
    if (wire == NULL)
        return wire_is_watched(connection) ? MHD_NO : reply_overloaded(all, connection);
    struct exchange *exchange = *context = exchange_new(all, connection, method, path, version);
    if (exchange == NULL)
        return reply_overloaded(all, connection);
    exchange->wire = wire;
    exchange->last = wire_is_reserved(wire);
    if (strcmp(path, "*") == 0) /* OPTIONS for the server itself, RFC 9110 section 9.3.7 */
        exchange->allowed = (1u << METHOD_COUNT) - 1;
    refuse_what_is_wrong(exchange);
    if (exchange->state == EXCHANGE_DECIDED || exchange_refuses_body(exchange))
        return reply_send(exchange);
    return MHD_YES;
}

/* Called for the head of a request, for each piece of its body, at its end, and when it resumes. */
static enum MHD_Result handle(void *closure, struct MHD_Connection *connection, const char *path,
                              const char *method, const char *version, const char *data, size_t *length,
                              void **context)
{
    struct exchange *exchange = *context;
    const char *detail;
    memory_forget_failures();
    if (exchange == NULL)
        return begin(closure, connection, path, method, version, context);
    enum reason reason = wire_refusal(exchange->wire, &detail);
    if (*length > 0 && reason == REASON_NONE)
        return exchange_receive(exchange, data, length) ? MHD_YES : MHD_NO;
    if (*length > 0) { /* filler, or bytes that came with the violation */
        *length = 0;
        return MHD_YES;
    }
    if (reason != REASON_NONE)
        exchange_refuse(exchange, reason, detail);
    return exchange_advance(exchange) ? reply_send(exchange) : MHD_YES;
}

/* Successful reads interest only a person who is looking for a fault, so they are logged for debugging. */
static enum log_level level_of(const struct exchange *exchange)
{
    bool reads = strcmp(exchange->method, "GET") == 0 || strcmp(exchange->method, "HEAD") == 0;
    if (exchange->status == 0 || exchange->status >= 500)
        return LOG_WARNING;
    return exchange->status >= 400 || !reads ? LOG_INFO : LOG_DEBUG;
}

static void log_exchange(const struct exchange *exchange, int64_t duration_us)
{
    const struct identity *identity = exchange->request.identity;
    char status[16], ms[24];
    snprintf(status, sizeof status, "%d", exchange->status);
    snprintf(ms, sizeof ms, "%lld", (long long)(duration_us / 1000));
    log_write(level_of(exchange), "request", "method", exchange->method, "path", exchange->request.path,
              "route", exchange->request.route != NULL ? exchange->request.route->path : "", "status", status,
              "ms", ms, "key", identity != NULL ? identity->name : "", "request_id", exchange->request_id,
              NULL);
}

/* Called when the request has ended, or the client has gone away. Never called while the connection is
 * suspended. */
static void completed(void *closure, struct MHD_Connection *connection, void **context,
                      enum MHD_RequestTerminationCode code)
{
    struct exchange *exchange = *context;
    (void)closure, (void)code;
    wire_end_request(connection);
    if (exchange == NULL)
        return;
    int64_t duration_us = clock_monotonic_us() - exchange->started_us;
    meters_count(exchange->all->meters, exchange->request.route, exchange->status, duration_us);
    log_exchange(exchange, duration_us);
    exchange_free(exchange);
    *context = NULL;
}

/* Pass paths and queries on as they were sent, so that a %2F in a segment stays part of the segment. */
static size_t keep_escapes(void *closure, struct MHD_Connection *connection, char *text)
{
    (void)closure, (void)connection;
    return strlen(text);
}

/* Makes an event at the listening socket: opens a connection and closes it at once. */
static void knock(const struct server *server)
{
    struct sockaddr_storage address;
    socklen_t length = sizeof address;
    const union MHD_DaemonInfo *info =
        server->daemon != NULL ? MHD_get_daemon_info(server->daemon, MHD_DAEMON_INFO_LISTEN_FD) : NULL;
    if (info == NULL || getsockname(info->listen_fd, (struct sockaddr *)&address, &length) != 0)
        return;
    int caller = socket(address.ss_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (caller < 0)
        return;
    (void)connect(caller, (struct sockaddr *)&address, length);
    close(caller);
}

/* If libmicrohttpd (0.9.75) has no memory for its list of sockets, it retries without a pause until it gets
 * some, and logs each attempt. It also does not continue connections that were just resumed until something
 * happens at a socket. */
static void get_over_lack(const struct server *server)
{
    const struct timespec pause = {.tv_nsec = LACK_PAUSE_NS};
    nanosleep(&pause, NULL);
    knock(server);
}

static void log_message(void *closure, const char *format, va_list arguments)
{
    static const char lack[] = "Error allocating memory";
    char message[MESSAGE_MAX];
    vsnprintf(message, sizeof message, format, arguments);
    message[strcspn(message, "\n")] = '\0';
    log_write(LOG_INFO, "libmicrohttpd", "says", message, NULL);
    if (strncmp(message, lack, sizeof lack - 1) == 0)
        get_over_lack(closure);
}

/* Each connection needs a descriptor, and the usual soft limit of 1024 would be too low. */
static void allow_descriptors(int connections)
{
    struct rlimit limit;
    rlim_t wanted = (rlim_t)connections + DESCRIPTORS_BESIDES;
    if (getrlimit(RLIMIT_NOFILE, &limit) != 0 || limit.rlim_cur >= wanted)
        return;
    limit.rlim_cur = limit.rlim_max < wanted ? limit.rlim_max : wanted;
    (void)setrlimit(RLIMIT_NOFILE, &limit);
}

static bool listen_address(const struct config *config, struct addrinfo **address)
{
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM, .ai_flags = AI_NUMERICHOST | AI_PASSIVE};
    char port[16];
    snprintf(port, sizeof port, "%d", config->listen_port);
    return getaddrinfo(config->listen_address, port, &hints, address) == 0;
}

static struct MHD_Daemon *start_daemon(const struct config *config, struct server *server,
                                       const struct addrinfo *address)
{
    unsigned flags = MHD_USE_POLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG |
                     (address->ai_family == AF_INET6 ? MHD_USE_IPv6 : 0);
    return MHD_start_daemon(
        flags, (uint16_t)config->listen_port, wire_accept, server->wire, handle, &server->exchanges,
        MHD_OPTION_EXTERNAL_LOGGER, log_message, server, MHD_OPTION_NOTIFY_CONNECTION, wire_notify,
        server->wire, MHD_OPTION_SOCK_ADDR, address->ai_addr, MHD_OPTION_CONNECTION_LIMIT,
        (unsigned)config->max_connections + CALLERS_RESERVED, MHD_OPTION_CONNECTION_TIMEOUT,
        (unsigned)config->connection_timeout_s, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)CONNECTION_BYTES,
        MHD_OPTION_NOTIFY_COMPLETED, completed, NULL, MHD_OPTION_UNESCAPE_CALLBACK, keep_escapes, NULL,
        MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_END);
}

/* Codes the document once: everybody may ask for it, and it is long. */
static void code_document(struct exchanges *all)
{
    buffer_init(&all->openapi_coded, all->openapi.maximum);
    buffer_add(&all->openapi_coded, all->openapi.data, all->openapi.length);
    if (!gzip_whole(&all->openapi_coded))
        all->openapi_coded.failed = true;
}

/* Prepares all that answering needs, up to listening. NULL: `error` says which part failed. */
static struct server *prepare(struct service *service, char *error, size_t error_size)
{
    const struct config *config = service->config;
    struct server *server = calloc(1, sizeof *server);
    if (server == NULL) {
        snprintf(error, error_size, "out of memory");
        return NULL;
    }
    struct exchanges *all = &server->exchanges;
    const struct pg_bounds bounds = {.statement_ms = config->long_deadline_s * 1000, .stop = &service->stop};
    all->service = service;
    pthread_mutex_init(&all->lock, NULL);
    pthread_cond_init(&all->fewer, NULL);
    routes_init();
    openapi_write(&all->openapi);
    code_document(all);
    all->rates = rates_new(config->key_rate, config->key_burst);
    all->guesses = rates_new(GUESSES_PER_SECOND, GUESSES_AT_ONCE);
    all->meters = meters_new(exchanges_gauge, all);
    server->wire = wire_start(config);
    if (!all->openapi.failed && !all->openapi_coded.failed && server->wire != NULL && all->rates != NULL &&
        all->guesses != NULL && all->meters != NULL && reply_init(all))
        all->pool =
            read_pool_start(config->dsn, &bounds, (size_t)config->read_workers, (size_t)config->queue_reads);
    if (all->pool != NULL)
        return server;
    snprintf(error, error_size, "no memory or no threads for %d read workers", config->read_workers);
    server_stop(server);
    return NULL;
}

struct server *server_start(struct service *service, char *error, size_t error_size)
{
    const struct config *config = service->config;
    struct addrinfo *address;
    if (!listen_address(config, &address)) {
        snprintf(error, error_size, "listen_address is not an IP address");
        return NULL;
    }
    json_body_init();
    bank_init();
    allow_descriptors(config->max_connections + CALLERS_RESERVED);
    struct server *server = prepare(service, error, error_size);
    if (server != NULL)
        server->daemon = start_daemon(config, server, address);
    freeaddrinfo(address);
    if (server == NULL || server->daemon != NULL)
        return server;
    snprintf(error, error_size, "cannot listen on port %d", config->listen_port);
    server_stop(server);
    return NULL;
}

/* New connections are refused at once. The descriptor itself remains libmicrohttpd's until it stops. */
static void stop_daemon(struct server *server)
{
    atomic_store(&server->exchanges.draining, true);
    MHD_socket listening = MHD_quiesce_daemon(server->daemon);
    if (listening != MHD_INVALID_SOCKET)
        (void)shutdown(listening, SHUT_RDWR);
    exchanges_drain(&server->exchanges);
    MHD_stop_daemon(server->daemon);
    if (listening != MHD_INVALID_SOCKET)
        close(listening);
}

void server_stop(struct server *server)
{
    if (server == NULL)
        return;
    struct exchanges *all = &server->exchanges;
    if (server->daemon != NULL)
        stop_daemon(server);
    wire_stop(server->wire);
    read_pool_stop(all->pool);
    reply_dispose(all);
    rates_free(all->rates);
    rates_free(all->guesses);
    meters_free(all->meters);
    buffer_dispose(&all->openapi);
    buffer_dispose(&all->openapi_coded);
    pthread_cond_destroy(&all->fewer);
    pthread_mutex_destroy(&all->lock);
    free(server);
}
