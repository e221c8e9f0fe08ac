/* SPDX-License-Identifier: ISC */
/* The life of an exchange:
 *
 *     READING ---------> DECIDED -> SENT      refused, or answered at once
 *     READING -> WORKING -> DECIDED           a handler on a read worker answers
 *     READING -> POSTING -> POSTED -> DECIDED events, if the snapshot at hand knows their key
 *     READING -> WORKING -> REFRESHED -> POSTING or DECIDED     events, if it does not
 *     READING -> POSTING -> READING           a stream of events that waits for the writer
 *     WORKING -> WAITING -> WORKING or DECIDED      an empty slice of the feed, until there is news or not
 *     WORKING -> DECIDED -> SENT              a long answer, which the worker goes on making: sending.c
 *
 * reply.c makes the last step, from DECIDED to SENT. */
#include "http/server/exchange_steps.h"

#include "app/network/sessions.h"
#include "base/clock.h"
#include "base/memory.h"
#include "http/pages/page.h"
#include "http/request/conditional.h"
#include "http/request/csv_body.h"
#include "http/request/route.h"
#include "http/server/admission.h"
#include "http/server/patience.h"
#include "http/server/reply.h"
#include "http/server/sending.h"

#include <stdlib.h>
#include <string.h>

/* Read a body that is too large to its end, so that the client sees why it was refused; but read no more than
 * this many times the maximum. */
enum { DRAINED_BODIES = 4 };

static const char *header(struct exchange *exchange, const char *name)
{
    return MHD_lookup_connection_value(exchange->connection, MHD_HEADER_KIND, name);
}

static void refuse(struct exchange *exchange, enum reason reason)
{
    faults_refuse(&exchange->answer.faults, reason);
}

/* How much of a body is read at most. */
static size_t drained(const struct exchange *exchange, bool client_waits)
{
    size_t maximum = exchange_body_maximum(exchange);
    size_t beyond = exchange->body.maximum * (exchange->keeps_lines ? DRAINED_BODIES : DRAINED_BODIES - 1);
    return client_waits ? maximum : maximum + beyond;
}

bool exchange_refuses_body(struct exchange *exchange)
{
    if (exchange->request.stream)
        return false;
    if (exchange->no_room) {
        refuse(exchange, REASON_OVERLOADED);
        exchange->state = EXCHANGE_DECIDED;
        return true;
    }
    const char *announced = header(exchange, MHD_HTTP_HEADER_CONTENT_LENGTH);
    bool client_waits = header(exchange, MHD_HTTP_HEADER_EXPECT) != NULL;
    size_t most = drained(exchange, client_waits);
    if (announced == NULL || strtoull(announced, NULL, 10) <= most)
        return false;
    refuse(exchange, REASON_BODY_TOO_LARGE);
    exchange->state = EXCHANGE_DECIDED;
    return true;
}

/* Hands the exchange to another thread. The server's thread must not touch it after the submission. False:
 * the server is about to end. */
static bool leave(struct exchange *exchange, enum exchange_state state)
{
    if (!exchange_suspend(exchange))
        return false;
    exchange->state = state;
    return true;
}

/* Hands the exchange back to the server, from any thread. */
static void come_back(struct exchange *exchange, enum exchange_state state)
{
    exchange->state = state;
    exchange_resume(exchange);
}

/* A worker may still make an answer when the client has gone, and libmicrohttpd's strings with it. So the
 * request must hold none of these: decode the query into the arena, copy the path, and let admission alone
 * look at headers. */
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

/* An answer made while memory ran out may be incomplete or wrong, so a fault replaces it. */
static void distrust(struct exchange *exchange)
{
    struct answer *answer = &exchange->answer;
    if (memory_has_failed() && answer->faults.count == 0)
        faults_replace(&answer->faults, reason_of_lost_answer(&exchange->request));
}

/* Finds the key of the browser's session, if the request came with its cookie. */
static enum store_result find_session(struct exchange *exchange, struct pg *pg)
{
    struct found_session session = {.session = 0};
    enum store_result result = STORE_OK;
    if (exchange->credentials.by_session)
        result =
            session_find(pg, exchange->all->service->config, &exchange->credentials.secret_hash, &session);
    exchange->session_key = session.key;
    exchange->request.session = session.session;
    return result;
}

/* Says where in the CSV the faults stand that were found in the JSON made of it. */
static void place_faults(struct exchange *exchange)
{
    if (exchange->request.csv != NULL)
        csv_body_place_faults(exchange->request.csv, exchange->request.json, &exchange->answer.faults);
}

/* An exchange that has waited was let in before. Its key may have been revoked meanwhile. */
static bool admit(struct exchange *exchange)
{
    if (exchange->admitted)
        return admission_check_role(&exchange->request, &exchange->answer);
    exchange->admitted = outlast(exchange) && admission_check(&exchange->request, &exchange->answer);
    return exchange->admitted;
}

/* Makes the answer new after a wait. The request stays as it is. */
static void forget_answer(struct answer *answer)
{
    enum media media = answer->media;
    struct buffer body = answer->body;
    struct arena *arena = answer->arena;
    buffer_reset(&body);
    *answer = (struct answer){.arena = arena, .status = 200, .media = media, .body = body};
    faults_init(&answer->faults, arena);
}

/* Runs on a read worker's thread. Returns the state to come back in. */
static enum exchange_state serve(struct exchange *exchange, struct pg *pg)
{
    struct request *request = &exchange->request;
    if (atomic_load(&exchange->all->hurrying) || !patience_begin(exchange, pg)) {
        refuse(exchange, REASON_OVERLOADED);
        return EXCHANGE_DECIDED;
    }
    enum store_result result = snapshot_refresh(request->service->snapshots, pg);
    if (result == STORE_OK)
        result = find_session(exchange, pg);
    if (result != STORE_OK) {
        answer_store_failure(&exchange->answer, result);
        return EXCHANGE_DECIDED;
    }
    if (exchange_posts_events(exchange))
        return EXCHANGE_REFRESHED;
    request->pg = pg;
    exchange_identify(exchange);
    if (!admit(exchange))
        return EXCHANGE_DECIDED;
    exchange->answer.pass_on = sending_pass_on;
    request->route->run(request, &exchange->answer);
    place_faults(exchange);
    page_of_answer(request, &exchange->answer);
    if (exchange->long_answer == NULL && exchange->response == NULL) {
        bool coded = reply_is_better_coded(exchange);
        answer_conditionally(request, &exchange->answer);
        if (coded && exchange->answer.faults.count == 0)
            reply_code(&exchange->answer);
    }
    return EXCHANGE_DECIDED;
}

static bool is_client_there(struct feed_waiter *waiter)
{
    return patience_client_is_there((struct exchange *)((char *)waiter - offsetof(struct exchange, waiter)));
}

/* Runs on any thread. Without news, or a worker for them, the empty answer that is there is sent. */
static void end_wait(struct feed_waiter *waiter, bool news)
{
    struct exchange *exchange = (struct exchange *)((char *)waiter - offsetof(struct exchange, waiter));
    exchange->state = EXCHANGE_WORKING;
    exchange->asked_ms = clock_monotonic_ms();
    if (!news || !read_pool_submit(exchange->all->pool, &exchange->job))
        come_back(exchange, EXCHANGE_DECIDED);
}

/* The whole wait is counted from the first answer on. The watch has the exchange afterwards, or another
 * thread already. */
static void wait_for_news(struct exchange *exchange)
{
    struct feed_waiter *waiter = &exchange->waiter;
    const struct answer_wait *wait = exchange->answer.wait;
    if (waiter->until_ms == 0)
        waiter->until_ms = clock_monotonic_ms() + wait->seconds * INT64_C(1000);
    waiter->places = wait->places;
    waiter->count = wait->count;
    waiter->is_there = is_client_there;
    waiter->end = end_wait;
    exchange->state = EXCHANGE_WAITING;
    switch (feed_watch_wait(exchange->all->service->feed_watch, waiter)) {
    case FEED_WAITS:
        return;
    case FEED_HAS_NEWS:
        end_wait(waiter, true);
        return;
    case FEED_WAITS_TOO_MANY:
        refuse(exchange, REASON_OVERLOADED);
        come_back(exchange, EXCHANGE_DECIDED);
        return;
    case FEED_WAIT_IS_OVER:
        come_back(exchange, EXCHANGE_DECIDED);
        return;
    }
    abort();
}

static void work(struct read_job *job, struct pg *pg)
{
    struct exchange *exchange = (struct exchange *)((char *)job - offsetof(struct exchange, job));
    memory_forget_failures();
    if (exchange->answer.wait != NULL)
        forget_answer(&exchange->answer);
    enum exchange_state state = serve(exchange, pg);
    patience_end(pg);
    if (state == EXCHANGE_DECIDED)
        distrust(exchange);
    if (exchange->answer.wait != NULL && exchange->answer.faults.count == 0)
        wait_for_news(exchange);
    else if (!sending_end(exchange))
        come_back(exchange, state);
}

/* The functions from here to exchange_advance return the same value as that function. */
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

/* Runs on the writer's thread. Other requests wait for the writer, so another thread makes the answer. */
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
    if (!groups_submit(exchange->request.service->groups, &exchange->posting.job)) {
        refuse(exchange, REASON_OVERLOADED);
        come_back(exchange, EXCHANGE_DECIDED);
    }
    return false;
}

/* Puts the event that the lines of a CSV are in the place of these. */
static bool make_event(struct request *request, struct answer *answer)
{
    if (request->route->event_of_lines == NULL)
        return true;
    json_t *event = request->route->event_of_lines(request, answer);
    if (event == NULL)
        return false;
    json_decref(request->json);
    request->json = event;
    return true;
}

/* The events own all that they need. Free the body and the JSON before the events wait. */
static bool read_events(struct exchange *exchange)
{
    struct request *request = &exchange->request;
    bool fit = admission_check(request, &exchange->answer) && make_event(request, &exchange->answer) &&
               posting_read(&exchange->posting, request, &exchange->answer);
    if (!fit)
        place_faults(exchange);
    json_decref(request->json);
    request->json = NULL;
    buffer_dispose(&exchange->body);
    return fit;
}

/* Whether the snapshot lacks the key, but the key may be newer than the snapshot. */
static bool is_new_to_us(struct exchange *exchange)
{
    exchange_identify(exchange);
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

/* Whether another stream may begin. */
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
    if (!admission_check(&exchange->request, &exchange->answer))
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

/* Whether the server still has the exchange. It then has a stream or a fault. */
static bool has_begun_stream(struct exchange *exchange)
{
    if (exchange->stream != NULL || exchange->answer.faults.count > 0)
        return true;
    if (is_new_to_us(exchange))
        return go_to_worker(exchange);
    begin_stream(exchange);
    return true;
}

/* If a body comes in chunks, libmicrohttpd passes on the next chunk even though the exchange just went away.
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
        return false; /* no summary: the client posts the rest again, elsewhere or later */
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

static void keep_piece(struct spool *lines, const char *data, size_t length)
{
    buffer_add(spool_buffer(lines), data, length);
    spool_settle(lines);
}

static void forget_body(struct exchange *exchange)
{
    buffer_dispose(&exchange->body);
    if (exchange->keeps_lines)
        spool_dispose(&exchange->lines);
}

bool exchange_receive(struct exchange *exchange, const char *data, size_t *length)
{
    if (exchange->request.stream)
        return receive_stream(exchange, data, length);
    exchange->received += *length;
    if (exchange->received > exchange_body_maximum(exchange))
        forget_body(exchange);
    else if (exchange->keeps_lines)
        keep_piece(&exchange->lines, data, *length);
    else
        buffer_add(&exchange->body, data, *length);
    *length = 0;
    return exchange->received <= drained(exchange, false);
}

static bool answer_at_once(struct exchange *exchange)
{
    if (admission_check(&exchange->request, &exchange->answer))
        exchange->request.route->run(&exchange->request, &exchange->answer);
    return decided(exchange);
}

static bool refuse_whole(struct exchange *exchange, enum reason reason)
{
    refuse(exchange, reason);
    return decided(exchange);
}

/* Called when the body is complete. */
static bool begin(struct exchange *exchange)
{
    struct request *request = &exchange->request;
    request->body = exchange->body.data;
    request->body_length = exchange->body.length;
    if (request->route == NULL)
        return refuse_whole(exchange, exchange->allowed != 0 ? REASON_METHOD_NOT_ALLOWED : REASON_NOT_FOUND);
    if (request->stream)
        return end_stream(exchange);
    if (exchange->received > exchange_body_maximum(exchange))
        return refuse_whole(exchange, REASON_BODY_TOO_LARGE);
    if (exchange->keeps_lines)
        request->lines_file = spool_finish(&exchange->lines);
    if (exchange->body.failed || (exchange->keeps_lines && request->lines_file < 0))
        return refuse_whole(exchange, REASON_OVERLOADED);
    if (exchange_posts_events(exchange))
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
        place_faults(exchange);
        return decided(exchange);
    case EXCHANGE_DECIDED:
        return true;
    case EXCHANGE_WORKING:
    case EXCHANGE_WAITING:
    case EXCHANGE_POSTING:
    case EXCHANGE_SENT:
        break;
    }
    abort();
}
