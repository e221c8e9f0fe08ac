/* SPDX-License-Identifier: ISC */
/* How many cups of a type to buy: the cups that the demand to come keeps busy, and the cups that will be
 * lost, less all in service.
 *
 * A stock that many cups pass through holds on average as many as come in per day times the days that each
 * stays: J. D. C. Little, "A proof for the queuing formula L = lambda W", Operations Research 9 (1961),
 * 383-387. This gives the cups with customers and those that wait for a wash. The stock of a site covers the
 * demand until the next delivery with a wanted probability, if daily demands are independent and their sum is
 * near normal: the base-stock level, mean plus normal quantile times standard deviation. Pure; any thread.
 * These are estimates and never amounts to post, so they are floating-point numbers. */
#ifndef DEPOSITD_PURCHASE_H
#define DEPOSITD_PURCHASE_H

#include "depositd/civil.h"
#include "depositd/money.h"
#include "depositd/pay_days.h"

enum {
    PURCHASE_DAYS_MIN = 28,      /* of history, below which there is no estimate for a cup type */
    PURCHASE_SITE_DAYS_MIN = 14, /* and for a site */
    PURCHASE_TRIPS_MIN = 30,     /* of known cups, below which their time out is not taken */
    PURCHASE_WINDOW = 14         /* days over which demand then and now are compared */
};

struct purchase_terms {
    struct rate service_level; /* above 0, below 1 */
    unsigned stock_days;       /* that a site's stock is to last */
    unsigned wash_days;        /* that a returned cup waits beyond the night after its return */
    unsigned horizon_days;     /* over which losses are replaced */
    int32_t growth_ppm;        /* of demand by the end of the horizon: 0.1 is 100000; above -PPM */
};

/* The cups issued on the days of a history. */
struct daily_demand {
    size_t days;
    double mean, sd;           /* sd: of a sample, so 0 for a single day */
    enum weekday peak_weekday; /* the first of those with the highest mean */
    double peak;               /* the mean of that weekday */
};
/* `first` is the date of the first day; days > 0. */
struct daily_demand purchase_demand(const double *cups, size_t days, struct date first);

/* The stock that a site needs at the end of the horizon. */
int64_t purchase_par(const struct daily_demand *demand, const struct purchase_terms *terms);

/* Cups with customers at two moments that are whole weeks apart, and the mean demand before each. */
struct purchase_change {
    int64_t more_out; /* at the later moment than at the earlier one */
    double demand_then, demand_now;
    double time_out; /* days */
    size_t days;     /* between the moments */
    size_t of_days;  /* for which the figure is wanted */
};
/* The cups that never came back in so many days: those more out that more demand does not explain. */
int64_t purchase_never_returned(const struct purchase_change *change);

/* Cups that left service for good during a history. */
struct purchase_losses {
    int64_t damaged;   /* retired, or put aside for it */
    int64_t missing;   /* missed by counts or lost on the road, less those found: may be negative */
    int64_t forfeited; /* less those reinstated */
    int64_t never_returned;
};
/* Their sum, never below 0. */
int64_t purchase_lost(const struct purchase_losses *losses);
/* The lost per cup issued, from 0 to 1; issued > 0. */
double purchase_loss_rate(int64_t lost, int64_t issued);

/* Of one cup type. */
struct purchase_facts {
    double demand;    /* cups issued per day */
    double time_out;  /* days from issue to return */
    double loss_rate; /* per cup issued */
    int64_t par;      /* of all sites */
    int64_t at_sites, on_road, with_customers;
    bool counts_all_out; /* all cups with customers count as in service, else only those that time_out
                            explains */
};

/* Cups. needed = out + par + wash + on_road + losses; in_service = at_sites + on_road + out_counted; either
 * quantity or surplus is their difference, and the other one 0. */
struct purchase {
    int64_t out, par, wash, on_road, losses, needed;
    int64_t at_sites, out_counted, in_service;
    int64_t quantity, surplus;
};
struct purchase purchase_make(const struct purchase_facts *facts, const struct purchase_terms *terms);

/* Mean uses of a cup that is lost at each use with this probability: the mean of a geometric distribution. It
 * counts the last use, after which the cup does not come back. loss_rate > 0. */
double purchase_uses(double loss_rate);

/* The uses after which a cup has cost no more than as many disposable ones: price + n * per_use <= n *
 * disposable. 0: no number of uses is enough. */
int64_t purchase_uses_to_pay(struct money price, struct money per_use, struct money disposable);
/* The uses after which disposable cups have together the mass of one cup. disposable_g > 0. */
int64_t purchase_uses_to_weigh(int64_t mass_g, struct decimal disposable_g);

#endif
