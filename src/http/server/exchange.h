/* SPDX-License-Identifier: ISC */
/* One request and its answer, from the first header to the last byte: its parts, and the thread that owns it.
 *
 * An exchange belongs to one thread at a time, and its state names that thread. A change of state hands it
 * over, under the lock of the queue that it enters, or under libmicrohttpd's lock. While a worker or the
 * writer has the exchange, its connection is suspended. libmicrohttpd then neither notices that the client
 * has gone nor ends the request, so no exchange ends while a thread works on it.
 *
 * A long answer is the exception (http/server/sending.h): the server's thread sends its beginning while the
 * worker still makes the rest. The request, the answer and their arena then remain the worker's, and the
 * exchange lives until both threads are done with it.
 *
 * http/server/exchange_steps.h takes an exchange from state to state. */
#ifndef DEPOSITD_HTTP_SERVER_EXCHANGE_H
#define DEPOSITD_HTTP_SERVER_EXCHANGE_H

#include "app/service/read_pool.h"
#include "http/events/events_post.h"
#include "http/events/events_stream.h"
#include "http/request/handler.h"
#include "http/request/meters.h"
#include "http/request/spool.h"
#include "http/server/auth.h"
#include "http/server/gzip.h"
#include "http/server/long_answer.h"

#include <microhttpd.h>
#include <pthread.h>
#include <stdatomic.h>

enum exchange_state {
    EXCHANGE_READING,   /* the server's thread has it; the body comes in */
    EXCHANGE_WORKING,   /* away: a read worker has it */
    EXCHANGE_WAITING,   /* away: an empty slice of the feed waits for news (app/service/feed_watch.h) */
    EXCHANGE_REFRESHED, /* the server's: the snapshot is no older than the events, so they may be posted; more
                           of a stream's body may come in */
    EXCHANGE_POSTING,   /* away: the writer has it */
    EXCHANGE_POSTED,    /* the server's: the writer has given the results */
    EXCHANGE_DECIDED,   /* the server's: the answer is ready */
    EXCHANGE_SENT       /* the server's: libmicrohttpd has the response */
};

/* The part that all exchanges of a server share. */
struct exchanges {
    struct service *service;
    struct read_pool *pool;
    struct rates *rates;
    struct rates *guesses;
    struct meters *meters;
    struct buffer openapi, openapi_coded;              /* the document, and the same as gzip */
    struct MHD_Response *overloaded, *outcome_unknown; /* sent when there is no memory for another response */
    pthread_mutex_t lock;                              /* protects the counts and `over` */
    pthread_cond_t fewer;                              /* an exchange has ended, or has come back */
    size_t open;                                       /* exchanges that exist */
    size_t streams;                                    /* exchanges that read NDJSON */
    size_t long_answers;                               /* exchanges with a long answer */
    size_t made;          /* exchanges whose long answer a worker is still making */
    size_t unknown_large; /* exchanges with a large body whose key the snapshot did not know at the start */
    size_t away;          /* exchanges whose connection is suspended */
    atomic_bool draining; /* close each connection after its answer */
    bool over;            /* no exchange may go away any more */
    atomic_bool hurrying; /* workers refuse requests that they have not begun */
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
    int32_t session_key; /* of the session in force; 0: none, or not asked for yet */
    struct buffer body;
    struct spool lines; /* gets the body in its place, … */
    bool keeps_lines;   /* … if this is so; counted in exchanges.streams */
    bool no_room;       /* the body would be kept there, but too many others are */
    size_t received;    /* bytes of the body, kept or not */
    unsigned allowed;   /* methods of the path, if no route was found */
    struct read_job job;
    struct feed_waiter waiter;
    bool admitted; /* by a worker, which then let the exchange wait */
    struct posting posting;
    struct events_stream *stream;    /* NULL: none, or none yet */
    struct long_answer *long_answer; /* NULL: none, or none yet */
    struct gzip *gzip;               /* codes the long answer; NULL: it is not coded */
    struct buffer coded;             /* a piece of it */
    struct MHD_Response *response;   /* of a long answer; the worker makes it */
    bool unknown_large;              /* counted in exchanges.unknown_large */
    bool takes_chunks;               /* the client can tell whether an answer of unknown length is complete */
    bool under_way; /* the worker's: the server's thread is already sending the long answer */
    char request_id[REQUEST_ID_MAX + 1];
    const char *method;
    struct wire_connection *wire; /* the connection that the request came on */
    bool last;                    /* close the connection after this exchange */
    int64_t started_us;
    int socket; /* of the connection; for patience.c to look at, only while the connection is suspended */
    int64_t asked_ms; /* when it went to a worker */
    int status;       /* as sent; 0: nothing was sent */
};

/* A new exchange, READING. NULL: out of memory. */
MUST_CHECK struct exchange *exchange_new(struct exchanges *all, struct MHD_Connection *connection,
                                         const char *method, const char *path, const char *version);
/* Called when the server's thread is done with the exchange. If a worker still makes its long answer, the
 * exchange lives on, and the worker calls this again. */
void exchange_free(struct exchange *exchange);

/* Whether the request posts events. The writer handles these, not a handler. */
bool exchange_posts_events(const struct exchange *exchange);
/* The most bytes that the request's body may have. */
size_t exchange_body_maximum(const struct exchange *exchange);
/* Takes the newest snapshot, and looks up the caller's key in it. The key of a session is known only after a
 * worker has found the session. */
void exchange_identify(struct exchange *exchange);

/* Suspends the connection, on the server's thread. False: the server is about to end, and would not wait. */
MUST_CHECK bool exchange_suspend(struct exchange *exchange);
/* Resumes the connection, on any thread. The exchange may end before this returns. */
void exchange_resume(struct exchange *exchange);

/* A gauge_reader of `struct exchanges`: how many exchanges are open, how many of them read NDJSON, and how
 * busy the read workers are. */
void exchanges_gauge(void *all, struct gauges *gauges);

/* Ends all exchanges when the service stops. It ends the waits for news of the feed, and waits, for half of
 * stop_grace_s, until no exchange is open. Then it waits until no exchange is away: workers refuse requests
 * that they have not begun, and cut long answers off. Workers and writer finish the requests that they have
 * begun, unless their waits for the database end earlier. Another second lets the last answers leave. */
void exchanges_drain(struct exchanges *all);

#endif
