/* SPDX-License-Identifier: ISC */
/* The past of a scheme's cup types, for a purchase. Sites and their days are those of a plan of moves. */
#ifndef DEPOSITD_STORE_PURCHASE_STORE_H
#define DEPOSITD_STORE_PURCHASE_STORE_H

#include "store/plan_store.h"

struct purchase_type_row {
    int32_t cup_type;
    int64_t mass_g;
    int64_t supplied, returned;                /* ever */
    int64_t retired, damaged, unaccounted;     /* by so many more at the end of the history */
    int64_t forfeited;                         /* in it, less reinstated */
    int64_t at_sites, on_road, with_customers; /* now */
    int64_t queue_cups, queue_days;            /* that came back in the history, first in, first out */
    int64_t known_cups, known_seconds;         /* the same of known cups */
    size_t weeks;
    const int64_t *more_out; /* cups with customers, by week of the history, the latest first */
};

/* By cup type id. */
MUST_CHECK enum store_result store_purchase_types(struct pg *pg, struct arena *arena, int32_t scheme,
                                                  struct plan_days days, struct purchase_type_row **types,
                                                  size_t *count);

#endif
