/* SPDX-License-Identifier: ISC */
/* How many cups of each type to buy, from the scheme's own past and what the operator states. It reads the
 * history that a plan of moves reads, and records nothing. */
#ifndef DEPOSITD_APP_CUPS_PURCHASES_H
#define DEPOSITD_APP_CUPS_PURCHASES_H

#include "app/cups/cup_plan.h"
#include "depositd/purchase.h"

struct purchase_question {
    const struct network *network;
    const struct scheme *scheme;
    const struct cup_type *only; /* NULL: all */
    struct date today;           /* the business day that contains now */
    struct purchase_terms terms;
    bool states_loss_rate;
    struct rate loss_rate;
};

/* Whether there is a quantity, and why not. */
#define PURCHASE_ESTIMATE_TABLE(X)                                                                           \
    X(MADE, "made")                                                                                          \
    X(TOO_SHORT, "too_short")   /* fewer than PURCHASE_DAYS_MIN days since the first issue */                \
    X(NO_DEMAND, "no_demand")   /* nothing was issued in the history */                                      \
    X(NO_RETURNS, "no_returns") /* nothing came back in it, so no time out is known */

enum purchase_estimate {
#define X(name, word) PURCHASE_##name,
    PURCHASE_ESTIMATE_TABLE(X)
#undef X
        PURCHASE_ESTIMATES
};
const char *purchase_estimate_word(enum purchase_estimate estimate);

/* How a time out was found. */
#define TIME_OUT_TABLE(X)                                                                                    \
    X(UNKNOWN, "unknown")                                                                                    \
    X(KNOWN_CUPS, "known_cups") /* exact, of cups with identity */                                           \
    X(IN_ORDER, "first_in_first_out")

enum time_out_by {
#define X(name, word) TIME_OUT_##name,
    TIME_OUT_TABLE(X)
#undef X
        TIME_OUTS
};
const char *time_out_by_word(enum time_out_by by);

struct purchase_type {
    const struct cup_type *cup_type;
    enum purchase_estimate estimate;
    int64_t mass_g;
    int64_t supplied, trips;    /* ever: cups supplied, and cups that came back */
    int64_t issued;             /* in the history */
    struct daily_demand demand; /* of all sites; no days: none */
    enum time_out_by time_out_by;
    double time_out;        /* days, if its basis is known */
    int64_t time_out_trips; /* that it is the mean of */
    struct purchase_losses losses;
    int64_t lost;
    double loss_rate; /* stated or measured */
    int64_t at_sites, on_road, with_customers;
    int64_t par;
    int64_t sites_unknown;    /* whose history is too short for a par stock, and that state none */
    struct purchase purchase; /* if the estimate is made */
};

/* A cup type at a site. */
struct purchase_site {
    const struct site *site;
    const struct cup_type *cup_type;
    struct daily_demand demand;
    enum plan_basis basis; /* of par: its forecast is the base-stock level */
    int64_t par;
};

struct purchases {
    struct arena arena;
    struct date from, to;        /* the history */
    struct purchase_type *types; /* by code */
    size_t type_count;
    struct purchase_site *sites; /* by site code, then cup type code; only where cups are handed out */
    size_t site_count;
};

/* Fills `purchases`, for purchases_dispose, whatever the result. */
MUST_CHECK enum store_result purchases_make(struct pg *pg, const struct purchase_question *question,
                                            struct purchases *purchases);
void purchases_dispose(struct purchases *purchases);

#endif
