/* SPDX-License-Identifier: ISC */
/* The parts of an exchange, how it ends, and the counts of exchanges. */
#include "http/server/exchange.h"

#include "base/clock.h"
#include "http/request/language.h"
#include "http/request/media.h"
#include "http/request/router.h"
#include "http/server/callers.h"

#include <assert.h>
#include <errno.h>
#include <gnutls/crypto.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { ARENA_MAX = 64 << 20, ANSWER_MAX = 64 << 20, LAST_ANSWERS_S = 1, UNKNOWN_LARGE_MAX = 2 };

bool exchange_posts_events(const struct exchange *exchange)
{
    return exchange->request.route->run == NULL;
}

/* A client's own id is echoed only if it is harmless in a header and in a log. */
static bool is_request_id(const char *id)
{
    size_t length = 0;
    while (id[length] > ' ' && id[length] < 0x7f)
        length++;
    return length >= 1 && length <= REQUEST_ID_MAX && id[length] == '\0';
}

static void set_request_id(struct exchange *exchange, const char *given)
{
    unsigned char random[16];
    if (given != NULL && is_request_id(given)) {
        strcpy(exchange->request_id, given);
        return;
    }
    /* A nonce must be unique but need not be secret, so the cheapest generator is enough. */
    if (gnutls_rnd(GNUTLS_RND_NONCE, random, sizeof random) < 0)
        memset(random, 0, sizeof random);
    for (size_t i = 0; i < sizeof random; i++) {
        exchange->request_id[2 * i] = "0123456789abcdef"[random[i] >> 4];
        exchange->request_id[2 * i + 1] = "0123456789abcdef"[random[i] & 15];
    }
}

static const char *header(struct exchange *exchange, const char *name)
{
    return MHD_lookup_connection_value(exchange->connection, MHD_HEADER_KIND, name);
}

/* Keeps names and values as they were sent; admission decodes them. More are kept than any route knows, so
 * dropping the rest cannot make a bad query look good. */
static enum MHD_Result add_parameter(void *closure, enum MHD_ValueKind kind, const char *name,
                                     const char *value)
{
    struct request *request = closure;
    (void)kind;
    if (request->query_count == QUERY_PARAMETERS_MAX)
        return MHD_NO;
    request->query[request->query_count++] = (struct query_parameter){
        .name = name,
        .value = value != NULL ? value : "",
    };
    return MHD_YES;
}

/* A number of the client's address. */
static uint64_t client_of(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    return info != NULL && info->client_addr != NULL ? callers_address(info->client_addr) : 0;
}

/* libmicrohttpd owns the strings, which live as long as the request. False: out of memory. */
static bool read_head(struct exchange *exchange, const char *method, const char *path)
{
    struct request *request = &exchange->request;
    exchange->method = method;
    request->path = path;
    request->accept = header(exchange, MHD_HTTP_HEADER_ACCEPT);
    request->words = language_negotiate(header(exchange, MHD_HTTP_HEADER_ACCEPT_LANGUAGE));
    exchange->answer.body.words = request->words;
    const char *if_match = header(exchange, MHD_HTTP_HEADER_IF_MATCH);
    const char *if_none_match = header(exchange, MHD_HTTP_HEADER_IF_NONE_MATCH);
    request->if_match = coding_plain_tags(request->arena, if_match);
    request->if_none_match = coding_plain_tags(request->arena, if_none_match);
    request->codings = codings_read(header(exchange, MHD_HTTP_HEADER_ACCEPT_ENCODING));
    if (request->codings.gzip)
        request->openapi = &exchange->all->openapi_coded;
    if ((if_match != NULL && request->if_match == NULL) ||
        (if_none_match != NULL && request->if_none_match == NULL))
        return false;
    request->content_type = header(exchange, MHD_HTTP_HEADER_CONTENT_TYPE);
    request->content_encoding = header(exchange, MHD_HTTP_HEADER_CONTENT_ENCODING);
    MHD_get_connection_values(exchange->connection, MHD_GET_ARGUMENT_KIND, add_parameter, request);
    const char *cookie = MHD_lookup_connection_value(exchange->connection, MHD_COOKIE_KIND,
                                                     session_cookie(request->service->config));
    credentials_read(header(exchange, MHD_HTTP_HEADER_AUTHORIZATION), cookie, &exchange->credentials);
    const struct sender sender = {header(exchange, "Sec-Fetch-Site"),
                                  header(exchange, MHD_HTTP_HEADER_ORIGIN),
                                  header(exchange, MHD_HTTP_HEADER_HOST)};
    set_request_id(exchange, header(exchange, "X-Request-Id"));
    if (!router_match(method, path, request, &exchange->allowed))
        return false;
    request->cross_site = request->route != NULL && request->route->for_browsers
                              ? sender_is_elsewhere(&sender)
                              : credentials_borrowed(&exchange->credentials, &sender);
    if (request->route != NULL && request->route->guessable)
        request->client = client_of(exchange->connection);
    request->stream = request->route != NULL && exchange_posts_events(exchange) &&
                      request->route->csv_body == NULL && media_is(MEDIA_NDJSON, request->content_type);
    request->lines = request->route != NULL && request->route->takes_lines &&
                     media_is(MEDIA_NDJSON, request->content_type);
    request->lines_file = -1;
    return true;
}

void exchange_identify(struct exchange *exchange)
{
    struct request *request = &exchange->request;
    snapshot_release(request->snapshot);
    request->snapshot = snapshot_hold(request->service->snapshots);
    request->identity = exchange->session_key != 0 && request->snapshot != NULL
                            ? snapshot_key(request->snapshot, exchange->session_key)
                            : credentials_identity(&exchange->credentials, request->snapshot);
    if (request->identity != NULL && *request->identity->language != '\0')
        request->words = words_of(request->identity->language, strlen(request->identity->language));
    exchange->answer.body.words = request->words;
}

/* Whether another large body is allowed from a key that the current snapshot does not know. */
static bool count_unknown_large(struct exchange *exchange)
{
    struct exchanges *all = exchange->all;
    pthread_mutex_lock(&all->lock);
    exchange->unknown_large = all->unknown_large < UNKNOWN_LARGE_MAX;
    all->unknown_large += exchange->unknown_large;
    pthread_mutex_unlock(&all->lock);
    return exchange->unknown_large;
}

size_t exchange_body_maximum(const struct exchange *exchange)
{
    return exchange->keeps_lines ? (size_t)exchange->lines.maximum : exchange->body.maximum;
}

/* Lines are kept in a file, so that there may be any number of them. */
static void keep_lines(struct exchange *exchange)
{
    struct exchanges *all = exchange->all;
    const struct config *config = all->service->config;
    pthread_mutex_lock(&all->lock);
    exchange->keeps_lines = all->streams < (size_t)config->max_streams;
    all->streams += exchange->keeps_lines;
    pthread_mutex_unlock(&all->lock);
    exchange->no_room = !exchange->keeps_lines;
    if (exchange->keeps_lines)
        spool_init(&exchange->lines, config->spool_folder, (uint64_t)config->spool_megabytes << 20);
}

/* Allows a large body only to a key that may use the route, so that strangers cannot fill the memory. A key
 * that the snapshot does not know may be new, so a few of those are allowed. */
static void allow_large_body(struct exchange *exchange)
{
    const struct route *route = exchange->request.route;
    if (route == NULL || !route->body_large || !exchange->credentials.given)
        return;
    exchange_identify(exchange);
    const struct identity *identity = exchange->request.identity;
    bool allowed =
        identity != NULL ? (route->roles & 1u << identity->role) != 0 : count_unknown_large(exchange);
    if (allowed && exchange->request.lines)
        keep_lines(exchange);
    else if (allowed)
        exchange->body.maximum = (size_t)exchange->all->service->config->max_reference_bytes;
}

struct exchange *exchange_new(struct exchanges *all, struct MHD_Connection *connection, const char *method,
                              const char *path, const char *version)
{
    struct exchange *exchange = calloc(1, sizeof *exchange);
    if (exchange == NULL)
        return NULL;
    exchange->all = all;
    exchange->connection = connection;
    exchange->state = EXCHANGE_READING;
    exchange->started_us = clock_monotonic_us();
    exchange->socket = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD)->connect_fd;
    exchange->takes_chunks = strcmp(version, MHD_HTTP_VERSION_1_0) != 0;
    arena_init(&exchange->arena, ARENA_MAX);
    buffer_init(&exchange->body, (size_t)all->service->config->max_body_bytes);
    exchange->request.arena = &exchange->arena;
    exchange->request.service = all->service;
    exchange->request.rates = all->rates;
    exchange->request.guesses = all->guesses;
    exchange->request.meters = all->meters;
    exchange->request.openapi = &all->openapi;
    exchange->answer.arena = &exchange->arena;
    exchange->answer.status = 200;
    buffer_init(&exchange->answer.body, ANSWER_MAX);
    buffer_init(&exchange->coded, ANSWER_MAX);
    faults_init(&exchange->answer.faults, &exchange->arena);
    pthread_mutex_lock(&all->lock);
    all->open++;
    pthread_mutex_unlock(&all->lock);
    if (read_head(exchange, method, path)) {
        allow_large_body(exchange);
        return exchange;
    }
    exchange_free(exchange);
    return NULL;
}

void exchange_free(struct exchange *exchange)
{
    struct exchanges *all = exchange->all;
    assert(exchange->state != EXCHANGE_WORKING && exchange->state != EXCHANGE_WAITING &&
           exchange->state != EXCHANGE_POSTING);
    if (exchange->long_answer != NULL && !long_answer_leave(exchange->long_answer))
        return; /* the worker notices, and frees it */
    bool streamed = exchange->stream != NULL || exchange->keeps_lines,
         was_long = exchange->long_answer != NULL;
    bool unknown_large = exchange->unknown_large;
    events_stream_free(exchange->stream);
    long_answer_free(exchange->long_answer);
    if (exchange->response != NULL)
        MHD_destroy_response(exchange->response);
    json_decref(exchange->request.json);
    snapshot_release(exchange->request.snapshot);
    buffer_dispose(&exchange->body);
    if (exchange->keeps_lines)
        spool_dispose(&exchange->lines);
    buffer_dispose(&exchange->answer.body);
    buffer_dispose(&exchange->coded);
    gzip_free(exchange->gzip);
    arena_dispose(&exchange->arena);
    free(exchange);

    pthread_mutex_lock(&all->lock);
    all->open--;
    all->streams -= streamed;
    all->long_answers -= was_long;
    all->unknown_large -= unknown_large;
    pthread_cond_signal(&all->fewer);
    pthread_mutex_unlock(&all->lock);
}

bool exchange_suspend(struct exchange *exchange)
{
    struct exchanges *all = exchange->all;
    pthread_mutex_lock(&all->lock);
    bool may = !all->over;
    all->away += may;
    pthread_mutex_unlock(&all->lock);
    if (may)
        MHD_suspend_connection(exchange->connection);
    return may;
}

void exchange_resume(struct exchange *exchange)
{
    struct exchanges *all = exchange->all;
    MHD_resume_connection(exchange->connection);
    pthread_mutex_lock(&all->lock);
    all->away--;
    pthread_cond_signal(&all->fewer);
    pthread_mutex_unlock(&all->lock);
}

void exchanges_gauge(void *all, struct gauges *gauges)
{
    struct exchanges *exchanges = all;
    pthread_mutex_lock(&exchanges->lock);
    gauges->requests = exchanges->open;
    gauges->streams = exchanges->streams;
    pthread_mutex_unlock(&exchanges->lock);
    read_pool_count(exchanges->pool, &gauges->reads_waiting, &gauges->reads_running);
}

/* Waits until no exchange is open, or the time is over. The caller holds the lock. */
static void wait_for_end(struct exchanges *all, int timeout_s)
{
    struct timespec until;
    int result = 0;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += timeout_s;
    while (all->open > 0 && result != ETIMEDOUT)
        result = pthread_cond_clockwait(&all->fewer, &all->lock, CLOCK_MONOTONIC, &until);
}

void exchanges_drain(struct exchanges *all)
{
    feed_watch_end_all(all->service->feed_watch);
    pthread_mutex_lock(&all->lock);
    wait_for_end(all, all->service->config->stop_grace_s / 2);
    atomic_store(&all->hurrying, true);
    while (all->away > 0)
        pthread_cond_wait(&all->fewer, &all->lock);
    wait_for_end(all, LAST_ANSWERS_S);
    /* A request on a kept connection may come at any time. From here on exchange_suspend refuses it. */
    all->over = true;
    while (all->away > 0)
        pthread_cond_wait(&all->fewer, &all->lock);
    pthread_mutex_unlock(&all->lock);
}
