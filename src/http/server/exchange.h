/* SPDX-License-Identifier: ISC */
/* One request and its answer, from the first header to the last byte.
 *
 * At any moment an exchange belongs to one thread, which its state names; a change of state hands it over,
 * under a lock of the queue it goes into or of libmicrohttpd. While it is away its connection is suspended,
 * and libmicrohttpd then neither notices that the client has gone nor ends the request: an exchange never
 * ends under who works on it. But for one that is sent while it is made (http/server/sending.h): once its
 * beginning is the server's, the request, the answer and their arena remain the worker's, and the exchange
 * lasts until both are done with it. */
#ifndef DEPOSITD_HTTP_SERVER_EXCHANGE_H
#define DEPOSITD_HTTP_SERVER_EXCHANGE_H

#include "app/service/read_pool.h"
#include "http/events/events_post.h"
#include "http/events/events_stream.h"
#include "http/request/handler.h"
#include "http/request/meters.h"
#include "http/server/auth.h"
#include "http/server/long_answer.h"

#include <microhttpd.h>
#include <pthread.h>
#include <stdatomic.h>

enum exchange_state {
    EXCHANGE_READING,   /* the server's thread; the body comes in */
    EXCHANGE_WORKING,   /* away: a read worker's */
    EXCHANGE_REFRESHED, /* the server's: events may be posted, the snapshot being no older than they are; the
                           body of a stream goes on coming in */
    EXCHANGE_POSTING,   /* away: the writer's */
    EXCHANGE_POSTED,    /* the server's: the results stand */
    EXCHANGE_DECIDED,   /* the server's: the answer stands */
    EXCHANGE_SENT       /* the server's: libmicrohttpd has the response */
};

/* What the exchanges of a server share. */
struct exchanges {
    struct service *service;
    struct read_pool *pool;
    struct rates *rates;
    struct meters *meters;
    struct buffer openapi;
    struct MHD_Response *overloaded, *outcome_unknown; /* for when there is no memory for another */
    pthread_mutex_t lock;
    pthread_cond_t fewer; /* one has ended, or is back */
    size_t open;          /* that exist */
    size_t streams;       /* of them, those that read NDJSON */
    size_t long_answers;  /* of them, those that have one */
    size_t made;          /* of these, those that a worker is still making */
    size_t unknown_large; /* that may have a large body, of a key that was not known when they came */
    size_t away;
    atomic_bool draining; /* each answer is its connection's last */
    bool over;            /* under the lock: nobody goes away any more */
    atomic_bool hurrying; /* what a worker has not begun it refuses */
};

enum { REQUEST_ID_MAX = 128 };

struct exchange {
    struct exchanges *all;
    struct MHD_Connection *connection;
    enum exchange_state state;
    struct arena arena;
    struct request request;
    struct answer answer;
    struct credentials credentials;
    struct buffer body;
    size_t received;  /* bytes of the body, kept or not */
    unsigned allowed; /* methods of the path, where the route was not found */
    struct read_job job;
    struct posting posting;
    struct events_stream *stream;    /* NULL: none, or not yet */
    struct long_answer *long_answer; /* NULL: none, or not yet */
    struct MHD_Response *response;   /* made by the worker, for a long answer */
    bool unknown_large;              /* counted there */
    bool takes_chunks;               /* the client can tell whether an answer of unknown length is complete */
    bool under_way;                  /* the worker's: the beginning of the long answer is the server's */
    char request_id[REQUEST_ID_MAX + 1];
    const char *method;
    struct wire_connection *wire; /* that it came on */
    bool last;                    /* on its connection, which is then closed */
    int64_t started_us;
    int socket;       /* the connection's; only to look at, and only while that is suspended */
    int64_t asked_ms; /* when it went to a worker */
    int status;       /* as sent; 0: nothing was */
};

/* A new one, READING. NULL: out of memory. */
MUST_CHECK struct exchange *exchange_new(struct exchanges *all, struct MHD_Connection *connection,
                                         const char *method, const char *path, const char *version);
/* The server's thread is done with it; of a long answer also the worker, if that was last. */
void exchange_free(struct exchange *exchange);

/* READING: takes a piece of the body; *length becomes what is left of it, for when the exchange is back.
 * False: far more than any body may be; give up the connection. */
MUST_CHECK bool exchange_receive(struct exchange *exchange, const char *data, size_t *length);
/* READING: whether the announced body is refused before it is sent: DECIDED then. */
MUST_CHECK bool exchange_refuses_body(struct exchange *exchange);
/* READING or REFRESHED: refuses the request, unless a fault was found before, and closes the connection:
 * DECIDED. A stream answers the lines that are posted, and is not DECIDED yet. */
void exchange_refuse(struct exchange *exchange, enum reason reason, const char *detail);
/* When the body is complete, and each time the exchange is back: goes on as far as the server's thread can.
 * True: it is DECIDED. False: it is away, or back already, and must not be touched until the next call. */
MUST_CHECK bool exchange_advance(struct exchange *exchange);
/* DECIDED: queues the response: SENT. MHD_NO: that was not possible. */
enum MHD_Result exchange_send(struct exchange *exchange);

/* The server's thread suspends the connection. False: the server is about to end, and would not wait. */
MUST_CHECK bool exchange_suspend(struct exchange *exchange);
/* Any thread resumes it. The exchange may have ended before this returns. */
void exchange_resume(struct exchange *exchange);

/* How many exchanges are open now, how many of them read NDJSON, and what the read workers do: a
 * gauge_reader of `struct exchanges`. */
void exchanges_gauge(void *all, struct gauges *gauges);

/* Waits until no exchange is open, for half of stop_grace_s; then until none is away: what workers and writer
 * have begun they end, unless their waits for the database end before; what workers have not begun they
 * refuse, and long answers they cut off; and a second more for the last answers to leave. */
void exchanges_drain(struct exchanges *all);

#endif
