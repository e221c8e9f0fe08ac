/* SPDX-License-Identifier: ISC */
/* Writes what to buy. The figures of a cup type stand in one table, which JSON shows in parts and CSV as a
 * line. A figure that is not known has no text. */
#include "http/resources/purchase_answer.h"

#include <assert.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { FIGURE_SIZE = 48, MORE_DECIMALS = 2 /* of an amount per trip */ };

enum part { PART_RESULT, PART_DEMAND, PART_LOSSES, PART_TRIPS, PARTS };

enum form_of_figure { WHOLE, TEXT };

/* X(name, the list that it stands in, its form in JSON) */
#define FIGURE_TABLE(X)                                                                                      \
    X(estimate, RESULT, TEXT)                                                                                \
    X(out, RESULT, WHOLE)                                                                                    \
    X(par, RESULT, WHOLE)                                                                                    \
    X(sites_unknown, RESULT, WHOLE)                                                                          \
    X(wash, RESULT, WHOLE)                                                                                   \
    X(expected_losses, RESULT, WHOLE)                                                                        \
    X(on_road, RESULT, WHOLE)                                                                                \
    X(needed, RESULT, WHOLE)                                                                                 \
    X(at_sites, RESULT, WHOLE)                                                                               \
    X(with_customers, RESULT, WHOLE)                                                                         \
    X(out_counted, RESULT, WHOLE)                                                                            \
    X(in_service, RESULT, WHOLE)                                                                             \
    X(quantity, RESULT, WHOLE)                                                                               \
    X(surplus, RESULT, WHOLE)                                                                                \
    X(cost, RESULT, TEXT)                                                                                    \
    X(days, DEMAND, WHOLE)                                                                                   \
    X(issued, DEMAND, WHOLE)                                                                                 \
    X(demand_mean, DEMAND, TEXT)                                                                             \
    X(demand_sd, DEMAND, TEXT)                                                                               \
    X(peak_weekday, DEMAND, TEXT)                                                                            \
    X(peak_demand, DEMAND, TEXT)                                                                             \
    X(time_out_days, DEMAND, TEXT)                                                                           \
    X(time_out_by, DEMAND, TEXT)                                                                             \
    X(time_out_trips, DEMAND, WHOLE)                                                                         \
    X(damaged, LOSSES, WHOLE)                                                                                \
    X(missing, LOSSES, WHOLE)                                                                                \
    X(forfeited, LOSSES, WHOLE)                                                                              \
    X(never_returned, LOSSES, WHOLE)                                                                         \
    X(lost, LOSSES, WHOLE)                                                                                   \
    X(loss_rate, LOSSES, TEXT)                                                                               \
    X(loss_rate_by, LOSSES, TEXT)                                                                            \
    X(mass_g, TRIPS, WHOLE)                                                                                  \
    X(supplied, TRIPS, WHOLE)                                                                                \
    X(trips, TRIPS, WHOLE)                                                                                   \
    X(trips_per_cup, TRIPS, TEXT)                                                                            \
    X(cost_per_trip, TRIPS, TEXT)                                                                            \
    X(uses_expected, TRIPS, TEXT)                                                                            \
    X(uses_to_pay, TRIPS, WHOLE)                                                                             \
    X(uses_to_weigh, TRIPS, WHOLE)

enum figure {
#define X(name, ...) FIGURE_##name,
    FIGURE_TABLE(X)
#undef X
        FIGURES
};

static const struct {
    const char *name;
    enum part part;
    enum form_of_figure form;
} figures[] = {
#define X(name, part, form) [FIGURE_##name] = {#name, PART_##part, form},
    FIGURE_TABLE(X)
#undef X
};

struct texts {
    char of[FIGURES][FIGURE_SIZE];
};

static const char *source_word(enum assumption_source source)
{
    static const char *const words[] = {
#define X(name, word) [ASSUMPTION_##name] = word,
        ASSUMPTION_SOURCE_TABLE(X)
#undef X
    };
    assert(source < ASSUMPTION_SOURCES);
    return words[source];
}

static const char *const weekdays[] = {
    [MONDAY] = "monday", [TUESDAY] = "tuesday",   [WEDNESDAY] = "wednesday", [THURSDAY] = "thursday",
    [FRIDAY] = "friday", [SATURDAY] = "saturday", [SUNDAY] = "sunday",       [WEEKDAYS] = NULL};

/* --- the figures of a cup type ---------------------------------------------------------------------------
 */

static void set_whole(struct texts *texts, enum figure figure, int64_t cups)
{
    snprintf(texts->of[figure], FIGURE_SIZE, "%" PRId64, cups);
}

static void set_word(struct texts *texts, enum figure figure, const char *word)
{
    snprintf(texts->of[figure], FIGURE_SIZE, "%s", word);
}

static void set_number(struct texts *texts, enum figure figure, int decimals, double number)
{
    snprintf(texts->of[figure], FIGURE_SIZE, "%.*f", decimals, number);
}

static void set_result(struct texts *texts, const struct purchase_asked *asked,
                       const struct purchase_type *type)
{
    const struct purchase *made = &type->purchase;
    const struct currency *currency = asked->question->scheme->currency;
    struct money cost;
    set_whole(texts, FIGURE_out, made->out);
    set_whole(texts, FIGURE_par, made->par);
    set_whole(texts, FIGURE_sites_unknown, type->sites_unknown);
    set_whole(texts, FIGURE_wash, made->wash);
    set_whole(texts, FIGURE_expected_losses, made->losses);
    set_whole(texts, FIGURE_needed, made->needed);
    set_whole(texts, FIGURE_out_counted, made->out_counted);
    set_whole(texts, FIGURE_in_service, made->in_service);
    set_whole(texts, FIGURE_quantity, made->quantity);
    set_whole(texts, FIGURE_surplus, made->surplus);
    if (asked->prices.has_cup && money_times(asked->prices.cup, (struct cups){made->quantity}, &cost))
        money_format(cost, currency->decimals, texts->of[FIGURE_cost]);
}

static void set_demand(struct texts *texts, const struct purchase_type *type)
{
    set_whole(texts, FIGURE_days, (int64_t)type->demand.days);
    set_whole(texts, FIGURE_issued, type->issued);
    if (type->demand.days > 0) {
        set_number(texts, FIGURE_demand_mean, 1, type->demand.mean);
        set_number(texts, FIGURE_demand_sd, 1, type->demand.sd);
        set_word(texts, FIGURE_peak_weekday, weekdays[type->demand.peak_weekday]);
        set_number(texts, FIGURE_peak_demand, 1, type->demand.peak);
    }
    set_word(texts, FIGURE_time_out_by, time_out_by_word(type->time_out_by));
    set_whole(texts, FIGURE_time_out_trips, type->time_out_trips);
    if (type->time_out_by != TIME_OUT_UNKNOWN)
        set_number(texts, FIGURE_time_out_days, 2, type->time_out);
}

static void set_losses(struct texts *texts, const struct purchase_asked *asked,
                       const struct purchase_type *type)
{
    set_whole(texts, FIGURE_damaged, type->losses.damaged);
    set_whole(texts, FIGURE_missing, type->losses.missing);
    set_whole(texts, FIGURE_forfeited, type->losses.forfeited);
    set_whole(texts, FIGURE_never_returned, type->losses.never_returned);
    set_whole(texts, FIGURE_lost, type->lost);
    set_number(texts, FIGURE_loss_rate, 4, type->loss_rate);
    set_word(texts, FIGURE_loss_rate_by,
             source_word(asked->question->states_loss_rate ? ASSUMPTION_STATED : ASSUMPTION_MEASURED));
}

/* The price of all cups so far is shared by the trips so far; those in service will make more. */
static void set_cost_per_trip(struct texts *texts, const struct purchase_asked *asked,
                              const struct purchase_type *type)
{
    int decimals = asked->question->scheme->currency->decimals;
    double minor = 1;
    for (int i = 0; i < decimals; i++)
        minor *= 10;
    double each = (double)asked->prices.cup.minor * (double)type->supplied / (double)type->trips;
    set_number(texts, FIGURE_cost_per_trip, decimals + MORE_DECIMALS,
               (each + (double)asked->prices.per_use.minor) / minor);
}

static void set_trips(struct texts *texts, const struct purchase_asked *asked,
                      const struct purchase_type *type)
{
    const struct purchase_prices *prices = &asked->prices;
    set_whole(texts, FIGURE_mass_g, type->mass_g);
    set_whole(texts, FIGURE_supplied, type->supplied);
    set_whole(texts, FIGURE_trips, type->trips);
    if (type->supplied > 0)
        set_number(texts, FIGURE_trips_per_cup, 2, (double)type->trips / (double)type->supplied);
    if (prices->has_cup && type->supplied > 0 && type->trips > 0)
        set_cost_per_trip(texts, asked, type);
    if (type->estimate == PURCHASE_MADE && type->loss_rate > 0)
        set_number(texts, FIGURE_uses_expected, 1, purchase_uses(type->loss_rate));
    int64_t uses = prices->has_cup && prices->has_disposable
                       ? purchase_uses_to_pay(prices->cup, prices->per_use, prices->disposable)
                       : 0;
    if (uses > 0)
        set_whole(texts, FIGURE_uses_to_pay, uses);
    if (prices->has_disposable_mass)
        set_whole(texts, FIGURE_uses_to_weigh, purchase_uses_to_weigh(type->mass_g, prices->disposable_g));
}

static void set_texts(struct texts *texts, const struct purchase_asked *asked,
                      const struct purchase_type *type)
{
    *texts = (struct texts){0};
    set_word(texts, FIGURE_estimate, purchase_estimate_word(type->estimate));
    set_whole(texts, FIGURE_at_sites, type->at_sites);
    set_whole(texts, FIGURE_on_road, type->on_road);
    set_whole(texts, FIGURE_with_customers, type->with_customers);
    set_demand(texts, type);
    set_trips(texts, asked, type);
    if (type->estimate == PURCHASE_MADE) {
        set_result(texts, asked, type);
        set_losses(texts, asked, type);
    }
}

/* --- JSON ------------------------------------------------------------------------------------------------
 */

static void add_date(struct buffer *text, const char *name, struct date date)
{
    char day[DATE_TEXT_MAX];
    date_format(date, day);
    buffer_printf(text, ",\"%s\":\"%s\"", name, day);
}

static void add_assumptions(struct buffer *text, const struct purchase_asked *asked)
{
    buffer_add_text(text, ",\"assumptions\":[");
    for (size_t i = 0; i < asked->assumption_count; i++) {
        const struct assumption *assumption = &asked->assumptions[i];
        buffer_printf(text, "%s{\"assumption\":\"%s\"", i > 0 ? ",\n" : "\n", assumption->name);
        if (assumption->value != NULL)
            buffer_printf(text, ",\"value\":\"%s\"", assumption->value);
        buffer_printf(text, ",\"source\":\"%s\"}", source_word(assumption->source));
    }
    buffer_add_char(text, ']');
}

static void add_figure(struct buffer *text, enum figure figure, const char *value)
{
    const char *quote = figures[figure].form == TEXT ? "\"" : "";
    if (*value != '\0')
        buffer_printf(text, ",\"%s\":%s%s%s", figures[figure].name, quote, value, quote);
}

static void add_part(struct buffer *text, const char *name, enum part part,
                     const struct purchase_asked *asked, const struct purchases *purchases)
{
    size_t written = 0;
    buffer_printf(text, ",\"%s\":[", name);
    for (size_t i = 0; i < purchases->type_count; i++) {
        const struct purchase_type *type = &purchases->types[i];
        struct texts texts;
        if (part == PART_LOSSES && type->estimate != PURCHASE_MADE)
            continue;
        set_texts(&texts, asked, type);
        buffer_printf(text, "%s{\"cup_type\":\"%s\"", written++ > 0 ? ",\n" : "\n", type->cup_type->code);
        for (enum figure figure = 0; figure < FIGURES; figure++)
            if (figures[figure].part == part)
                add_figure(text, figure, texts.of[figure]);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

/* The words of a plan, but nothing is foreseen here. */
static const char *par_word(enum plan_basis basis)
{
    return basis == PLAN_FORECAST ? source_word(ASSUMPTION_MEASURED) : plan_basis_word(basis);
}

static void add_sites(struct buffer *text, const struct purchases *purchases)
{
    buffer_add_text(text, ",\"sites\":[");
    for (size_t i = 0; i < purchases->site_count; i++) {
        const struct purchase_site *site = &purchases->sites[i];
        buffer_printf(text, "%s{\"site\":\"%s\",\"cup_type\":\"%s\",\"days\":%zu", i > 0 ? ",\n" : "\n",
                      site->site->code, site->cup_type->code, site->demand.days);
        if (site->demand.days > 0)
            buffer_printf(text, ",\"demand_mean\":\"%.1f\",\"demand_sd\":\"%.1f\"", site->demand.mean,
                          site->demand.sd);
        if (site->basis != PLAN_UNKNOWN)
            buffer_printf(text, ",\"par\":%" PRId64, site->par);
        buffer_printf(text, ",\"par_by\":\"%s\"}", par_word(site->basis));
    }
    buffer_add_char(text, ']');
}

void purchases_json(struct buffer *text, const struct purchase_asked *asked,
                    const struct purchases *purchases)
{
    const struct scheme *scheme = asked->question->scheme;
    buffer_printf(text, "{\"scheme\":\"%s\",\"currency\":\"%s\"", scheme->code, scheme->currency->code);
    add_date(text, "history_from", purchases->from);
    add_date(text, "history_to", purchases->to);
    add_part(text, "cup_types", PART_RESULT, asked, purchases);
    add_assumptions(text, asked);
    add_part(text, "demand", PART_DEMAND, asked, purchases);
    add_part(text, "losses", PART_LOSSES, asked, purchases);
    add_part(text, "trips", PART_TRIPS, asked, purchases);
    add_sites(text, purchases);
    buffer_add_text(text, "}\n");
}

/* --- CSV -------------------------------------------------------------------------------------------------
 */

/* Codes and figures need no quotes. */
void purchases_csv(struct buffer *text, const struct purchase_asked *asked, const struct purchases *purchases)
{
    const struct scheme *scheme = asked->question->scheme;
    buffer_add_text(text, "cup_type");
    for (enum figure figure = 0; figure < FIGURES; figure++)
        buffer_printf(text, ",%s", figures[figure].name);
    buffer_add_text(text, ",scheme,currency\r\n");
    for (size_t i = 0; i < purchases->type_count; i++) {
        struct texts texts;
        set_texts(&texts, asked, &purchases->types[i]);
        buffer_add_text(text, purchases->types[i].cup_type->code);
        for (enum figure figure = 0; figure < FIGURES; figure++)
            buffer_printf(text, ",%s", texts.of[figure]);
        buffer_printf(text, ",%s,%s\r\n", scheme->code, scheme->currency->code);
    }
}
