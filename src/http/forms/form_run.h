/* SPDX-License-Identifier: ISC */
/* An operation that a form does: its route, the request that the form stands for, and its answer. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_RUN_H
#define DEPOSITD_HTTP_FORMS_FORM_RUN_H

#include "http/request/handler.h"
#include "http/request/route.h"

/* The operation with this operationId, if a form can do it and the key may. NULL: no, and a fault has been
 * added. */
const struct route *form_operation(const struct request *request, struct answer *answer);

/* Whether the operation takes a file: XML or CSV. */
bool form_is_file(const struct route *route);

/* Makes the request to the operation, at a path such as "/v1/payments/x/approve". False: it is no path of the
 * operation, or out of memory, and a fault has been added. */
MUST_CHECK bool form_address(const struct request *request, struct answer *answer, const struct route *route,
                             const char *path, struct request *asked);

/* Whether all parts of the path are known. A part in braces is still to be stated. NULL: none is. */
bool form_is_complete(const struct request *asked);

/* The path of the operation with the form's fields ":name" for its parts; NULL: one is empty, or out of
 * memory. */
const char *form_path(const struct request *request, const struct route *route);

/* Takes the fields "?name" as the parameters of the operation's query. */
void form_query(const struct request *request, struct request *asked);

/* Runs the handler of a request that was made here. `found`: faults that its body has already; NULL: none.
 * form_answer_free ends the answer. */
void form_run(const struct request *asked, const struct faults *found, struct answer *inner);
void form_answer_free(struct answer *inner);

/* Facts of the form that say what it is about. */
struct form_subject {
    const json_t *values; /* of the fields; NULL: none */
    const char *back;     /* the page that the person came from; NULL: none */
};

/* Reads the thing that the operation is about, with its route and path in *read. For PUT it is the thing at
 * the path; for others the thing at the longest beginning of the path that can be read; for an event the
 * earlier event that the fields' values name; for a choice from rows it may be the page that the person came
 * from. False: there is none, or the key may not read it. */
MUST_CHECK bool form_read_thing(const struct request *asked, const struct form_subject *subject,
                                struct request *read, struct answer *inner);

/* The thing at the path, with the query that it needs ("": none), as the same person reads it. NULL: the key
 * may not, there is none, or out of memory. *faults then has the faults of the thing's handler, in the arena
 * of the request. `faults` NULL: they are not wanted. */
json_t *form_read_json(const struct request *asked, const char *path, const char *query,
                       struct faults *faults);

/* The page to go to after the operation has been done. */
const char *form_next(const struct request *asked, const struct answer *inner, const char *back);

#endif
