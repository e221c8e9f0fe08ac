/* SPDX-License-Identifier: ISC */
/* The result of an event. The writer fills it; the client's answer is made of it. */
#ifndef DEPOSITD_APP_POSTING_EVENT_RESULT_H
#define DEPOSITD_APP_POSTING_EVENT_RESULT_H

#include "app/transaction/fault.h"
#include "depositd/exceptions.h"

/* X(name, its word in answers and metrics). A proposed event waits for a second person. */
#define EVENT_STATUS_TABLE(X)                                                                                \
    X(RECORDED, recorded)                                                                                    \
    X(DUPLICATE, duplicate)                                                                                  \
    X(PROPOSED, proposed)                                                                                    \
    X(REJECTED, rejected)

enum event_status {
#define X(name, word) EVENT_##name,
    EVENT_STATUS_TABLE(X)
#undef X
        EVENT_STATUSES
};

const char *event_status_word(enum event_status status);

struct event_result {
    enum event_status status;
    int64_t entry;
    struct date business_date;
    bool late;
    const struct exception *exceptions;     /* from the job's arena */
    const char *const *exception_cup_types; /* codes, parallel; NULL element: none */
    unsigned decimals;                      /* of the scheme's currency, for the exceptions' amounts */
    bool parked;                            /* the writer's own: the event waits for what others hold */
    size_t exception_count;
    const char *balance_sheet; /* of a proposed opening or its reversal: JSON; from the job's arena */
    struct faults faults;      /* why it was rejected */
};

#endif
