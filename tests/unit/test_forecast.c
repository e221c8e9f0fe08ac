/* SPDX-License-Identifier: ISC */
/* Forecasts against those of a general-purpose library on open series (forecast_cases.txt), and on series
 * whose best forecast is known by design. Quantiles of the normal distribution are from its printed tables.
 */
#include "depositd/forecast.h"

#include "suite.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SERIES_MAX = 200, LINE_SIZE = 1024, AHEAD = 6 };

struct series {
    double demand[SERIES_MAX], predicted[SERIES_MAX];
    size_t days, predictions;
    char name[40];
    struct forecast_model model;
};

static size_t read_numbers(const char *text, double *numbers, size_t count)
{
    char *end;
    for (double number = strtod(text, &end); end != text; number = strtod(text, &end)) {
        ck_assert(count < SERIES_MAX);
        numbers[count++] = number;
        text = end;
    }
    return count;
}

/* One day ahead, on each day; then from the last day up to six days ahead. */
static void check_series(const struct series *series)
{
    double predicted[SERIES_MAX];
    size_t made = series->days - FORECAST_START_DAYS;
    ck_assert_uint_eq(series->predictions, made + AHEAD);
    forecast_run(&series->model, series->demand, series->days, (struct forecast_span){1, 1}, predicted);
    for (size_t i = 0; i <= made; i++)
        ck_assert_msg(fabs(predicted[i] - series->predicted[i]) < 1e-6, "%s, forecast %zu: %.7f",
                      series->name, i, predicted[i]);
    double together = 0;
    for (unsigned i = 0; i < AHEAD; i++) {
        forecast_run(&series->model, series->demand, series->days, (struct forecast_span){1 + i, 1},
                     predicted);
        ck_assert_msg(fabs(predicted[made] - series->predicted[made + i]) < 1e-6, "%s, %u ahead: %.7f",
                      series->name, 1 + i, predicted[made]);
        together += series->predicted[made + i];
    }
    forecast_run(&series->model, series->demand, series->days, (struct forecast_span){1, AHEAD}, predicted);
    ck_assert(fabs(predicted[made] - together) < 1e-5);
}

static enum forecast_method method_named(const char *word)
{
    for (int method = 0; method < FORECAST_METHODS; method++)
        if (strcmp(forecast_method_word((enum forecast_method)method), word) == 0)
            return (enum forecast_method)method;
    ck_abort_msg("no method %s", word);
}

/* Calls `visit` with each model of the file. */
static size_t read_cases(void (*visit)(const struct series *series))
{
    static struct series series;
    char line[LINE_SIZE], word[40];
    size_t cases = 0;
    FILE *file = fopen(FORECAST_CASES, "r");
    ck_assert_ptr_nonnull(file);
    for (bool more = true; more;) {
        more = fgets(line, sizeof line, file) != NULL;
        bool begins = !more || strncmp(line, "series ", 7) == 0 || strncmp(line, "model ", 6) == 0;
        if (begins && series.predictions > 0) {
            visit(&series);
            cases++;
            series.predictions = 0;
        }
        if (!more)
            break;
        if (sscanf(line, "series %39s", series.name) == 1)
            series.days = 0;
        else if (strncmp(line, "demand ", 7) == 0)
            series.days = read_numbers(line + 7, series.demand, series.days);
        else if (sscanf(line, "model %39s %lf %lf", word, &series.model.level_weight,
                        &series.model.weekday_weight) == 3)
            series.model.method = method_named(word);
        else if (strncmp(line, "predicted ", 10) == 0)
            series.predictions = read_numbers(line + 10, series.predicted, series.predictions);
        else
            ck_assert_msg(line[0] == '#' || line[0] == '\n', "%s", line);
    }
    fclose(file);
    return cases;
}

START_TEST(forecasts_of_a_library)
{
    ck_assert_uint_eq(read_cases(check_series), 6);
}
END_TEST

/* The rules of every forecast, found again from the face alone. */
static void check_forecast(const double *demand, size_t days, struct forecast_span span,
                           const struct forecast *forecast)
{
    double predicted[SERIES_MAX], sum = 0, last_week = 0;
    size_t count = days - FORECAST_START_DAYS + 2 - span.ahead - span.days;
    ck_assert_uint_eq(forecast->error_count, count);
    ck_assert(forecast->tested > 0 && forecast->tested <= FORECAST_TESTED_MAX);
    forecast_run(&forecast->model, demand, days, span, predicted);
    ck_assert(forecast->expected == predicted[days - FORECAST_START_DAYS] && forecast->expected >= 0);
    for (size_t i = count - forecast->tested; i < count; i++) {
        double actual = 0, before = 0;
        for (size_t k = 0; k < span.days; k++) {
            size_t today = FORECAST_START_DAYS - 1 + i, day = today + span.ahead + k;
            actual += demand[day];
            before += demand[day - FORECAST_WEEK * ((day - today + FORECAST_WEEK - 1) / FORECAST_WEEK)];
        }
        sum += fabs(actual - predicted[i]);
        last_week += fabs(actual - before);
    }
    ck_assert(fabs(sum / (double)forecast->tested - forecast->error) < 1e-9);
    ck_assert(fabs(last_week / (double)forecast->tested - forecast->error_last_week) < 1e-9);
    for (size_t i = 1; i < count; i++)
        ck_assert(forecast->errors[i - 1] <= forecast->errors[i]);
}

static void check_choice(const struct series *series)
{
    for (unsigned ahead = 1; ahead <= FORECAST_AHEAD_MAX; ahead += 3)
        for (unsigned span_days = 1; span_days <= FORECAST_DAYS_MAX; span_days += 2) {
            struct forecast forecast;
            struct forecast_span span = {ahead, span_days};
            ck_assert(forecast_make(series->demand, series->days, span, &forecast));
            check_forecast(series->demand, series->days, span, &forecast);
        }
}

START_TEST(choices_on_open_series)
{
    ck_assert_uint_eq(read_cases(check_choice), 6);
}
END_TEST

/* Counts around a mean: the sum of coins, so that errors are drawn without a distribution's own code. */
static double coins(unsigned *state, int count)
{
    int heads = 0;
    for (int i = 0; i < count; i++)
        heads += rand_r(state) % 2;
    return heads;
}

/* Weekends sell twice as much: a model that knows weekdays wins, and errs about as much as the coins vary
 * (the mean absolute deviation of 100 coins is 4.0). */
START_TEST(a_series_with_weekdays)
{
    unsigned state = 7;
    double demand[SERIES_MAX];
    struct forecast forecast;
    for (size_t day = 0; day < SERIES_MAX; day++)
        demand[day] = coins(&state, 100) + (day % FORECAST_WEEK >= 5 ? 50 : 0);
    ck_assert(forecast_make(demand, SERIES_MAX - 1, (struct forecast_span){1, 1}, &forecast));
    ck_assert_int_eq(forecast.model.method, FORECAST_WEEKLY);
    ck_assert(forecast.error < 5 && forecast.error_last_week > forecast.error);
    size_t next = (SERIES_MAX - 1) % FORECAST_WEEK;
    ck_assert(fabs(forecast.expected - (next >= 5 ? 100 : 50)) < 8);
}
END_TEST

/* No weekday is like another: the level alone does as well, and is chosen. */
START_TEST(a_series_without_weekdays)
{
    unsigned state = 11;
    double demand[SERIES_MAX];
    struct forecast forecast;
    for (size_t day = 0; day < SERIES_MAX; day++)
        demand[day] = coins(&state, 100);
    ck_assert(forecast_make(demand, SERIES_MAX, (struct forecast_span){1, 1}, &forecast));
    ck_assert_int_eq(forecast.model.method, FORECAST_LEVEL);
    ck_assert(fabs(forecast.expected - 50) < 6 && forecast.error < forecast.error_last_week);
}
END_TEST

START_TEST(a_series_that_repeats)
{
    double demand[70];
    struct forecast forecast;
    for (size_t day = 0; day < 70; day++)
        demand[day] = (double)(day % FORECAST_WEEK * 10);
    for (unsigned ahead = 1; ahead <= FORECAST_AHEAD_MAX; ahead++) {
        enum par_basis basis;
        ck_assert(forecast_make(demand, 70, (struct forecast_span){ahead, 1}, &forecast));
        ck_assert(forecast.expected == (double)((69 + ahead) % FORECAST_WEEK * 10));
        ck_assert_int_eq(forecast.model.method, FORECAST_LAST_WEEK);
        ck_assert(forecast.error == 0 && forecast.error_last_week == 0);
        ck_assert_int_eq(forecast_par(&forecast, (struct rate){950000}, &basis), (int64_t)forecast.expected);
    }
}
END_TEST

START_TEST(too_little_history)
{
    double demand[SERIES_MAX] = {0};
    struct forecast forecast;
    struct forecast_span span = {3, 2};
    size_t least = forecast_history_min(span);
    ck_assert_uint_eq(least, 31);
    ck_assert(!forecast_make(demand, least - 1, span, &forecast));
    ck_assert(forecast_make(demand, least, span, &forecast));
    check_forecast(demand, least, span, &forecast);
    ck_assert_uint_eq(forecast.error_count, FORECAST_ERRORS_MIN);
    ck_assert(forecast.expected == 0);
}
END_TEST

START_TEST(only_the_latest_year_counts)
{
    static double demand[FORECAST_HISTORY_MAX + 50];
    static struct forecast all, latest;
    unsigned state = 3;
    for (size_t day = 0; day < FORECAST_HISTORY_MAX + 50; day++)
        demand[day] = day < 50 ? 1e6 : coins(&state, 40);
    ck_assert(forecast_make(demand, FORECAST_HISTORY_MAX + 50, (struct forecast_span){1, 1}, &all));
    ck_assert(forecast_make(demand + 50, FORECAST_HISTORY_MAX, (struct forecast_span){1, 1}, &latest));
    ck_assert(all.expected == latest.expected && all.error == latest.error);
}
END_TEST

/* Tables of the standard normal distribution, as printed in any handbook. */
static const struct {
    double probability, quantile;
} quantiles[] = {
    {0.5, 0},         {0.75, 0.674490},  {0.9, 1.281552},   {0.95, 1.644854},   {0.975, 1.959964},
    {0.99, 2.326348}, {0.995, 2.575829}, {0.999, 3.090232}, {0.025, -1.959964}, {0.0001, -3.719016},
};

START_TEST(normal_quantiles)
{
    ck_assert(fabs(normal_quantile(quantiles[_i].probability) - quantiles[_i].quantile) < 1e-6);
}
END_TEST

/* With enough errors, the stock is the least that would have met the past demand often enough. With few, it
 * is by the normal distribution: the root mean square of these errors is 2. */
START_TEST(stock_for_a_service_level)
{
    struct forecast forecast = {.expected = 10, .error_count = 20};
    enum par_basis basis;
    for (int i = 0; i < 20; i++)
        forecast.errors[i] = i - 10;
    ck_assert_int_eq(forecast_par(&forecast, (struct rate){500000}, &basis), 9); /* ten errors up to -1 */
    ck_assert_int_eq(forecast_par(&forecast, (struct rate){900000}, &basis), 17);
    ck_assert_int_eq(forecast_par(&forecast, (struct rate){900001}, &basis), 18);
    ck_assert_int_eq(forecast_par(&forecast, (struct rate){950000}, &basis), 18);
    ck_assert_int_eq(basis, PAR_EMPIRICAL);
    forecast.error_count = 14;
    for (int i = 0; i < 14; i++)
        forecast.errors[i] = i < 7 ? -2 : 2;
    ck_assert_int_eq(forecast_par(&forecast, (struct rate){990000}, &basis), 15); /* 10 + 2.326 * 2 */
    ck_assert_int_eq(basis, PAR_NORMAL);
    forecast.expected = 0;
    ck_assert_int_eq(forecast_par(&forecast, (struct rate){100000}, &basis), 0);
    ck_assert_int_eq(basis, PAR_EMPIRICAL);
}
END_TEST

Suite *file_suite(void)
{
    TCase *cases = tcase_create("forecast");
    tcase_add_test(cases, forecasts_of_a_library);
    tcase_add_test(cases, choices_on_open_series);
    tcase_add_test(cases, a_series_with_weekdays);
    tcase_add_test(cases, a_series_without_weekdays);
    tcase_add_test(cases, a_series_that_repeats);
    tcase_add_test(cases, too_little_history);
    tcase_add_test(cases, only_the_latest_year_counts);
    tcase_add_loop_test(cases, normal_quantiles, 0, (int)(sizeof quantiles / sizeof quantiles[0]));
    tcase_add_test(cases, stock_for_a_service_level);
    Suite *suite = suite_create("forecast");
    suite_add_tcase(suite, cases);
    return suite;
}
