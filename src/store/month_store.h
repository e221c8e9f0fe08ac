/* SPDX-License-Identifier: ISC */
/* Months, which two people close for journals. The first three run within a transaction that holds the head
 * row of the scheme. */
#ifndef DEPOSITD_STORE_MONTH_STORE_H
#define DEPOSITD_STORE_MONTH_STORE_H

#include "store/read_store.h"

struct month_state {
    bool exists; /* the scheme has business days in it */
    bool ended;  /* its last day is closed */
    bool closed; /* for journals */
};
/* Of the month that has the day. */
MUST_CHECK enum store_result store_month_state(struct pg *pg, int32_t scheme, struct date day,
                                               struct month_state *state);

struct month_change {
    int32_t scheme;
    struct date first; /* the month's first day */
    bool closes;       /* this month and those before it; or else reopens it and those after it */
    int64_t proposal;
    struct instant now;
    int32_t key; /* of the second person */
};
MUST_CHECK enum store_result store_month_decide(struct pg *pg, const struct month_change *change);

/* The newest first. */
MUST_CHECK enum store_result read_months(struct pg *pg, int32_t scheme, struct list_slice *slice);
/* Appends the month as JSON. *found false: the scheme has no business day in it. */
MUST_CHECK enum store_result read_month(struct pg *pg, int32_t scheme, struct date first, struct buffer *json,
                                        bool *found);

#endif
