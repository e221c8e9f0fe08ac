/* SPDX-License-Identifier: ISC */
/* libmicrohttpd does not look at a suspended connection, so the worker looks at its socket now and then.
 *
 * A client that leaves closes its side. A client that half-closes its connection and waits for the answer,
 * which HTTP allows, looks the same. A read is given up for both, because the client can ask again. A write
 * is never given up for its client, and its answer is sent (http/server/wire.c). */
#include "http/server/patience.h"

#include "base/clock.h"
#include "http/request/route.h"

#include <poll.h>

bool patience_client_is_there(const struct exchange *exchange)
{
    struct pollfd socket = {.fd = exchange->socket, .events = POLLRDHUP};
    return poll(&socket, 1, 0) <= 0;
}

/* Once a long answer has begun, the server has the connection and sends on it. */
static bool is_wanted(void *context)
{
    const struct exchange *exchange = context;
    return exchange->under_way ? long_answer_look(exchange->long_answer) : patience_client_is_there(exchange);
}

static bool is_read(const struct exchange *exchange)
{
    return exchange->request.route->method == METHOD_GET;
}

static void set_deadline(struct exchange *exchange)
{
    const struct config *config = exchange->all->service->config;
    struct answer *answer = &exchange->answer;
    if (exchange->request.route->run == NULL) {
        answer->deadline_ms = config->post_deadline_ms / 2;
        answer->deadline_setting = "post_deadline_ms";
    } else if (exchange->request.route->is_long) {
        answer->deadline_ms = config->long_deadline_s * INT64_C(1000);
        answer->deadline_setting = "long_deadline_s";
    } else {
        answer->deadline_ms = config->read_deadline_ms;
        answer->deadline_setting = "read_deadline_ms";
    }
}

bool patience_begin(struct exchange *exchange, struct pg *pg)
{
    set_deadline(exchange);
    int64_t at_ms = exchange->asked_ms + exchange->answer.deadline_ms;
    pg_set_deadline(pg, at_ms);
    if (is_read(exchange))
        pg_set_watch(pg, is_wanted, exchange);
    return clock_monotonic_ms() < at_ms && (!is_read(exchange) || patience_client_is_there(exchange));
}

void patience_extend(struct exchange *exchange)
{
    if (exchange->request.pg != NULL)
        pg_set_deadline(exchange->request.pg, clock_monotonic_ms() + exchange->answer.deadline_ms);
}

void patience_end(struct pg *pg)
{
    pg_set_deadline(pg, 0);
    pg_set_watch(pg, NULL, NULL);
}
