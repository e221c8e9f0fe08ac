/* SPDX-License-Identifier: ISC */
/* What a till says of a business day by its own end-of-day report. It is no part of the ledger: it may be
 * said of a closed day, too, and said anew. Every time it is said is kept. */
#ifndef DEPOSITD_APP_OFFICE_DAY_TOTALS_H
#define DEPOSITD_APP_OFFICE_DAY_TOTALS_H

#include "app/network/reference.h"
#include "depositd/network.h"
#include "store/day_total_store.h"

/* As in a body. */
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

/* Afterwards `shown` has the totals as they now are. STORE_OK with faults: nothing was recorded. NOT_FOUND is
 * among them where no such day has begun, PRECONDITION_FAILED when they were not as if_match says. */
MUST_CHECK enum store_result day_totals_put(struct pg *pg, const struct day_totals_put *put,
                                            struct reference_shown *shown, struct faults *faults);

#endif
