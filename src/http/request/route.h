/* SPDX-License-Identifier: ISC */
/* The table of routes: who reads it knows the interface. The router matches against it, the authorisation
 * reads its roles, and /openapi.json is made from it, so that the three can't disagree. */
#ifndef DEPOSITD_HTTP_REQUEST_ROUTE_H
#define DEPOSITD_HTTP_REQUEST_ROUTE_H

#include "depositd/access.h"
#include "http/request/media.h"
#include "http/request/shape.h"

enum method { METHOD_GET, METHOD_POST, METHOD_PUT, METHOD_DELETE, METHOD_COUNT };

enum { ROUTE_PARAMETERS_MAX = 12 };

/* What operations are grouped by in the document. X(NAME, word, description) */
#define TAG_TABLE(X)                                                                                         \
    X(SERVICE, "service", "The running service: whether it is up, what it measures, what it offers")         \
    X(EVENTS, "events", "What happened at the counter, and the entries that it became")                      \
    X(PROOFS, "proofs", "Seals of closed days, and proofs that an entry is under one")                       \
    X(KEYS, "keys", "Keys, and what the caller's own may see")                                               \
    X(PROPOSALS, "proposals",                                                                                \
      "Writes that take two people: what waits for the second, and what they decide")                        \
    X(REFERENCE, "reference", "Schemes, terms, refund values, participants, sites and cup types")            \
    X(SETTLEMENTS, "settlements", "Business days, their close, and what it found")                           \
    X(PAYMENTS, "payments", "The payments of a close, and what people decide about them")                    \
    X(JOURNALS, "journals", "Entries by hand, which one person proposes and another approves")               \
    X(BANK, "bank", "Files for the bank, and statements from it")                                            \
    X(REPORTS, "reports", "Reports, the tills' own totals, and exceptions for a person to look at")          \
    X(BOOKS, "books", "Accounts, the posting rules, and the checks that prove the books")

enum tag {
    TAG_NONE, /* of a row that is not complete: a test names it */
#define X(NAME, word, description) TAG_##NAME,
    TAG_TABLE(X)
#undef X
};

struct parameter {
    const char *name;
    const char *description;
    bool required;
    const char *schema; /* name of its component schema; NULL: what its name says */
};

struct request;
struct answer;
typedef void (*handler)(const struct request *request, struct answer *answer);

struct route {
    enum method method;
    const char *path;          /* "/v1/schemes/{scheme}/days" */
    unsigned roles;            /* 0: public */
    handler run;               /* NULL: POST /v1/events, which goes to the writer */
    const char *summary;       /* one sentence for the OpenAPI document */
    const struct shape *body;  /* NULL: the request has no body */
    bool body_optional;        /* it may have none */
    bool body_large;           /* it may have max_reference_bytes, from a key that may use the route */
    const char *xml_body;      /* what the XML is that it takes instead; NULL: it takes none */
    const char *answer_schema; /* name of a component schema; NULL: 204, no content */
    int answer_statuses[3];    /* successes: 200, 201 …; 0-ended */
    unsigned media;            /* set of 1u << enum media; 0: the usual, see route_media */
    struct parameter parameters[ROUTE_PARAMETERS_MAX]; /* query parameters; NULL-ended by name */
    bool dry_run;                                      /* takes ?dry_run= */
    bool may_propose;                                  /* 202 with a proposal, where it takes two people */
    bool not_yet;                                      /* a GET of what may be still to come: 409 then */
    bool tagged;                                       /* a GET whose answer has an ETag */
    bool located;                                      /* a 201 has a Location */
    bool is_long;                                      /* its work takes long: long_deadline_s bounds it */
    bool at_once;               /* a public one that never blocks: answered on the server's own thread */
    const char *id;             /* operationId in the document: the name of a generated client's method */
    const char *about;          /* what a client should know besides the summary; NULL: nothing */
    enum tag tag;               /* its group in the document */
    const enum reason *reasons; /* it may give besides those of route_reasons.c; 0-ended; NULL: none */
};

/* All rows. They stand in http/contract/routes.c, since they name all handlers. */
const struct route *routes_all(size_t *count);

/* What it can answer with, a set of 1u << enum media. Unless the row says otherwise that is JSON, and for
 * whatever is read with a key also a page. */
unsigned route_media(const struct route *route);
/* Whether it can answer with more than one. */
bool route_has_choice(const struct route *route);
/* Whether the status is one of its successes. */
bool route_has_status(const struct route *route, int status);
/* Whether it lists something in slices, so that an answer may have a Link to the next one. */
bool route_has_slices(const struct route *route);

#endif
