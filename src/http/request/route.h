/* SPDX-License-Identifier: ISC */
/* The table of routes, which lists the whole interface. The router matches against it, the authorisation
 * reads its roles, and /openapi.json is made from it, so these three cannot disagree. */
#ifndef DEPOSITD_HTTP_REQUEST_ROUTE_H
#define DEPOSITD_HTTP_REQUEST_ROUTE_H

#include "depositd/access.h"
#include "http/request/csv_body.h"
#include "http/request/media.h"
#include "http/request/shape.h"

enum method { METHOD_GET, METHOD_POST, METHOD_PUT, METHOD_DELETE, METHOD_COUNT };

enum { ROUTE_PARAMETERS_MAX = 24 };

/* The groups of operations in the document. X(NAME, word, description) */
#define TAG_TABLE(X)                                                                                         \
    X(SERVICE, "service", "The running service: whether it is up, what it measures, what it offers")         \
    X(EVENTS, "events", "What happened at the counter, and the entries that it became")                      \
    X(PROOFS, "proofs", "Seals of closed days, and proofs that an entry is under one")                       \
    X(SHIPMENTS, "shipments", "Shipments of cups that people ask for, and what came of them")                \
    X(KEYS, "keys", "Keys, and what the caller's own may see")                                               \
    X(PROPOSALS, "proposals",                                                                                \
      "Writes that take two people: what waits for the second, and what they decide")                        \
    X(REFERENCE, "reference", "Schemes, terms, refund values, participants, sites and cup types")            \
    X(SETTLEMENTS, "settlements", "Business days, their close, and what it found")                           \
    X(PAYMENTS, "payments", "The payments of a close, and what people decide about them")                    \
    X(JOURNALS, "journals", "Entries by hand, which one person proposes and another approves")               \
    X(OPENINGS, "openings", "The opening of a scheme, which one person proposes and another approves")       \
    X(BANK, "bank", "Files for the bank, and statements from it")                                            \
    X(CUPS, "cups", "Cups with identity: where they are, and where they were")                              \
    X(REPORTS, "reports", "Reports, the tills' own totals, and exceptions for a person to look at")          \
    X(BOOKS, "books", "Accounts, the posting rules, and the checks that prove the books")

enum tag {
    TAG_NONE, /* for an incomplete row, which a test finds */
#define X(NAME, word, description) TAG_##NAME,
    TAG_TABLE(X)
#undef X
};

struct parameter {
    const char *name;
    const char *description;
    bool required;
    const char *schema; /* name of its component schema; NULL: follows from the parameter's name */
};

struct request;
struct answer;
typedef void (*handler)(const struct request *request, struct answer *answer);

struct route {
    enum method method;
    const char *path;                /* "/v1/schemes/{scheme}/days" */
    unsigned roles;                  /* 0: public */
    handler run;                     /* NULL: POST /v1/events, which goes to the writer */
    const char *summary;             /* one sentence for the OpenAPI document */
    const struct shape *body;        /* NULL: the request has no body */
    bool body_optional;              /* the request may come without a body */
    bool body_large;                 /* the body may have max_reference_bytes, if the key may use the route */
    bool takes_lines;                /* the body may come as lines (NDJSON), each of which is such a body */
    const struct csv_form *csv_body; /* the CSV that the route takes instead; NULL: it takes none */
    /* Makes the event to post of the CSV; NULL: the route posts none. NULL as its result: faults were added.
     */
    json_t *(*event_of_lines)(const struct request *request, struct answer *answer);
    const char *xml_body;      /* a name for the XML that the route takes instead; NULL: it takes none */
    const char *line_schema;   /* of a line of the answer as NDJSON; NULL: it has no such answer */
    const char *answer_schema; /* name of a component schema; NULL: 204, no content */
    int answer_statuses[3];    /* successes: 200, 201 …; 0-ended */
    unsigned media;            /* set of 1u << enum media; 0: the usual set, see route_media */
    struct parameter parameters[ROUTE_PARAMETERS_MAX]; /* query parameters; a name that is NULL ends them */
    bool dry_run;                                      /* takes ?dry_run= */
    bool may_propose;           /* answers 202 with a proposal if the write takes two people */
    bool not_yet;               /* a GET of something that may not exist yet: 409 then */
    bool tagged;                /* a GET whose answer has an ETag */
    bool located;               /* a 201 has a Location */
    bool is_long;               /* its work takes long, so long_deadline_s bounds it */
    bool for_browsers;          /* takes a form and gives a page or leads to one; not in the document */
    bool guessable;             /* its form holds a secret: a client may try only so often */
    bool takes_files;           /* its form may come as multipart/form-data */
    bool kept;                  /* public and the same for all, so caches may keep its answer for a while */
    bool at_once;               /* public, never blocks, and is answered on the server's own thread */
    const char *id;             /* operationId in the document, the method's name in a generated client */
    const char *about;          /* facts for clients beyond the summary; NULL: none */
    enum tag tag;               /* its group in the document */
    const enum reason *reasons; /* possible reasons besides those of route_reasons.c; 0-ended; NULL: none */
};

/* Sets the table of routes. Once, before there are threads. The table is in http/contract/routes.c, because
 * its rows name all handlers, and nothing in this wing may call upward. */
void routes_set(const struct route *routes, size_t count);
/* All rows of the table, which must have been set. */
const struct route *routes_all(size_t *count);
/* The rows that the document lists: all but those for browsers. */
const struct route *routes_documented(size_t *count);

/* The media that the route can answer with, a set of 1u << enum media. Unless the row says otherwise, the set
 * is JSON, plus a page if the route is read with a key. */
unsigned route_media(const struct route *route);
/* Whether the route can answer with several media. */
bool route_has_choice(const struct route *route);
/* Whether the status is a success of the route. */
bool route_has_status(const struct route *route, int status);
/* Whether the route's query may have the parameter. */
bool route_takes(const struct route *route, const char *name);
/* Whether the route lists things in slices, so that an answer may have a Link to the next slice. */
bool route_has_slices(const struct route *route);

#endif
