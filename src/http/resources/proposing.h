/* SPDX-License-Identifier: ISC */
/* Connects the handlers whose writes may become proposals with the handler that carries out an approved
 * write. */
#ifndef DEPOSITD_HTTP_RESOURCES_PROPOSING_H
#define DEPOSITD_HTTP_RESOURCES_PROPOSING_H

#include "app/network/control.h"
#include "http/request/handler.h"
#include "store/read_store.h"

/* Describes the request's write, which is kept if it needs a second person. The answer's body gets the
 * proposal. */
struct control control_of(const struct request *request, struct answer *answer, enum proposal_what what,
                          const char *name);

/* Gives the answer for a write that control has `proposed`. */
void answer_proposed(const struct request *request, struct answer *answer);

enum { CHANGES_MAX = 16 << 20 }; /* bytes of the changes of a dry run */
/* Adds to the answer of a dry run what it would change. The buffer of the changes is empty otherwise. */
void answer_changes(const struct request *request, struct answer *answer, const struct control *control);

/* The status that ?status= asks for, or "open". NULL: there is no such status, and `fault` has been added. */
const char *proposal_status_asked(const struct request *request, struct answer *answer, const char *fault);

/* The same, and ?mine=, which points into *is_mine. False: a fault has been added. */
MUST_CHECK bool proposed_asked(const struct request *request, struct answer *answer, const char *fault,
                               bool *is_mine, struct proposed_filter *filter);

/* Each of these carries out a write that a second person has approved, under the usual checks. */
typedef void approver(const struct request *request, struct answer *answer, const struct kept_write *kept,
                      json_t *body, struct control *control);
approver approve_document, approve_put, approve_key, approve_bank_line, approve_exception, approve_month;

#endif
