/* SPDX-License-Identifier: ISC */
/* The page of a form: the thing that it is about, the faults of the last attempt, and the fields. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_PAGE_H
#define DEPOSITD_HTTP_FORMS_FORM_PAGE_H

#include "http/request/handler.h"
#include "http/request/route.h"

struct form_page {
    const struct route *route;   /* the operation's */
    const struct shape *shape;   /* of its fields; NULL: it has none, or the kind of event is to be chosen */
    const char *kind, *event_id; /* of an event; event_id NULL: it gets one */
    const struct request *asked; /* to the operation; NULL: parts of its path are still to be stated */
    const char *back;            /* the page to go back to; NULL: the operation's own */
    const json_t *values;        /* of the fields; NULL: those of the thing, or none */
    const struct faults *faults; /* of the last attempt */
    const char *more;            /* the list that gets more rows; NULL: none */
    const struct answer *tried;  /* the answer to a dry run; NULL: none */
};

/* Writes the page. */
void form_page_write(const struct request *request, const struct form_page *about, struct answer *answer);

/* A hash of the thing that a form is about, as its page showed it. "" if there is none, or if the thing is a
 * list that may grow meanwhile. */
const char *form_seen(const struct route *route, const struct answer *thing, struct arena *arena);

/* "Approve payment" for approvePayment, in the arena. */
const char *form_label(const struct route *route, struct arena *arena);

#endif
