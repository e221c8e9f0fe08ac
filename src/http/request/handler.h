/* SPDX-License-Identifier: ISC */
/* The request that a handler is given, and the answer that it gives back.
 *
 * A handler runs on a read worker's thread, with a connection of its own and a snapshot no older than the
 * request. It may block on the database. Everything it allocates comes from the request's arena and dies with
 * the reply. It fills the answer or adds faults. If there are faults, they become a problem document, which
 * is sent instead of the answer. */
#ifndef DEPOSITD_HTTP_REQUEST_HANDLER_H
#define DEPOSITD_HTTP_REQUEST_HANDLER_H

#include "app/network/snapshot.h"
#include "app/service/service.h"
#include "app/transaction/fault.h"
#include "base/buffer.h"
#include "http/request/coding.h"
#include "http/request/form_body.h"
#include "http/request/media.h"

#include <jansson.h>

enum { PATH_PARAMETERS_MAX = 3, QUERY_PARAMETERS_MAX = 16 };

struct query_parameter {
    const char *name;
    const char *value; /* percent-decoded UTF-8, without NUL */
};

struct csv_body;
struct route;
struct rates;
struct meters;

struct request {
    struct arena *arena;
    const struct route *route;
    const char *path;                       /* as sent, without the query */
    const char *parts[PATH_PARAMETERS_MAX]; /* the decoded text for each {…} of the route's path, in order */
    struct query_parameter query[QUERY_PARAMETERS_MAX];
    size_t query_count;
    const struct words *words; /* of the language of pages; NULL: English */
    const char *accept;        /* header values; NULL: the header is missing */
    const char *if_match;
    const char *if_none_match;
    const char *content_type;
    const char *content_encoding;
    struct codings codings; /* that the client accepts for the answer */
    bool cross_site;        /* a page of another site may have made a browser send the request with the key */
    bool stream;            /* the body and the answer are NDJSON */
    bool lines;             /* the body is NDJSON, and stands in a file: */
    int lines_file;         /* for pread; -1: it was not kept */
    const char *body;
    size_t body_length;
    json_t *json;                    /* the body, if the route takes one; belongs to the request */
    struct csv_body *csv;            /* the CSV that `json` was made of; NULL: none */
    bool dry_run;                    /* ?dry_run=true */
    struct form_body form;           /* the body, if it is a form's */
    const struct identity *identity; /* NULL only on public routes */
    int64_t session;                 /* the browser's session that the caller signed in with; 0: none */
    uint64_t client;                 /* a number of the client's address, if the route is guessable */
    const struct snapshot *snapshot;
    struct pg *pg; /* NULL on routes that are answered at once */
    struct service *service;
    struct rates *rates;
    struct rates *guesses; /* of secrets, by client and name */
    struct meters *meters;
    const struct buffer
        *openapi; /* the OpenAPI document, made at the start, coded if the client likes gzip */
};

struct feed_place; /* store/feed_store.h */

/* An empty slice of the feed, which may be answered later, when something has come. */
struct answer_wait {
    const struct feed_place *places; /* in the order of the schemes' ids */
    size_t count;
    int seconds;
};

struct answer {
    struct arena *arena;              /* the request's */
    int status;                       /* 200 unless the handler says otherwise */
    enum media media;                 /* as negotiated: one of the route's media */
    struct buffer body;               /* initialised by the server with the answer's maximum */
    bool (*pass_on)(struct answer *); /* for answer_goes_on; NULL: the answer is sent when it is whole */
    bool is_page;  /* the body is HTML; otherwise, if a page is wanted, the body is JSON and the page is made
                      from it */
    bool is_coded; /* the body is coded as gzip */
    const char *etag;   /* quoted; NULL: none */
    const char *cookie; /* for Set-Cookie; NULL: none */
    const char *location;
    const char *file_name; /* for a browser that keeps the answer as a file; NULL: the browser names it */
    const char *link_next, *link_previous; /* targets of Link, as rel="next" and rel="prev" */
    int64_t deadline_ms;                   /* how long the database may take for the whole answer */
    const char
        *deadline_setting; /* the setting that deadline_ms comes from; NULL: the answer has no deadline */
    const struct answer_wait *wait; /* NULL: the answer is to be sent now */
    struct faults faults;
};

/* The value of a query parameter, or NULL. Admission has checked that the route knows all parameters. */
const char *request_query(const struct request *request, const char *name);

/* The request's own target with another value for a parameter of its query. The value must need no encoding.
 * The text is in the arena. NULL: too long, or out of memory. */
const char *request_target(const struct request *request, const char *name, const char *value);

/* The body as JSON, borrowed from the request (freed with it). Never NULL on a route that has a body shape,
 * because a body that is not JSON has already been refused. */
json_t *request_json(const struct request *request, struct answer *answer);

/* Adds to the answer's object a member that says that nothing was recorded. */
void answer_mark_dry_run(struct answer *answer);

/* Adds the secret to a key's object. A dry run has no secret to show. */
void answer_new_key(struct answer *answer, const char *secret, bool dry_run);

/* For an answer that may be long. Call this after adding each piece to the body, and now and then while there
 * is no new piece. If the body holds much, it is sent and emptied while the rest is being made. False: make
 * no more. If there is a fault, it becomes the answer, unless a part of the answer has been sent. */
MUST_CHECK bool answer_goes_on(struct answer *answer);

/* The name of the cookie of a browser's session. */
const char *session_cookie(const struct config *config);

/* The number from 1 that a part of the path states; 0: it states none. */
int64_t path_number(const char *part);

/* Leads a browser to a page that it can load again without doing anything (RFC 9110 section 15.4.4). */
void answer_lead_to(struct answer *answer, const char *target);

/* Common refusals. */
void answer_store_failure(struct answer *answer, enum store_result result);
void answer_not_found(struct answer *answer);
/* The reason for an accepted request whose answer cannot be given: a write may have been recorded. */
enum reason reason_of_lost_answer(const struct request *request);

/* Whether the key may know the scheme. A key that is bound to sites knows only the schemes of its sites. */
bool request_knows_scheme(const struct request *request, const struct scheme *scheme);
/* The same for all schemes, indexed by scheme id. The array is in the arena. NULL: out of memory. */
const bool *request_known_schemes(const struct request *request);
/* Looks up the scheme that the query or the path names by `code` (NULL: ?scheme= was not given). NULL: there
 * is no such scheme, or the key may not know of it, and a fault has been added. */
const struct scheme *request_scheme(const struct request *request, struct answer *answer, const char *code);
/* Reads ?name=YYYY-MM-DD. False: a fault has been added. If the parameter is absent, *date stays as it is. */
MUST_CHECK bool request_date(const struct request *request, struct answer *answer, const char *name,
                             struct date *date);
/* Reads ?name=true or false into *value. *asked: `value`, or NULL if the parameter is absent. False: a fault
 * has been added. */
MUST_CHECK bool request_flag(const struct request *request, struct answer *answer, const char *name,
                             bool *value, const bool **asked);
/* Reads ?why=, the reason that is recorded with a change; NULL: not given. False: a fault has been added. */
MUST_CHECK bool request_why(const struct request *request, struct answer *answer, const char **why);

#endif
