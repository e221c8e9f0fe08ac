/* SPDX-License-Identifier: ISC */
/* The money of all schemes at once, for the page of the office. */
#ifndef DEPOSITD_STORE_OVERVIEW_STORE_H
#define DEPOSITD_STORE_OVERVIEW_STORE_H

#include "base/arena.h"
#include "depositd/civil.h"
#include "depositd/money.h"
#include "store/pg.h"

struct overview_money {
    int32_t scheme;
    struct date today;               /* the business day that contains now */
    struct money surplus;            /* of the pool over the deposits that it holds; below 0: short */
    int64_t late_events;             /* of days that are not closed */
    struct date late_from;           /* the first of these days that has one; 0: none */
    struct money to_collect, to_pay; /* payments that wait */
    int64_t overdue;                 /* of these: should have been made before today */
    struct money arrears_to_pool, arrears_of_pool;
};

/* In the order of `schemes`. */
MUST_CHECK enum store_result read_overview(struct pg *pg, struct arena *arena, const int32_t *schemes,
                                           size_t count, struct overview_money **rows, size_t *row_count);

#endif
