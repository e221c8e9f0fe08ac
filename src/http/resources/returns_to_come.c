/* SPDX-License-Identifier: ISC */
/* GET /v1/schemes/{scheme}/returns-to-come/{cup_type}: the cups that may still come back. */
#include "http/resources/handlers.h"

#include "app/cups/returns_to_come.h"

#include <math.h>

/* Mack's error is about that of a normal distribution: two of them hold about 95 of 100. */
static const double ERRORS = 2;

static long long whole(double cups)
{
    return llround(cups);
}

/* An estimate in whole cups with its bounds, none of which is beyond zero or the cups that are out. */
struct bounds {
    long long expected, low, high, unclaimed;
};

static struct bounds bounds_of(double expected, double error, double out)
{
    return (struct bounds){whole(expected), whole(fmax(expected - ERRORS * error, 0)),
                           whole(fmin(expected + ERRORS * error, out)), whole(out) - whole(expected)};
}

static void add_estimate(struct buffer *text, double expected, double error, double out)
{
    struct bounds bounds = bounds_of(expected, error, out);
    buffer_printf(text, ",\"expected\":%lld,\"expected_low\":%lld,\"expected_high\":%lld,\"unclaimed\":%lld",
                  bounds.expected, bounds.low, bounds.high, bounds.unclaimed);
}

static void add_week(struct buffer *text, const struct returns_to_come *returns, size_t i)
{
    char day[DATE_TEXT_MAX];
    const struct return_week *week = &returns->weeks[i];
    date_format((struct date){returns->first.days + 7 * (int32_t)i}, day);
    buffer_printf(text, "{\"week\":\"%s\",\"issued\":%lld,\"back\":%lld,\"forfeited\":%lld,\"out\":%lld", day,
                  (long long)week->issued, (long long)week->back, (long long)week->forfeited,
                  (long long)week->out);
    if (returns->result == ESTIMATE_MADE)
        add_estimate(text, returns->projection.to_come[i], returns->projection.error[i], (double)week->out);
    buffer_add_text(text, ",\"back_by_week\":[");
    for (size_t k = 0; k < returns->triangle.count - i; k++)
        buffer_printf(text, "%s%lld", k > 0 ? "," : "", whole(returns->triangle.back[i][k]));
    buffer_add_text(text, "]}");
}

static void add_lists(struct buffer *text, const struct returns_to_come *returns)
{
    buffer_add_text(text, ",\"weeks\":[");
    for (size_t i = 0; i < returns->triangle.count; i++) {
        buffer_add_text(text, i > 0 ? ",\n" : "\n");
        add_week(text, returns, i);
    }
    buffer_add_text(text, "],\"factors\":[");
    for (size_t k = 0; returns->result == ESTIMATE_MADE && k + 1 < returns->triangle.count; k++)
        buffer_printf(text, "%s{\"from_week\":%zu,\"factor\":\"%.4f\"}", k > 0 ? "," : "", k,
                      returns->projection.factor[k]);
    buffer_add_text(text, "]");
}

/* The deposits on the cups that nobody is expected to hand back. */
static void add_deposits(struct buffer *text, const struct scheme *scheme, int32_t cup_type,
                         const struct returns_to_come *returns)
{
    struct money value;
    char amount[MONEY_TEXT_MAX];
    int64_t cups = returns->out - whole(returns->projection.total);
    if (!scheme_value(scheme, cup_type, returns->last, &value) ||
        __builtin_mul_overflow(cups, value.minor, &value.minor))
        return;
    money_format(value, scheme->currency->decimals, amount);
    buffer_printf(text, ",\"unclaimed_deposits\":\"%s\"", amount);
}

static void add_test(struct buffer *text, const struct returns_to_come *returns)
{
    char day[DATE_TEXT_MAX];
    if (returns->test.result != ESTIMATE_MADE)
        return;
    date_format((struct date){returns->last.days - 7 * (int32_t)returns->test.weeks}, day);
    buffer_printf(text,
                  ",\"back_test\":{\"as_of\":\"%s\",\"expected\":%lld,\"came\":%lld,\"standard_error\":%lld}",
                  day, whole(returns->test.expected), whole(returns->test.came), whole(returns->test.error));
}

/* Before a week is closed there is nothing to project. */
static void add_nothing(struct buffer *text, const struct scheme *scheme, const struct cup_type *cup_type)
{
    buffer_printf(
        text,
        "{\"scheme\":\"%s\",\"cup_type\":\"%s\",\"currency\":\"%s\",\"estimate\":\"%s\",\"weeks\":[],"
        "\"factors\":[]}\n",
        scheme->code, cup_type->code, scheme->currency->code, estimate_result_word(ESTIMATE_TOO_SHORT));
}

static void add_answer(struct buffer *text, const struct scheme *scheme, const struct cup_type *cup_type,
                       const struct returns_to_come *returns)
{
    char first[DATE_TEXT_MAX], last[DATE_TEXT_MAX];
    date_format(returns->first, first);
    date_format(returns->last, last);
    buffer_printf(text,
                  "{\"scheme\":\"%s\",\"cup_type\":\"%s\",\"currency\":\"%s\",\"from\":\"%s\",\"to\":\"%s\","
                  "\"estimate\":\"%s\",\"out\":%lld,\"older_out\":%lld",
                  scheme->code, cup_type->code, scheme->currency->code, first, last,
                  estimate_result_word(returns->result), (long long)returns->out,
                  (long long)returns->older_out);
    if (returns->result == ESTIMATE_MADE) {
        add_estimate(text, returns->projection.total, returns->projection.total_error, (double)returns->out);
        buffer_printf(text, ",\"standard_error\":%lld", whole(returns->projection.total_error));
        add_deposits(text, scheme, cup_type->id, returns);
    }
    add_test(text, returns);
    add_lists(text, returns);
    buffer_add_text(text, "}\n");
}

static void add_line_end(struct buffer *text, const struct scheme *scheme, const struct cup_type *cup_type,
                         const struct returns_to_come *returns, const struct bounds *bounds)
{
    if (returns->result == ESTIMATE_MADE)
        buffer_printf(text, "%lld,%lld,%lld,%lld", bounds->expected, bounds->low, bounds->high,
                      bounds->unclaimed);
    else
        buffer_add_text(text, ",,,");
    buffer_printf(text, ",%s,%s,%s,%s\r\n", estimate_result_word(returns->result), cup_type->code,
                  scheme->code, scheme->currency->code);
}

/* A line for each week of issue, and one for the older cups that are out: none of these is expected back.
 * Codes and figures need no quotes. */
static void add_lines(struct buffer *text, const struct scheme *scheme, const struct cup_type *cup_type,
                      const struct returns_to_come *returns)
{
    buffer_add_text(text,
                    "week,issued,back,forfeited,out,expected,expected_low,expected_high,unclaimed,estimate,"
                    "cup_type,scheme,currency\r\n");
    for (size_t i = 0; i < returns->triangle.count; i++) {
        char day[DATE_TEXT_MAX];
        const struct return_week *week = &returns->weeks[i];
        date_format((struct date){returns->first.days + 7 * (int32_t)i}, day);
        buffer_printf(text, "%s,%lld,%lld,%lld,%lld,", day, (long long)week->issued, (long long)week->back,
                      (long long)week->forfeited, (long long)week->out);
        const struct bounds bounds =
            bounds_of(returns->projection.to_come[i], returns->projection.error[i], (double)week->out);
        add_line_end(text, scheme, cup_type, returns, &bounds);
    }
    if (returns->triangle.count == 0) /* nothing is known yet */
        return;
    const struct bounds older = bounds_of(0, 0, (double)returns->older_out);
    buffer_printf(text, ",,,,%lld,", (long long)returns->older_out);
    add_line_end(text, scheme, cup_type, returns, &older);
}

static void add_csv(struct answer *answer, const struct scheme *scheme, const struct cup_type *cup_type,
                    const struct returns_to_come *returns)
{
    add_lines(&answer->body, scheme, cup_type, returns);
    answer->file_name = "returns_to_come.csv";
}

void handle_returns_to_come(const struct request *request, struct answer *answer)
{
    bool found;
    struct returns_to_come *returns = arena_alloc(request->arena, sizeof *returns);
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    const struct cup_type *cup_type = network_cup_type(&request->snapshot->network, request->parts[1]);
    if (scheme == NULL)
        return;
    if (cup_type == NULL) {
        answer_not_found(answer);
        return;
    }
    enum store_result result = returns == NULL ? STORE_FAILED
                                               : returns_to_come_read(request->pg, request->arena, scheme->id,
                                                                      cup_type->id, returns, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (answer->media == MEDIA_CSV)
        add_csv(answer, scheme, cup_type, returns);
    else if (!found)
        add_nothing(&answer->body, scheme, cup_type);
    else
        add_answer(&answer->body, scheme, cup_type, returns);
}
