/* SPDX-License-Identifier: ISC */
/* A plan of moves: which cups to bring where before a business day. It reads stock and history, foresees the
 * demand of each site and cup type, finds the par stock for a service level, and plans the hauls. It records
 * nothing. */
#ifndef DEPOSITD_APP_CUPS_CUP_PLAN_H
#define DEPOSITD_APP_CUPS_CUP_PLAN_H

#include "app/transaction/fault.h"
#include "depositd/forecast.h"
#include "depositd/moves.h"
#include "depositd/network.h"
#include "store/pg.h"

enum {
    PLAN_HISTORY_DAYS = 84,
    /* So far from today may the day lie; the days up to it are foreseen together. */
    PLAN_AHEAD_MAX = FORECAST_DAYS_MAX + 1,
    PLAN_PRICES_MAX = 100000
};

struct cup_plan_question {
    const struct network *network;
    const struct scheme *scheme;
    struct date today; /* the business day that contains now */
    struct date date;  /* the first that is planned for: today to PLAN_AHEAD_MAX later */
    unsigned days;     /* 1 to FORECAST_DAYS_MAX */
    struct rate service_level;
    const int64_t *box; /* cups per box, by cup type id */
    struct moves_terms terms;
    const struct moves_price *prices; /* by site ids, in any order; each pair once */
    size_t price_count;
};

/* Where a par stock comes from. */
#define PLAN_BASIS_TABLE(X)                                                                                  \
    X(FORECAST, "forecast")                                                                                  \
    X(STATED, "stated") /* the site's own par_stock, which is more than the forecast's, or stands alone */   \
    X(NO_DEMAND, "no_demand") /* nothing was issued there */                                                 \
    X(UNKNOWN, "unknown")     /* the history is too short, and none is stated: it gets what it owes only */

enum plan_basis {
#define X(name, word) PLAN_##name,
    PLAN_BASIS_TABLE(X)
#undef X
        PLAN_BASES
};
const char *plan_basis_word(enum plan_basis basis);

/* A cup type at a site. */
struct cup_plan_cell {
    const struct site *site;
    const struct cup_type *cup_type;
    int64_t stock;             /* sound cups now, by the book */
    int64_t awaited, promised; /* cups on their way or asked for: to it, and from it */
    int64_t expected_stock;    /* at the start of the day that is planned for, never below 0 */
    int64_t owed;              /* of the promised: that it will not have by then */
    int64_t par;
    enum plan_basis basis;
    bool foreseen; /* the next ones are known */
    enum forecast_method method;
    enum par_basis par_basis;
    double expected, error, error_last_week; /* cups: demand; mean absolute errors */
    struct moves_balance boxes;
};

struct cup_plan_type {
    const struct cup_type *cup_type;
    int64_t box;
    struct moves_balance boxes;
    double expected, error, error_last_week; /* of all sites that are foreseen */
    int64_t sites[FORECAST_METHODS];         /* that are foreseen by each method */
};

struct cup_plan_place {
    const struct site *site;
    bool placed;
    struct position at;
};

struct cup_plan {
    struct arena arena;
    struct date from, to; /* the history */
    struct date leave;    /* the day by which cups leave that shall be there at the start of the first day */
    struct cup_plan_place *places;
    size_t place_count;
    struct cup_plan_cell *cells; /* by site code, then cup type code */
    size_t cell_count;
    struct cup_plan_type *types; /* by code */
    size_t type_count;
    struct moves moves; /* sites are places, types are types */
};

/* The cups of each day, from the first on which any were issued. Returns the number of days. A day on which
 * reversals took back more than was issued counts as none. */
struct plan_cell_row; /* store/plan_store.h */
size_t cup_plan_series(const struct plan_cell_row *row, const int64_t *cups,
                       double series[PLAN_HISTORY_DAYS]);

/* Fills `plan`, for cup_plan_dispose, whatever the result. Faults: the plan is too large. */
MUST_CHECK enum store_result cup_plan_make(struct pg *pg, const struct cup_plan_question *question,
                                           struct cup_plan *plan, struct faults *faults);
void cup_plan_dispose(struct cup_plan *plan);

#endif
