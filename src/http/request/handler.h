/* SPDX-License-Identifier: ISC */
/* What a handler is given and what it gives back.
 *
 * A handler runs on a read worker's thread, with a connection of its own and a snapshot no older than the
 * request; it may block on the database. Everything it allocates comes from the request's arena and dies with
 * the reply. It fills the answer, or the faults: faults win, and become a problem document. */
#ifndef DEPOSITD_HTTP_REQUEST_HANDLER_H
#define DEPOSITD_HTTP_REQUEST_HANDLER_H

#include "app/network/snapshot.h"
#include "app/service/service.h"
#include "app/transaction/fault.h"
#include "base/buffer.h"
#include "http/request/media.h"

#include <jansson.h>

enum { PATH_PARAMETERS_MAX = 3, QUERY_PARAMETERS_MAX = 16 };

struct query_parameter {
    const char *name;
    const char *value; /* percent-decoded UTF-8, without NUL */
};

struct route;
struct rates;
struct meters;

struct request {
    struct arena *arena;
    const struct route *route;
    const char *path;                       /* as sent, without the query */
    const char *parts[PATH_PARAMETERS_MAX]; /* what {…} of the route's path stands for, decoded, in order */
    struct query_parameter query[QUERY_PARAMETERS_MAX];
    size_t query_count;
    const char *accept; /* header values; NULL: none */
    const char *if_match;
    const char *if_none_match;
    const char *content_type;
    const char *content_encoding;
    bool cross_site; /* a page of another site may have made a browser send it, with the key */
    bool stream;     /* the body is NDJSON, and so is the answer */
    const char *body;
    size_t body_length;
    json_t *json;                    /* the body, where the route takes one; the request's */
    bool dry_run;                    /* ?dry_run=true */
    const struct identity *identity; /* NULL only on public routes */
    const struct snapshot *snapshot;
    struct pg *pg; /* NULL on routes that are answered at once */
    struct service *service;
    struct rates *rates;
    struct meters *meters;
    const struct buffer *openapi; /* the OpenAPI document, made at the start */
};

struct answer {
    struct arena *arena;              /* the request's */
    int status;                       /* 200 unless the handler says otherwise */
    enum media media;                 /* as negotiated: one of the route's */
    struct buffer body;               /* initialised by the server with the answer's maximum */
    bool (*pass_on)(struct answer *); /* for answer_goes_on; NULL: it is sent when it is whole */
    bool is_page;     /* the body is HTML; else, where that is wanted, it is JSON to be made a page of */
    const char *etag; /* quoted; NULL: none */
    const char *location;
    const char *link_next;        /* target of Link: …; rel="next" */
    int64_t deadline_ms;          /* what the database may take for all of it */
    const char *deadline_setting; /* the setting that says so; NULL: it has no deadline */
    struct faults faults;
};

/* The value of a query parameter, or NULL. That all are known to the route has been checked already. */
const char *request_query(const struct request *request, const char *name);

/* The request's own target with one parameter of its query set to another value, which needs no encoding; of
 * the arena. NULL: too long, or out of memory. */
const char *request_target(const struct request *request, const char *name, const char *value);

/* The body as JSON, borrowed from the request (freed with it). Never NULL on a route that has a body shape:
 * what is not JSON has been refused already. */
json_t *request_json(const struct request *request, struct answer *answer);

/* Adds to the object that is the answer that nothing was recorded. */
void answer_mark_dry_run(struct answer *answer);

/* Adds the secret to the object that is a key; a dry run has none to show. */
void answer_new_key(struct answer *answer, const char *secret, bool dry_run);

/* For an answer that may be long, after each piece of it that was added to the body, and now and then while
 * there is none: if the body holds much, it is emptied and sent, while the rest is being made. False: make no
 * more: if a fault says why, that is the answer, unless a part of it has been sent. */
MUST_CHECK bool answer_goes_on(struct answer *answer);

/* Common refusals. */
void answer_store_failure(struct answer *answer, enum store_result result);
void answer_not_found(struct answer *answer);
/* Of a request that was not refused, and whose answer can't be given: a write may have been recorded. */
enum reason reason_of_lost_answer(const struct request *request);

/* A key that is bound to sites knows of the schemes they are in, and of no others. */
bool request_knows_scheme(const struct request *request, const struct scheme *scheme);
/* The same of all schemes at once: by the scheme's id, of the arena. NULL: out of memory. */
const bool *request_known_schemes(const struct request *request);
/* Looks up the scheme that the query or the path names by `code` (NULL: ?scheme= was not given); NULL: it is
 * not there or none that the key may know of, and a fault has been added. */
const struct scheme *request_scheme(const struct request *request, struct answer *answer, const char *code);
/* Reads ?name=YYYY-MM-DD. False: a fault has been added. Absent: *date is left as it is. */
MUST_CHECK bool request_date(const struct request *request, struct answer *answer, const char *name,
                             struct date *date);
/* Reads ?why=: what is recorded with a change as its reason; NULL: not given. False: a fault has been added.
 */
MUST_CHECK bool request_why(const struct request *request, struct answer *answer, const char **why);

#endif
