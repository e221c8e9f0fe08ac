/* SPDX-License-Identifier: ISC */
/* Day totals are the figures of a till's own end-of-day report. They are no part of the ledger. A client may
 * give them for a closed day, and may give them again; every version is kept. */
#ifndef DEPOSITD_APP_OFFICE_DAY_TOTALS_H
#define DEPOSITD_APP_OFFICE_DAY_TOTALS_H

#include "app/network/reference.h"
#include "depositd/network.h"
#include "store/day_total_store.h"

/* As the body of the request has them. */
struct day_totals {
    int64_t issued, returned;
    struct decimal collected, refunded;
};

struct day_totals_put {
    const struct scheme *scheme;
    const struct site *site;
    struct date date;
    int32_t key;
    const struct day_totals *totals;
    const char *if_match; /* NULL: none */
    bool dry_run;
};

/* Gives the totals as they now are in `shown`. STORE_OK with faults: nothing was recorded. NOT_FOUND: no such
 * day has begun. PRECONDITION_FAILED: the totals were other than if_match says. */
MUST_CHECK enum store_result day_totals_put(struct pg *pg, const struct day_totals_put *put,
                                            struct reference_shown *shown, struct faults *faults);

#endif
