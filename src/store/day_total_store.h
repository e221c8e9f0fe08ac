/* SPDX-License-Identifier: ISC */
/* The totals that tills state for their days. Every statement is kept. */
#ifndef DEPOSITD_STORE_DAY_TOTAL_STORE_H
#define DEPOSITD_STORE_DAY_TOTAL_STORE_H

#include "base/buffer.h"
#include "depositd/money.h"
#include "store/pg.h"

struct day_total_row {
    int32_t scheme, site;
    struct date date;
    int32_t key;
    struct instant now;
    int64_t issued, returned; /* cups */
    struct money collected, refunded;
};

/* Locks the site's totals to the end of the transaction. `begun`: the business day exists and has begun. */
MUST_CHECK enum store_result store_day_total_lock(struct pg *pg, int32_t scheme, int32_t site,
                                                  struct date date, bool *begun);
/* Does nothing if the last statement said the same. */
MUST_CHECK enum store_result store_day_total_add(struct pg *pg, const struct day_total_row *row);
/* Appends the totals as JSON. *found false: there are none. */
MUST_CHECK enum store_result store_day_total_get(struct pg *pg, int32_t scheme, int32_t site,
                                                 struct date date, struct buffer *json, bool *found);

#endif
