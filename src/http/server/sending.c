/* SPDX-License-Identifier: ISC */
/* All of this runs on the worker's thread, except for the two functions with which the reader of the long
 * answer waits. */
#include "http/server/sending.h"

#include "base/log.h"
#include "http/request/route.h"
#include "http/server/patience.h"
#include "http/server/reply.h"

#include <string.h>

/* Answers below 256 KiB are sent whole, with Content-Length. A longer answer is passed on in pieces of 64
 * KiB. */
enum { SHORT_MAX = 256 << 10, PIECE = 64 << 10 };

/* Always returns false, so the caller can return its result. */
static bool give_up(struct exchange *exchange, enum reason reason)
{
    faults_refuse(&exchange->answer.faults, reason);
    return false;
}

static bool wait_for_worker(void *owner)
{
    return exchange_suspend(owner);
}

static bool is_client_there(void *owner)
{
    return patience_client_is_there(owner);
}

static void wake_server(void *owner)
{
    exchange_resume(owner);
}

/* Whether another long answer may begin. If there are several workers, at least one stays free for other
 * requests. */
static bool count_long_answer(struct exchanges *all)
{
    const struct config *config = all->service->config;
    size_t workers = (size_t)config->read_workers;
    pthread_mutex_lock(&all->lock);
    bool room =
        all->long_answers < (size_t)config->max_streams && all->made < (workers > 1 ? workers - 1 : 1);
    all->long_answers += room;
    all->made += room;
    pthread_mutex_unlock(&all->lock);
    return room;
}

static void count_made(struct exchanges *all)
{
    pthread_mutex_lock(&all->lock);
    all->made--;
    pthread_mutex_unlock(&all->lock);
}

static bool begin(struct exchange *exchange)
{
    const struct config *config = exchange->all->service->config;
    struct long_answer_reader reader = {wait_for_worker, wake_server, is_client_there, exchange};
    struct long_answer *answer =
        long_answer_new(config->spool_folder, (uint64_t)config->spool_megabytes << 20, reader);
    if (answer == NULL || !count_long_answer(exchange->all)) {
        long_answer_free(answer);
        return give_up(exchange, REASON_OVERLOADED);
    }
    exchange->long_answer = answer;
    if (!exchange->answer.is_coded)
        return true;
    exchange->gzip = gzip_new();
    return exchange->gzip != NULL || give_up(exchange, REASON_OVERLOADED);
}

static bool add(struct exchange *exchange, const struct buffer *body, bool last)
{
    struct buffer *coded = &exchange->coded;
    if (exchange->gzip == NULL)
        return long_answer_add(exchange->long_answer, body->data, body->length);
    buffer_reset(coded);
    return gzip_add(exchange->gzip, body->data, body->length, last, coded) &&
           long_answer_add(exchange->long_answer, coded->data, coded->length);
}

/* Moves the content of the body into the long answer. `last`: nothing follows. */
static bool move(struct exchange *exchange, bool last)
{
    struct buffer *body = &exchange->answer.body;
    bool moved = !body->failed && add(exchange, body, last);
    buffer_reset(body);
    patience_extend(exchange);
    return moved || give_up(exchange, REASON_OVERLOADED);
}

/* From here on the worker must touch neither the connection nor the parts of the exchange that the server's
 * thread reads. */
static bool give_back(struct exchange *exchange)
{
    if (!reply_prepare(exchange, MHD_SIZE_UNKNOWN))
        return give_up(exchange, REASON_OVERLOADED);
    exchange->under_way = true;
    exchange->state = EXCHANGE_DECIDED;
    exchange_resume(exchange);
    return true;
}

/* HEAD needs no body: stop once we know it is long. False then. */
static bool answer_head(struct exchange *exchange)
{
    return reply_prepare(exchange, MHD_SIZE_UNKNOWN) ? false : give_up(exchange, REASON_OVERLOADED);
}

/* The connection is still suspended, so libmicrohttpd's strings are still there. */
static bool become_long(struct exchange *exchange)
{
    exchange->answer.is_coded = exchange->request.codings.gzip;
    if (strcmp(exchange->method, MHD_HTTP_METHOD_HEAD) == 0)
        return answer_head(exchange);
    return begin(exchange);
}

bool sending_pass_on(struct answer *answer)
{
    struct exchange *exchange = (struct exchange *)((char *)answer - offsetof(struct exchange, answer));
    struct long_answer *long_answer = exchange->long_answer;
    if (atomic_load(&exchange->all->hurrying) || answer->body.failed ||
        (long_answer != NULL && !long_answer_is_wanted(long_answer)))
        return give_up(exchange, REASON_OVERLOADED);
    if (answer->body.length < (long_answer != NULL ? PIECE : SHORT_MAX))
        return true;
    if (long_answer == NULL && !become_long(exchange))
        return false;
    return move(exchange, false) && (exchange->under_way || !exchange->takes_chunks || give_back(exchange));
}

static void log_cut(const struct exchange *exchange)
{
    const struct answer *answer = &exchange->answer;
    const char *why = long_answer_fault(exchange->long_answer);
    bool gone = !long_answer_is_wanted(exchange->long_answer);
    if (gone)
        why = "the client has gone";
    else if (why == NULL && atomic_load(&exchange->all->hurrying))
        why = "the service stops";
    else if (why == NULL)
        why = reason_info(answer->faults.items[0].reason)->code;
    log_write(gone ? LOG_INFO : LOG_WARNING, "a long answer was cut off", "route",
              exchange->request.route->path, "why", why, "request_id", exchange->request_id, NULL);
}

bool sending_end(struct exchange *exchange)
{
    if (exchange->long_answer == NULL)
        return false;
    bool under_way = exchange->under_way;
    bool complete = exchange->answer.faults.count == 0 && move(exchange, true);
    if (!complete)
        log_cut(exchange);
    count_made(exchange->all);
    if (!long_answer_end(exchange->long_answer, complete))
        exchange_free(exchange);
    else if (!under_way && complete && !reply_prepare(exchange, long_answer_length(exchange->long_answer)))
        give_up(exchange, REASON_OVERLOADED);
    return under_way;
}
