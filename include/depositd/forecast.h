/* SPDX-License-Identifier: ISC */
/* Forecasts of daily demand from its own past, and the stock that meets it with a wanted probability.
 *
 * Three methods compete: the last known same weekday; simple exponential smoothing of the level; smoothing of
 * the level and of seven weekday terms that add to it (the additive method of C. C. Holt, 1957, and
 * P. R. Winters, 1960, without a trend). The method and its weights are those with the least mean absolute
 * error on the earlier days of the history. The error that is told is of the latest days, which had no say in
 * the choice. Pure, deterministic; allocates scratch memory; any thread. */
#ifndef DEPOSITD_FORECAST_H
#define DEPOSITD_FORECAST_H

#include "depositd/money.h"

/* X(name, word, words for people) */
#define FORECAST_METHOD_TABLE(X)                                                                             \
    X(LAST_WEEK, "same_day_last_week", "the last known same weekday")                                        \
    X(LEVEL, "level", "exponential smoothing of the level")                                                  \
    X(WEEKLY, "level_and_weekday", "exponential smoothing of the level and the weekdays")

enum forecast_method {
#define X(name, ...) FORECAST_##name,
    FORECAST_METHOD_TABLE(X)
#undef X
        FORECAST_METHODS
};
const char *forecast_method_word(enum forecast_method method);

enum {
    FORECAST_WEEK = 7,
    FORECAST_START_DAYS = 14,   /* the first level and weekday terms are means of so many days */
    FORECAST_ERRORS_MIN = 14,   /* a forecast needs so many past ones, to know its error */
    FORECAST_TESTED_MAX = 28,   /* past forecasts that test it: the latest third, at most so many */
    FORECAST_HISTORY_MAX = 366, /* days of history that are looked at */
    FORECAST_AHEAD_MAX = 14,
    FORECAST_DAYS_MAX = 7
};

/* The question: the demand of `days` days together, the first of them `ahead` days after the last known
 * day. */
struct forecast_span {
    unsigned ahead; /* 1 to FORECAST_AHEAD_MAX */
    unsigned days;  /* 1 to FORECAST_DAYS_MAX */
};

/* A method with its weights, each from 0 to 1. */
struct forecast_model {
    enum forecast_method method;
    double level_weight, weekday_weight;
};

struct forecast {
    struct forecast_model model;
    double expected;                     /* never below zero */
    double error;                        /* mean absolute error of the forecasts that test it */
    double error_last_week;              /* the same of the last known same weekdays */
    size_t tested;                       /* forecasts that test it */
    size_t error_count;                  /* of all past forecasts of this span by this model */
    double errors[FORECAST_HISTORY_MAX]; /* actual less forecast, ascending */
};

/* The fewest days of history that a span can be forecast from. */
size_t forecast_history_min(struct forecast_span span);

/* The demand of each day, oldest first, of which the latest FORECAST_HISTORY_MAX count. False: fewer days
 * than forecast_history_min. */
MUST_CHECK bool forecast_make(const double *demand, size_t days, struct forecast_span span,
                              struct forecast *forecast);

/* The forecasts of one model, made on each day from the last of the first FORECAST_START_DAYS on, in order:
 * predicted[0] is made on that day, predicted[days - FORECAST_START_DAYS] on the last. Sets all of them, also
 * those whose span is not over. */
void forecast_run(const struct forecast_model *model, const double *demand, size_t days,
                  struct forecast_span span, double *predicted);

/* How a stock was found: from the errors themselves, or where they are too few for the level, from a normal
 * distribution with their root mean square. */
#define PAR_BASIS_TABLE(X)                                                                                   \
    X(EMPIRICAL, "empirical")                                                                                \
    X(NORMAL, "normal")

enum par_basis {
#define X(name, word) PAR_##name,
    PAR_BASIS_TABLE(X)
#undef X
        PAR_BASES
};
const char *par_basis_word(enum par_basis basis);

/* The least whole stock, at least 0, that meets the demand of the span with the probability `service_level`,
 * which is above 0 and below 1. */
int64_t forecast_par(const struct forecast *forecast, struct rate service_level, enum par_basis *basis);

/* The quantile of the standard normal distribution; 0 < probability < 1. */
double normal_quantile(double probability);

#endif
