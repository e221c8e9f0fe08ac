/* SPDX-License-Identifier: ISC */
/* Forecasts: each model runs over the history once, and is judged by the errors that it would have made. */
#include "depositd/forecast.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

const char *forecast_method_word(enum forecast_method method)
{
    static const char *const words[] = {
#define X(name, word, ...) [FORECAST_##name] = word,
        FORECAST_METHOD_TABLE(X)
#undef X
    };
    assert(method < FORECAST_METHODS);
    return words[method];
}

const char *par_basis_word(enum par_basis basis)
{
    static const char *const words[] = {
#define X(name, word) [PAR_##name] = word,
        PAR_BASIS_TABLE(X)
#undef X
    };
    assert(basis < PAR_BASES);
    return words[basis];
}

/* Simpler models come first, and win a tie. */
static const struct forecast_model models[] = {
    {FORECAST_LAST_WEEK, 0, 0},   {FORECAST_LEVEL, 0.05, 0},    {FORECAST_LEVEL, 0.1, 0},
    {FORECAST_LEVEL, 0.2, 0},     {FORECAST_LEVEL, 0.3, 0},     {FORECAST_LEVEL, 0.5, 0},
    {FORECAST_WEEKLY, 0.05, 0},   {FORECAST_WEEKLY, 0.1, 0},    {FORECAST_WEEKLY, 0.2, 0},
    {FORECAST_WEEKLY, 0.3, 0},    {FORECAST_WEEKLY, 0.5, 0},    {FORECAST_WEEKLY, 0.05, 0.05},
    {FORECAST_WEEKLY, 0.1, 0.05}, {FORECAST_WEEKLY, 0.2, 0.05}, {FORECAST_WEEKLY, 0.3, 0.05},
    {FORECAST_WEEKLY, 0.5, 0.05}, {FORECAST_WEEKLY, 0.05, 0.2}, {FORECAST_WEEKLY, 0.1, 0.2},
    {FORECAST_WEEKLY, 0.2, 0.2},  {FORECAST_WEEKLY, 0.3, 0.2},  {FORECAST_WEEKLY, 0.5, 0.2},
    {FORECAST_WEEKLY, 0.05, 0.4}, {FORECAST_WEEKLY, 0.1, 0.4},  {FORECAST_WEEKLY, 0.2, 0.4},
    {FORECAST_WEEKLY, 0.3, 0.4},  {FORECAST_WEEKLY, 0.5, 0.4},
};
enum { MODELS = sizeof models / sizeof models[0] };

struct state {
    double level, weekday[FORECAST_WEEK]; /* by day of the history, modulo a week */
};

static struct state start_of(const struct forecast_model *model, const double *demand)
{
    struct state state = {0};
    for (size_t day = 0; day < FORECAST_START_DAYS; day++)
        state.level += demand[day] / FORECAST_START_DAYS;
    if (model->method == FORECAST_WEEKLY)
        for (size_t day = 0; day < FORECAST_WEEK; day++)
            state.weekday[day] = (demand[day] + demand[day + FORECAST_WEEK]) / 2 - state.level;
    return state;
}

static void take_in(const struct forecast_model *model, struct state *state, size_t day, double demand)
{
    double *weekday = &state->weekday[day % FORECAST_WEEK], old_level = state->level;
    state->level = model->level_weight * (demand - *weekday) + (1 - model->level_weight) * old_level;
    *weekday = model->weekday_weight * (demand - old_level) + (1 - model->weekday_weight) * *weekday;
}

/* The demand of a day as it is foreseen on `today`. */
static double foresee(const struct forecast_model *model, const struct state *state, const double *demand,
                      size_t today, size_t day)
{
    if (model->method == FORECAST_LAST_WEEK) {
        while (day > today)
            day -= FORECAST_WEEK;
        return demand[day];
    }
    return fmax(state->level + state->weekday[day % FORECAST_WEEK], 0);
}

void forecast_run(const struct forecast_model *model, const double *demand, size_t days,
                  struct forecast_span span, double *predicted)
{
    assert(days >= FORECAST_START_DAYS);
    struct state state = start_of(model, demand);
    for (size_t today = FORECAST_START_DAYS - 1; today < days; today++) {
        if (today >= FORECAST_START_DAYS)
            take_in(model, &state, today, demand[today]);
        double sum = 0;
        for (unsigned i = 0; i < span.days; i++)
            sum += foresee(model, &state, demand, today, today + span.ahead + i);
        *predicted++ = sum;
    }
}

/* The past forecasts whose span is over. */
static size_t judged(size_t days, struct forecast_span span)
{
    size_t used = FORECAST_START_DAYS + span.ahead + span.days - 2;
    return days > used ? days - used : 0;
}

size_t forecast_history_min(struct forecast_span span)
{
    return FORECAST_START_DAYS + span.ahead + span.days - 2 + FORECAST_ERRORS_MIN;
}

/* Actual less forecast, in order. */
static void find_errors(const struct forecast_model *model, const double *demand, size_t days,
                        struct forecast_span span, double *errors)
{
    double predicted[FORECAST_HISTORY_MAX];
    forecast_run(model, demand, days, span, predicted);
    size_t count = judged(days, span);
    for (size_t i = 0; i < count; i++) {
        double actual = 0;
        for (unsigned k = 0; k < span.days; k++)
            actual += demand[FORECAST_START_DAYS - 1 + i + span.ahead + k];
        errors[i] = actual - predicted[i];
    }
}

static double mean_absolute(const double *errors, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += fabs(errors[i]);
    return sum / (double)count;
}

static int ascending(const void *left, const void *right)
{
    double a = *(const double *)left, b = *(const double *)right;
    return a < b ? -1 : a > b;
}

bool forecast_make(const double *demand, size_t days, struct forecast_span span, struct forecast *forecast)
{
    assert(span.ahead >= 1 && span.ahead <= FORECAST_AHEAD_MAX);
    assert(span.days >= 1 && span.days <= FORECAST_DAYS_MAX);
    if (days > FORECAST_HISTORY_MAX) {
        demand += days - FORECAST_HISTORY_MAX;
        days = FORECAST_HISTORY_MAX;
    }
    if (days < forecast_history_min(span))
        return false;

    size_t count = judged(days, span), tested = count / 3;
    tested = tested < FORECAST_TESTED_MAX ? tested : FORECAST_TESTED_MAX;
    size_t choosing = count - tested;
    double least = INFINITY;
    for (size_t i = 0; i < MODELS; i++) {
        double errors[FORECAST_HISTORY_MAX], error;
        find_errors(&models[i], demand, days, span, errors);
        error = mean_absolute(errors, choosing);
        if (models[i].method == FORECAST_LAST_WEEK)
            forecast->error_last_week = mean_absolute(errors + choosing, tested);
        if (error < least) {
            least = error;
            forecast->model = models[i];
            forecast->error = mean_absolute(errors + choosing, tested);
            memcpy(forecast->errors, errors, count * sizeof *errors);
        }
    }
    double predicted[FORECAST_HISTORY_MAX];
    forecast_run(&forecast->model, demand, days, span, predicted);
    forecast->expected = predicted[days - FORECAST_START_DAYS];
    forecast->tested = tested;
    forecast->error_count = count;
    qsort(forecast->errors, count, sizeof *forecast->errors, ascending);
    return true;
}

/* By halving: the distribution rises, and erfc is precise in both tails. */
double normal_quantile(double probability)
{
    double low = -40, high = 40;
    for (int i = 0; i < 80; i++) {
        double middle = (low + high) / 2;
        if (erfc(-middle / M_SQRT2) / 2 < probability)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

static double root_mean_square(const double *errors, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += errors[i] * errors[i];
    return sqrt(sum / (double)count);
}

/* The errors can tell a quantile if at least one of them lies beyond it. */
int64_t forecast_par(const struct forecast *forecast, struct rate service_level, enum par_basis *basis)
{
    assert(service_level.ppm > 0 && service_level.ppm < PPM);
    size_t count = forecast->error_count;
    /* The least number of errors that are this share of them, or more. */
    size_t within = (count * (size_t)service_level.ppm + PPM - 1) / PPM;
    double more;
    if (within < count) {
        *basis = PAR_EMPIRICAL;
        more = forecast->errors[within - 1];
    } else {
        *basis = PAR_NORMAL;
        more = normal_quantile((double)service_level.ppm / PPM) * root_mean_square(forecast->errors, count);
    }
    /* A stock of 12.0000000001 cups is 12: rounding in binary is no demand. */
    double stock = ceil(forecast->expected + more - 1e-6);
    return stock > 0 ? (int64_t)stock : 0;
}
