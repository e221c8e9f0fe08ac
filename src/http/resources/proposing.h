/* SPDX-License-Identifier: ISC */
/* Between the handlers whose writes may become proposals and the one that has such a write done when it is
 * approved. */
#ifndef DEPOSITD_HTTP_RESOURCES_PROPOSING_H
#define DEPOSITD_HTTP_RESOURCES_PROPOSING_H

#include "app/network/control.h"
#include "http/request/handler.h"

/* The request's write, to be kept if it needs a second person; the answer's body gets the proposal. */
struct control control_of(const struct request *request, struct answer *answer, enum proposal_what what,
                          const char *name);

/* The answer where control has `proposed` the write. */
void answer_proposed(const struct request *request, struct answer *answer);

/* Each does what was proposed, which a second person has approved, under the usual checks. */
typedef void approver(const struct request *request, struct answer *answer, const struct kept_write *kept,
                      json_t *body, struct control *control);
approver approve_document, approve_put, approve_key, approve_bank_line;

#endif
