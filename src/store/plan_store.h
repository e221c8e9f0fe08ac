/* SPDX-License-Identifier: ISC */
/* The statements of a plan of moves. Results are put into the given arena. */
#ifndef DEPOSITD_STORE_PLAN_STORE_H
#define DEPOSITD_STORE_PLAN_STORE_H

#include "base/arena.h"
#include "depositd/civil.h"
#include "depositd/distance.h"
#include "store/pg.h"

struct plan_site_row {
    int32_t site;
    bool placed;
    struct position at;
    bool ended; /* before the day that is planned for */
};

/* By site id: the sites that have begun by the day. */
MUST_CHECK enum store_result store_plan_sites(struct pg *pg, struct arena *arena, int32_t scheme,
                                              struct date date, struct plan_site_row **sites, size_t *count);

/* A cup type at a site. The days of its history are numbered from 0; days without a row had no cups. */
struct plan_cell_row {
    int32_t site, cup_type;
    int64_t stock; /* sound cups, by the book */
    bool states_par;
    int64_t par;
    int64_t awaited;  /* cups on the road to it, or asked for */
    int64_t promised; /* cups asked for from it, and not sent yet */
    size_t days;
    const int64_t *day, *issued, *returned;
};

/* The business days of the history through yesterday, and the day by which a request must be wanted to count
 * at its receiver. NULL: shipments do not count at all. */
struct plan_days {
    struct date from, to;
    const struct date *wanted_by;
};

/* By site id, then cup type id. */
MUST_CHECK enum store_result store_plan_cells(struct pg *pg, struct arena *arena, int32_t scheme,
                                              struct plan_days days, struct plan_cell_row **cells,
                                              size_t *count);

#endif
