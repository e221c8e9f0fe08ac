/* SPDX-License-Identifier: ISC */
/* One event as it is submitted, with its poster, its place and its result. */
#ifndef DEPOSITD_APP_POSTING_SUBMISSION_H
#define DEPOSITD_APP_POSTING_SUBMISSION_H

#include "app/posting/event_result.h"
#include "depositd/access.h"
#include "depositd/event.h"

#include <stdatomic.h>

struct submission {
    const struct identity *identity; /* the key that posts it */
    const struct event *event;
    struct event_result *result;
    const atomic_bool *comes_from; /* set once the event that it names is recorded or refused, which is
                                      another writer's; NULL: there is none such */
    struct arena *arena;           /* the job's; holds what the result refers to */
    const struct site *site;       /* of the event; NULL for kinds that name a scheme */
    const struct scheme *scheme;   /* the scheme in which it happens */
};

/* The scheme of an event at this site, or without one (NULL). NULL: there is no such scheme. */
const struct scheme *submission_scheme(const struct network *network, const struct event *event,
                                       const struct site *site);
/* Finds site and scheme, and whether the key may post this. False: the result says why not. */
MUST_CHECK bool submission_admit(const struct network *network, struct submission *submission);

/* Adds a fault to the result. */
void submission_reject(struct submission *submission, enum reason reason, const char *pointer,
                       const char *detail);

/* Copies exceptions into the result, with the codes of their cup types. False: out of memory. */
MUST_CHECK bool submission_give_exceptions(const struct network *network, struct submission *submission,
                                           const struct exception *exceptions, size_t count);

#endif
