/* SPDX-License-Identifier: ISC */
/* The life of an exchange: one function per change of state.
 *
 *     READING ---------> DECIDED -> SENT      refused, or answered at once
 *     READING -> WORKING -> DECIDED           by a handler on a read worker
 *     READING -> POSTING -> POSTED -> DECIDED events whose key the snapshot at hand knows
 *     READING -> WORKING -> REFRESHED -> POSTING or DECIDED     events whose key it does not
 *     READING -> POSTING -> READING           a stream of events that waits for the writer
 *     WORKING -> DECIDED -> SENT              long before the worker has made all of the answer: sending.c */
#include "http/server/exchange.h"

#include "base/clock.h"
#include "base/memory.h"
#include "http/pages/page.h"
#include "http/request/conditional.h"
#include "http/request/media.h"
#include "http/request/router.h"
#include "http/server/admission.h"
#include "http/server/patience.h"
#include "http/server/sending.h"

#include <assert.h>
#include <errno.h>
#include <gnutls/crypto.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum {
    ARENA_MAX = 64 << 20,
    ANSWER_MAX = 64 << 20,
    LAST_ANSWERS_S = 1,
    UNKNOWN_LARGE_MAX = 2,
    DRAINED_BODIES = 4 /* a body too large is read to its end, so that the client gets to see why it was
                          refused; but no more than this many times the maximum */
};

static bool is_post_of_events(const struct exchange *exchange)
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
    /* A nonce has to be unique, not secret: the cheapest generator does. */
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

/* Names and values as they were sent: admission decodes them. No route knows as many as are kept, so that
 * what is left out can't make a bad query good. */
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

/* The strings are libmicrohttpd's and live as long as the request. False: out of memory. */
static bool read_head(struct exchange *exchange, const char *method, const char *path)
{
    struct request *request = &exchange->request;
    exchange->method = method;
    request->path = path;
    request->accept = header(exchange, MHD_HTTP_HEADER_ACCEPT);
    request->if_match = header(exchange, MHD_HTTP_HEADER_IF_MATCH);
    request->if_none_match = header(exchange, MHD_HTTP_HEADER_IF_NONE_MATCH);
    request->content_type = header(exchange, MHD_HTTP_HEADER_CONTENT_TYPE);
    request->content_encoding = header(exchange, MHD_HTTP_HEADER_CONTENT_ENCODING);
    MHD_get_connection_values(exchange->connection, MHD_GET_ARGUMENT_KIND, add_parameter, request);
    credentials_read(header(exchange, MHD_HTTP_HEADER_AUTHORIZATION), &exchange->credentials);
    const struct sender sender = {header(exchange, "Sec-Fetch-Site"),
                                  header(exchange, MHD_HTTP_HEADER_ORIGIN),
                                  header(exchange, MHD_HTTP_HEADER_HOST)};
    request->cross_site = credentials_borrowed(&exchange->credentials, &sender);
    set_request_id(exchange, header(exchange, "X-Request-Id"));
    if (!router_match(method, path, request, &exchange->allowed))
        return false;
    request->stream = request->route != NULL && is_post_of_events(exchange) &&
                      media_is(MEDIA_NDJSON, request->content_type);
    return true;
}

static void identify(struct exchange *exchange)
{
    struct request *request = &exchange->request;
    snapshot_release(request->snapshot);
    request->snapshot = snapshot_hold(request->service->snapshots);
    request->identity = credentials_identity(&exchange->credentials, request->snapshot);
}

/* Whether there may be one more large body of a key that the snapshot at hand does not know. */
static bool count_unknown_large(struct exchange *exchange)
{
    struct exchanges *all = exchange->all;
    pthread_mutex_lock(&all->lock);
    exchange->unknown_large = all->unknown_large < UNKNOWN_LARGE_MAX;
    all->unknown_large += exchange->unknown_large;
    pthread_mutex_unlock(&all->lock);
    return exchange->unknown_large;
}

/* Only to a key that may use the route: strangers must not be able to fill the memory. A key that the
 * snapshot does not know may be new, so a few of those are let in. */
static void allow_large_body(struct exchange *exchange)
{
    const struct route *route = exchange->request.route;
    if (route == NULL || !route->body_large || !exchange->credentials.given)
        return;
    identify(exchange);
    const struct identity *identity = exchange->request.identity;
    bool allowed =
        identity != NULL ? (route->roles & 1u << identity->role) != 0 : count_unknown_large(exchange);
    if (allowed)
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
    exchange->request.meters = all->meters;
    exchange->request.openapi = &all->openapi;
    exchange->answer.arena = &exchange->arena;
    exchange->answer.status = 200;
    buffer_init(&exchange->answer.body, ANSWER_MAX);
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
    assert(exchange->state != EXCHANGE_WORKING && exchange->state != EXCHANGE_POSTING);
    if (exchange->long_answer != NULL && !long_answer_leave(exchange->long_answer))
        return; /* the worker, which will notice, frees it */
    bool streamed = exchange->stream != NULL, was_long = exchange->long_answer != NULL;
    bool unknown_large = exchange->unknown_large;
    events_stream_free(exchange->stream);
    long_answer_free(exchange->long_answer);
    if (exchange->response != NULL)
        MHD_destroy_response(exchange->response);
    json_decref(exchange->request.json);
    snapshot_release(exchange->request.snapshot);
    buffer_dispose(&exchange->body);
    buffer_dispose(&exchange->answer.body);
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

static void refuse(struct exchange *exchange, enum reason reason)
{
    faults_refuse(&exchange->answer.faults, reason);
}

bool exchange_refuses_body(struct exchange *exchange)
{
    if (exchange->request.stream)
        return false;
    const char *announced = header(exchange, MHD_HTTP_HEADER_CONTENT_LENGTH);
    bool client_waits = header(exchange, MHD_HTTP_HEADER_EXPECT) != NULL;
    size_t most = exchange->body.maximum * (client_waits ? 1 : DRAINED_BODIES);
    if (announced == NULL || strtoull(announced, NULL, 10) <= most)
        return false;
    refuse(exchange, REASON_BODY_TOO_LARGE);
    exchange->state = EXCHANGE_DECIDED;
    return true;
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

/* The server's thread gives the exchange away; from the submission on it must not be touched. False: the
 * server is about to end. */
static bool leave(struct exchange *exchange, enum exchange_state state)
{
    if (!exchange_suspend(exchange))
        return false;
    exchange->state = state;
    return true;
}

/* Any thread gives it back. */
static void come_back(struct exchange *exchange, enum exchange_state state)
{
    exchange->state = state;
    exchange_resume(exchange);
}

/* A worker that still makes an answer when its client has gone must find nothing of libmicrohttpd's in the
 * request: the query is decoded into the arena, the path is copied, and admission alone looks at headers. */
static bool outlast(struct exchange *exchange)
{
    struct request *request = &exchange->request;
    const char *path = arena_copy(request->arena, request->path, strlen(request->path));
    if (path == NULL) {
        refuse(exchange, REASON_OVERLOADED);
        return false;
    }
    request->path = path;
    return true;
}

/* What was made while memory ran out may lack something, or be wrong. */
static void distrust(struct exchange *exchange)
{
    struct answer *answer = &exchange->answer;
    if (memory_has_failed() && answer->faults.count == 0)
        faults_replace(&answer->faults, reason_of_lost_answer(&exchange->request));
}

/* On a read worker's thread. Returns the state to come back in. */
static enum exchange_state serve(struct exchange *exchange, struct pg *pg)
{
    struct request *request = &exchange->request;
    if (atomic_load(&exchange->all->hurrying) || !patience_begin(exchange, pg)) {
        refuse(exchange, REASON_OVERLOADED);
        return EXCHANGE_DECIDED;
    }
    enum store_result result = snapshot_refresh(request->service->snapshots, pg);
    if (result != STORE_OK) {
        answer_store_failure(&exchange->answer, result);
        return EXCHANGE_DECIDED;
    }
    if (is_post_of_events(exchange))
        return EXCHANGE_REFRESHED;
    request->pg = pg;
    identify(exchange);
    if (!outlast(exchange) || !admit(request, &exchange->answer))
        return EXCHANGE_DECIDED;
    exchange->answer.pass_on = sending_pass_on;
    request->route->run(request, &exchange->answer);
    page_of_answer(request, &exchange->answer);
    if (exchange->long_answer == NULL && exchange->response == NULL)
        answer_conditionally(request, &exchange->answer);
    return EXCHANGE_DECIDED;
}

static void work(struct read_job *job, struct pg *pg)
{
    struct exchange *exchange = (struct exchange *)((char *)job - offsetof(struct exchange, job));
    memory_forget_failures();
    enum exchange_state state = serve(exchange, pg);
    patience_end(pg);
    if (state == EXCHANGE_DECIDED)
        distrust(exchange);
    if (!sending_end(exchange))
        come_back(exchange, state);
}

/* The functions from here to exchange_advance return as that does. */
static bool decided(struct exchange *exchange)
{
    distrust(exchange);
    exchange->state = EXCHANGE_DECIDED;
    return true;
}

static bool go_to_worker(struct exchange *exchange)
{
    exchange->job.run = work;
    exchange->asked_ms = clock_monotonic_ms();
    if (!leave(exchange, EXCHANGE_WORKING)) {
        refuse(exchange, REASON_OVERLOADED);
        return decided(exchange);
    }
    if (!read_pool_submit(exchange->all->pool, &exchange->job)) {
        refuse(exchange, REASON_OVERLOADED);
        come_back(exchange, EXCHANGE_DECIDED);
    }
    return false;
}

/* On the writer's thread, which has others to serve: the answer is made elsewhere. */
static void posted(struct intake_job *job)
{
    come_back(job->owner, EXCHANGE_POSTED);
}

static bool go_to_writer(struct exchange *exchange)
{
    exchange->posting.job.owner = exchange;
    exchange->posting.job.done = posted;
    if (!leave(exchange, EXCHANGE_POSTING)) {
        refuse(exchange, REASON_OVERLOADED);
        return decided(exchange);
    }
    if (!intake_submit(exchange->request.service->intake, &exchange->posting.job)) {
        refuse(exchange, REASON_OVERLOADED);
        come_back(exchange, EXCHANGE_DECIDED);
    }
    return false;
}

/* The events own what they need: while they wait, body and JSON need not. */
static bool read_events(struct exchange *exchange)
{
    struct request *request = &exchange->request;
    bool fit =
        admit(request, &exchange->answer) && posting_read(&exchange->posting, request, &exchange->answer);
    json_decref(request->json);
    request->json = NULL;
    buffer_dispose(&exchange->body);
    return fit;
}

/* Whether the key is not in the snapshot, but may be newer than it. */
static bool is_new_to_us(struct exchange *exchange)
{
    identify(exchange);
    return exchange->request.identity == NULL && exchange->credentials.given &&
           exchange->state != EXCHANGE_REFRESHED;
}

static bool post_events(struct exchange *exchange)
{
    if (is_new_to_us(exchange))
        return go_to_worker(exchange);
    return read_events(exchange) ? go_to_writer(exchange) : decided(exchange);
}

/* --- a stream of events -------------------------------------------------------------------------------- */

static void wake(void *owner)
{
    come_back(owner, EXCHANGE_READING);
}

static void wait_for_writer(struct exchange *exchange)
{
    if (leave(exchange, EXCHANGE_POSTING) && !events_stream_wait(exchange->stream))
        come_back(exchange, EXCHANGE_READING);
}

/* Whether there may be one more. */
static bool count_stream(struct exchanges *all)
{
    pthread_mutex_lock(&all->lock);
    bool room = all->streams < (size_t)all->service->config->max_streams;
    all->streams += room;
    pthread_mutex_unlock(&all->lock);
    return room;
}

static void begin_stream(struct exchange *exchange)
{
    struct exchanges *all = exchange->all;
    if (!admit(&exchange->request, &exchange->answer))
        return;
    if (!count_stream(all)) {
        refuse(exchange, REASON_OVERLOADED);
        return;
    }
    exchange->stream = events_stream_new(&exchange->request, wake, exchange);
    if (exchange->stream != NULL)
        return;
    refuse(exchange, REASON_OVERLOADED);
    pthread_mutex_lock(&all->lock);
    all->streams--;
    pthread_mutex_unlock(&all->lock);
}

/* Whether the exchange is still the server's: then there is a stream, or a fault. */
static bool has_begun_stream(struct exchange *exchange)
{
    if (exchange->stream != NULL || exchange->answer.faults.count > 0)
        return true;
    if (is_new_to_us(exchange))
        return go_to_worker(exchange);
    begin_stream(exchange);
    return true;
}

/* Where a body comes in chunks, libmicrohttpd goes on with the next though the exchange has just gone away.
 */
static bool is_away(const struct exchange *exchange)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(exchange->connection, MHD_CONNECTION_INFO_CONNECTION_SUSPENDED);
    return info != NULL && info->suspended == MHD_YES;
}

static bool receive_stream(struct exchange *exchange, const char *data, size_t *length)
{
    if (is_away(exchange))
        return true;
    if (exchange->all->draining)
        return false; /* without a summary: the client posts the rest again, elsewhere or later */
    if (!has_begun_stream(exchange))
        return true;
    if (exchange->stream == NULL || events_stream_is_broken(exchange->stream)) {
        exchange->received += *length;
        *length = 0;
        return exchange->received <= exchange->body.maximum * DRAINED_BODIES;
    }
    size_t taken = events_stream_take(exchange->stream, data, *length);
    *length -= taken;
    if (*length > 0)
        wait_for_writer(exchange);
    return true;
}

static bool end_stream(struct exchange *exchange)
{
    if (!has_begun_stream(exchange))
        return false;
    if (exchange->stream == NULL || events_stream_end(exchange->stream))
        return decided(exchange);
    wait_for_writer(exchange);
    return false;
}

/* ------------------------------------------------------------------------------------------------------- */

void exchange_refuse(struct exchange *exchange, enum reason reason, const char *detail)
{
    exchange->last = true;
    if (exchange->state != EXCHANGE_READING && exchange->state != EXCHANGE_REFRESHED)
        return;
    if (exchange->stream != NULL) {
        events_stream_cut(exchange->stream, reason);
        return;
    }
    if (exchange->answer.faults.count == 0)
        faults_add(&exchange->answer.faults, reason, NULL, "%s", detail);
    exchange->state = EXCHANGE_DECIDED;
}

bool exchange_receive(struct exchange *exchange, const char *data, size_t *length)
{
    if (exchange->request.stream)
        return receive_stream(exchange, data, length);
    exchange->received += *length;
    if (exchange->received <= exchange->body.maximum)
        buffer_add(&exchange->body, data, *length);
    else
        buffer_dispose(&exchange->body);
    *length = 0;
    return exchange->received <= exchange->body.maximum * DRAINED_BODIES;
}

static bool answer_at_once(struct exchange *exchange)
{
    if (admit(&exchange->request, &exchange->answer))
        exchange->request.route->run(&exchange->request, &exchange->answer);
    return decided(exchange);
}

static bool refuse_whole(struct exchange *exchange, enum reason reason)
{
    refuse(exchange, reason);
    return decided(exchange);
}

/* The body is complete. */
static bool begin(struct exchange *exchange)
{
    struct request *request = &exchange->request;
    request->body = exchange->body.data;
    request->body_length = exchange->body.length;
    if (request->route == NULL)
        return refuse_whole(exchange, exchange->allowed != 0 ? REASON_METHOD_NOT_ALLOWED : REASON_NOT_FOUND);
    if (request->stream)
        return end_stream(exchange);
    if (exchange->received > exchange->body.maximum)
        return refuse_whole(exchange, REASON_BODY_TOO_LARGE);
    if (exchange->body.failed)
        return refuse_whole(exchange, REASON_OVERLOADED);
    if (is_post_of_events(exchange))
        return post_events(exchange);
    return request->route->at_once ? answer_at_once(exchange) : go_to_worker(exchange);
}

bool exchange_advance(struct exchange *exchange)
{
    switch (exchange->state) {
    case EXCHANGE_READING:
        return begin(exchange);
    case EXCHANGE_REFRESHED:
        return exchange->request.stream ? end_stream(exchange) : post_events(exchange);
    case EXCHANGE_POSTED:
        posting_answer(&exchange->posting, &exchange->answer);
        return decided(exchange);
    case EXCHANGE_DECIDED:
        return true;
    case EXCHANGE_WORKING:
    case EXCHANGE_POSTING:
    case EXCHANGE_SENT:
        break;
    }
    abort();
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

/* Until none is open. The lock is held. */
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
    pthread_mutex_lock(&all->lock);
    wait_for_end(all, all->service->config->stop_grace_s / 2);
    atomic_store(&all->hurrying, true);
    while (all->away > 0)
        pthread_cond_wait(&all->fewer, &all->lock);
    wait_for_end(all, LAST_ANSWERS_S);
    /* A request on a kept connection may come at any time: from here on it is refused where it stands. */
    all->over = true;
    while (all->away > 0)
        pthread_cond_wait(&all->fewer, &all->lock);
    pthread_mutex_unlock(&all->lock);
}
