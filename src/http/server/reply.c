/* SPDX-License-Identifier: ISC */
/* Makes the response. If memory runs out on the way, the client gets one of two responses that were made at
 * the start. The first says that nothing was recorded. The second says that the outcome is not known, for a
 * handler that may already have recorded something. */
#include "http/server/reply.h"

#include "http/pages/page_problem.h"
#include "http/pages/page_sign_in.h"
#include "http/request/media.h"
#include "http/request/problem.h"
#include "http/request/route.h"
#include "http/request/router.h"
#include "http/request/spool.h"
#include "words/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_BYTES = 16384, FILE_NAME_MAX = 160 };

/* Collects the headers, so that a failure of any of the many calls is noticed once, at the end. */
struct reply {
    struct MHD_Response *response;
    bool failed;
};

static void add_header(struct reply *reply, const char *name, const char *value)
{
    if (value != NULL && MHD_add_response_header(reply->response, name, value) != MHD_YES)
        reply->failed = true;
}

bool reply_is_better_coded(const struct exchange *exchange)
{
    const struct answer *answer = &exchange->answer;
    const struct codings *accepted = &exchange->request.codings;
    return accepted->gzip && answer->body.length > (accepted->identity ? CODED_MIN - 1 : 0) &&
           !answer->body.failed;
}

/* A body that lacks the memory to be coded goes as it is. */
static void code_body(struct answer *answer)
{
    answer->is_coded = gzip_whole(&answer->body);
    if (answer->is_coded && answer->etag != NULL)
        answer->etag = coding_tag(answer->arena, answer->etag);
}

void reply_code(struct answer *answer)
{
    if (answer->body.length > 0)
        code_body(answer);
    else if (answer->etag != NULL)
        answer->etag = coding_tag(answer->arena, answer->etag); /* of the answer that was not modified */
}

/* For answers that no worker made, and for problems. Admission refuses a client that accepts neither gzip nor
 * an answer without a coding. */
static void code_what_must_be(struct exchange *exchange)
{
    struct answer *answer = &exchange->answer;
    if (exchange->stream == NULL && !answer->is_coded && !exchange->request.codings.identity &&
        reply_is_better_coded(exchange))
        code_body(answer);
}

/* Adds the headers that a status requires. */
static void add_status_headers(struct reply *reply, int status, bool is_page)
{
    if (status == 429 || status == 503)
        add_header(reply, MHD_HTTP_HEADER_RETRY_AFTER, "1");
    if (status != 401)
        return;
    add_header(reply, MHD_HTTP_HEADER_WWW_AUTHENTICATE, "Bearer realm=\"depositd\"");
    if (is_page) /* a browser would ask for a name and a password before it shows the page, which asks better
                  */
        return;
    add_header(reply, MHD_HTTP_HEADER_WWW_AUTHENTICATE, "Basic realm=\"depositd\", charset=\"UTF-8\"");
}

static void add_link(struct reply *reply, const struct answer *answer)
{
    struct buffer link;
    if (answer->link_next == NULL && answer->link_previous == NULL)
        return;
    buffer_init(&link, 16384);
    if (answer->link_next != NULL)
        buffer_printf(&link, "<%s>; rel=\"next\"", answer->link_next);
    if (answer->link_previous != NULL)
        buffer_printf(&link, "%s<%s>; rel=\"prev\"", link.length > 0 ? ", " : "", answer->link_previous);
    reply->failed = reply->failed || link.failed;
    add_header(reply, MHD_HTTP_HEADER_LINK, link.data);
    buffer_dispose(&link);
}

static const char *content_type(const struct answer *answer)
{
    if (answer->faults.count > 0)
        return answer->is_page ? media_type(MEDIA_HTML) : MEDIA_PROBLEM;
    return answer->status == 204 || answer->status == 304 ? NULL : media_type(answer->media);
}

/* A page may only load its style sheet and send its forms back to this service. */
static void add_page_headers(struct reply *reply, const struct words *words)
{
    add_header(reply, MHD_HTTP_HEADER_CONTENT_LANGUAGE, words_code(words));
    add_header(reply, "Content-Security-Policy",
               "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'self'; "
               "frame-ancestors 'none'");
    add_header(reply, "Referrer-Policy", "no-referrer");
}

/* How a browser keeps the answer as a file (RFC 6266 section 4). The name is plain: see report_file_name. A
 * message of the bank is somebody else's text, so a browser shows nothing of it. */
static void add_disposition(struct reply *reply, const struct answer *answer, int status)
{
    char value[FILE_NAME_MAX + 32];
    if (status == 304) /* the browser has the file, and knows its name */
        return;
    if (answer->file_name != NULL) {
        snprintf(value, sizeof value, "attachment; filename=\"%s\"", answer->file_name);
        add_header(reply, MHD_HTTP_HEADER_CONTENT_DISPOSITION, value);
    } else if (answer->media == MEDIA_XML) {
        add_header(reply, MHD_HTTP_HEADER_CONTENT_DISPOSITION, "attachment");
    }
}

/* No cache may keep an answer that was made for a key. A public answer may be kept for a while. */
static const char *cache_control(const struct exchange *exchange)
{
    const struct route *route = exchange->request.route;
    if (route != NULL && route->kept && exchange->answer.faults.count == 0)
        return "public, max-age=300";
    return route == NULL || route->roles != 0 || route->for_browsers ? "no-store" : NULL;
}

/* The fields of the request that the answer depends on (RFC 9110 section 12.5.5). Only an answer that caches
 * may keep needs the one that chose its form. */
static void add_vary(struct reply *reply, const struct route *route, bool is_page)
{
    if (route == NULL || route->method != METHOD_GET)
        return;
    if (route->kept && route_has_choice(route))
        add_header(reply, MHD_HTTP_HEADER_VARY, MHD_HTTP_HEADER_ACCEPT);
    add_header(reply, MHD_HTTP_HEADER_VARY,
               is_page ? MHD_HTTP_HEADER_ACCEPT_ENCODING ", " MHD_HTTP_HEADER_ACCEPT_LANGUAGE
                       : MHD_HTTP_HEADER_ACCEPT_ENCODING);
}

static void add_headers(struct reply *reply, const struct exchange *exchange)
{
    const struct answer *answer = &exchange->answer;
    char allow[ALLOW_MAX];
    add_header(reply, "X-Request-Id", exchange->request_id);
    add_header(reply, MHD_HTTP_HEADER_CONTENT_TYPE, content_type(answer));
    add_status_headers(reply, exchange->status, answer->is_page);
    add_header(reply, "X-Content-Type-Options", "nosniff");
    if (answer->is_coded)
        add_header(reply, MHD_HTTP_HEADER_CONTENT_ENCODING, "gzip");
    add_vary(reply, exchange->request.route, answer->is_page);
    if (answer->is_page)
        add_page_headers(reply, exchange->request.words);
    else if (answer->media == MEDIA_XML && answer->faults.count == 0)
        add_header(reply, "Content-Security-Policy", "default-src 'none'; sandbox");
    add_header(reply, MHD_HTTP_HEADER_CACHE_CONTROL, cache_control(exchange));
    if (exchange->all->draining || exchange->last)
        add_header(reply, MHD_HTTP_HEADER_CONNECTION, "close");
    if (exchange->status == 405) {
        router_allow(exchange->allowed, allow);
        add_header(reply, MHD_HTTP_HEADER_ALLOW, allow);
    }
    if (answer->faults.count > 0)
        return;
    add_header(reply, MHD_HTTP_HEADER_SET_COOKIE, answer->cookie);
    add_header(reply, MHD_HTTP_HEADER_ETAG, answer->etag);
    add_header(reply, MHD_HTTP_HEADER_LOCATION, answer->location);
    add_link(reply, answer);
    add_disposition(reply, answer, exchange->status);
}

/* ?format= wins over Accept, even if the request has failed. */
static bool wants_page(const struct exchange *exchange)
{
    const char *format = request_query(&exchange->request, "format");
    return format != NULL ? strcmp(format, media_word(MEDIA_HTML)) == 0
                          : media_prefers_page(exchange->request.accept);
}

/* A person who is not signed in yet gets the form for it, which leads back to the page that was asked for. A
 * form that came too late cannot be led back to, so the page says that it did nothing. */
static void write_problem(struct exchange *exchange)
{
    struct answer *answer = &exchange->answer;
    const struct request *request = &exchange->request;
    if (!answer->is_page)
        problem_write(&answer->faults, &answer->body);
    else if (answer->faults.items[0].reason == REASON_UNAUTHENTICATED)
        page_sign_in(&(struct sign_in){.next = page_sign_in_next(request),
                                       .was_late = request->route != NULL && request->route->for_browsers &&
                                                   request->route->method != METHOD_GET},
                     &answer->body);
    else
        page_of_problem(request, &answer->faults, exchange->request_id, &answer->body);
}

static struct MHD_Response *make_response(struct exchange *exchange)
{
    struct answer *answer = &exchange->answer;
    struct reply reply = {NULL};
    exchange->status = answer->status;
    if (answer->faults.count == 0 && exchange->stream != NULL)
        reply.response = events_stream_response(exchange->stream, &answer->faults);
    if (answer->faults.count > 0) {
        exchange->status = problem_status(&answer->faults);
        answer->is_coded = false;
        buffer_reset(&answer->body);
        answer->body.words = exchange->request.words;
        answer->is_page = wants_page(exchange);
        write_problem(exchange);
    }
    code_what_must_be(exchange);
    if (reply.response == NULL)
        reply.response = spool_take_buffer(&answer->body);
    if (reply.response == NULL)
        return NULL;
    add_headers(&reply, exchange);
    if (!reply.failed)
        return reply.response;
    MHD_destroy_response(reply.response);
    return NULL;
}

static ssize_t read_on(void *closure, uint64_t position, char *bytes, size_t most)
{
    const struct exchange *exchange = closure;
    (void)position;
    ssize_t got = long_answer_read(exchange->long_answer, bytes, most);
    return got == LONG_ANSWER_COMPLETE ? MHD_CONTENT_READER_END_OF_STREAM
           : got == LONG_ANSWER_BROKEN ? MHD_CONTENT_READER_END_WITH_ERROR
                                       : got;
}

bool reply_prepare(struct exchange *exchange, uint64_t length)
{
    struct reply reply = {
        .response = MHD_create_response_from_callback(length, BLOCK_BYTES, read_on, exchange, NULL)};
    if (reply.response == NULL)
        return false;
    /* If the length is unknown, libmicrohttpd (0.9.75) answers HEAD with an empty chunked body, which RFC
     * 9112 section 6.3 forbids. With this option it sends no body, and closes the connection. */
    if (strcmp(exchange->method, MHD_HTTP_METHOD_HEAD) == 0)
        reply.failed = MHD_set_response_options(reply.response, MHD_RF_HTTP_1_0_COMPATIBLE_STRICT,
                                                MHD_RO_END) != MHD_YES;
    exchange->status = exchange->answer.status;
    add_headers(&reply, exchange);
    if (reply.failed)
        MHD_destroy_response(reply.response);
    else
        exchange->response = reply.response;
    return !reply.failed;
}

/* Chooses the prepared response for an answer that memory does not suffice for. */
static struct MHD_Response *last_resort(const struct exchange *exchange)
{
    const struct faults *faults = &exchange->answer.faults;
    enum reason reason =
        faults->count > 0 ? faults->items[0].reason : reason_of_lost_answer(&exchange->request);
    return reason == REASON_OUTCOME_UNKNOWN ? exchange->all->outcome_unknown : exchange->all->overloaded;
}

enum MHD_Result reply_send(struct exchange *exchange)
{
    struct MHD_Response *response = exchange->response != NULL ? exchange->response : make_response(exchange);
    exchange->response = NULL;
    exchange->state = EXCHANGE_SENT;
    if (response == NULL) {
        exchange->status = 503;
        return MHD_queue_response(exchange->connection, 503, last_resort(exchange));
    }
    enum MHD_Result queued = MHD_queue_response(exchange->connection, (unsigned)exchange->status, response);
    MHD_destroy_response(response);
    return queued;
}

enum MHD_Result reply_overloaded(const struct exchanges *all, struct MHD_Connection *connection)
{
    return MHD_queue_response(connection, 503, all->overloaded);
}

/* NULL: out of memory. */
static struct MHD_Response *prepare(enum reason reason)
{
    struct fault fault = {.reason = reason, .detail = reason_info(reason)->title};
    struct faults faults = {.items = &fault, .count = 1};
    struct buffer body;
    buffer_init(&body, 4096);
    problem_write(&faults, &body);
    struct reply reply = {.response = spool_take_buffer(&body)};
    buffer_dispose(&body);
    if (reply.response == NULL)
        return NULL;
    add_header(&reply, MHD_HTTP_HEADER_CONTENT_TYPE, MEDIA_PROBLEM);
    add_header(&reply, "X-Content-Type-Options", "nosniff");
    add_header(&reply, MHD_HTTP_HEADER_CONNECTION, "close");
    add_status_headers(&reply, 503, false);
    if (!reply.failed)
        return reply.response;
    MHD_destroy_response(reply.response);
    return NULL;
}

bool reply_init(struct exchanges *all)
{
    all->overloaded = prepare(REASON_OVERLOADED);
    all->outcome_unknown = prepare(REASON_OUTCOME_UNKNOWN);
    return all->overloaded != NULL && all->outcome_unknown != NULL;
}

void reply_dispose(struct exchanges *all)
{
    if (all->overloaded != NULL)
        MHD_destroy_response(all->overloaded);
    if (all->outcome_unknown != NULL)
        MHD_destroy_response(all->outcome_unknown);
}
