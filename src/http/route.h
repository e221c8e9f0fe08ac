/* SPDX-License-Identifier: ISC */
/* The table of routes: who reads it knows the interface. The router matches against it, the authorisation
 * reads its roles, and /openapi.json is made from it, so that the three can't disagree. */
#ifndef DEPOSITD_HTTP_ROUTE_H
#define DEPOSITD_HTTP_ROUTE_H

#include "depositd/access.h"
#include "http/handler.h"
#include "http/shape.h"

enum method { METHOD_GET, METHOD_POST, METHOD_PUT, METHOD_DELETE, METHOD_COUNT };

enum { ROUTE_PARAMETERS_MAX = 12 };

struct parameter {
    const char *name;
    const char *description;
    bool required;
};

struct route {
    enum method method;
    const char *path;          /* "/v1/schemes/{scheme}/days" */
    unsigned roles;            /* 0: public */
    handler run;               /* NULL: POST /v1/events, which goes to the writer */
    const char *summary;       /* one sentence for the OpenAPI document */
    const struct shape *body;  /* NULL: the request has no body */
    bool body_optional;        /* it may have none */
    const char *xml_body;      /* what the XML is that it takes instead; NULL: it takes none */
    const char *answer_schema; /* name of a component schema; NULL: 204, no content */
    int answer_statuses[3];    /* successes: 200, 201 …; 0-ended */
    unsigned media;            /* set of 1u << enum media; 0: the usual, see route_media */
    struct parameter parameters[ROUTE_PARAMETERS_MAX]; /* query parameters; NULL-ended by name */
    bool dry_run;                                      /* takes ?dry_run= */
    bool not_yet;                                      /* a GET of what may be still to come: 409 then */
    bool at_once; /* a public one that never blocks: answered on the server's own thread */
};

const struct route *routes_all(size_t *count);

/* What it can answer with, a set of 1u << enum media: JSON, and what is read with a key also as a page,
 * unless the row says otherwise. */
unsigned route_media(const struct route *route);
/* A choice of several. */
bool route_has_choice(const struct route *route);

#endif
