/* SPDX-License-Identifier: ISC */
/* GET /v1/purchases: how many cups of each type to buy. It is a computation on the scheme's past and on what
 * its operator states: nothing is recorded. */
#include "app/cups/purchases.h"

#include "http/request/query_body.h"
#include "http/request/route.h"
#include "http/resources/handlers.h"
#include "http/resources/purchase_answer.h"
#include "store/read_store.h"

#include <stdio.h>
#include <string.h>

enum { STOCK_DAYS_MAX = 14, WASH_DAYS_MAX = 30, HORIZON_DAYS_MAX = 731 };

struct purchase_body {
    char scheme[CODE_SIZE], cup_type[CODE_SIZE];
    struct rate service_level, loss_rate;
    int64_t stock_days, wash_days, horizon_days;
    struct decimal growth, cup_price, trip_cost, disposable_price, disposable_mass_g;
    bool has_cup_type, has_loss_rate, has_cup_price, has_trip_cost, has_disposable_price,
        has_disposable_mass_g;
};

#define FIELD(member, form_, ...)                                                                            \
    {                                                                                                        \
        .name = #member, .form = form_, .offset = offsetof(struct purchase_body, member), __VA_ARGS__        \
    }
#define NOTED(member, form_, ...)                                                                            \
    FIELD(member, form_, .present_offset = offsetof(struct purchase_body, has_##member), __VA_ARGS__)
#define RANGE(from, to) .minimum = from, .maximum = to

static const struct field fields[] = {
    FIELD(scheme, FORM_CODE, .required = true),
    NOTED(cup_type, FORM_CODE, .required = false),
    FIELD(service_level, FORM_RATE, .required = false),
    FIELD(stock_days, FORM_INTEGER, RANGE(1, STOCK_DAYS_MAX)),
    FIELD(wash_days, FORM_INTEGER, RANGE(0, WASH_DAYS_MAX)),
    FIELD(horizon_days, FORM_INTEGER, RANGE(1, HORIZON_DAYS_MAX)),
    FIELD(growth, FORM_AMOUNT, .minimum = -1),
    NOTED(loss_rate, FORM_RATE, .required = false),
    NOTED(cup_price, FORM_AMOUNT, .minimum = 0),
    NOTED(trip_cost, FORM_AMOUNT, .minimum = 0),
    NOTED(disposable_price, FORM_AMOUNT, .minimum = 0),
    NOTED(disposable_mass_g, FORM_AMOUNT, .minimum = 1),
};
static const struct shape shape_purchase = {"PurchaseAsk", sizeof(struct purchase_body), fields,
                                            sizeof fields / sizeof fields[0], false};

static const struct purchase_body defaults = {
    .service_level = {950000}, .stock_days = 1, .horizon_days = 90, .growth = {0, 0}};

struct asking {
    const struct request *request;
    struct answer *answer;
    struct purchase_body body;
    struct purchase_question question;
    struct purchase_asked asked;
};

static void blame(struct asking *asking, const char *parameter, const char *detail)
{
    faults_add_parameter(&asking->answer->faults, REASON_PARAMETER_INVALID, parameter, "%s", detail);
}

static void read_amount(struct asking *asking, const char *parameter, bool stated, struct decimal amount,
                        struct money *into)
{
    if (stated && amount.scale != asking->question.scheme->currency->decimals)
        blame(asking, parameter, "must have exactly the currency's decimals");
    else
        *into = (struct money){amount.unscaled};
}

static void read_prices(struct asking *asking)
{
    const struct purchase_body *body = &asking->body;
    struct purchase_prices *prices = &asking->asked.prices;
    prices->has_cup = body->has_cup_price;
    prices->has_disposable = body->has_disposable_price;
    prices->has_disposable_mass = body->has_disposable_mass_g;
    prices->disposable_g = body->disposable_mass_g;
    read_amount(asking, "cup_price", body->has_cup_price, body->cup_price, &prices->cup);
    read_amount(asking, "trip_cost", body->has_trip_cost, body->trip_cost, &prices->per_use);
    read_amount(asking, "disposable_price", body->has_disposable_price, body->disposable_price,
                &prices->disposable);
}

/* In parts per million; a demand that ends is no reason to buy, and one that grows tenfold is a mistake. */
static void read_growth(struct asking *asking)
{
    struct decimal growth = asking->body.growth;
    for (; growth.scale < DECIMAL_SCALE_MAX && growth.unscaled <= PPM * INT64_C(10) &&
           growth.unscaled >= -PPM * INT64_C(10);
         growth.scale++)
        growth.unscaled *= 10;
    if (growth.scale < DECIMAL_SCALE_MAX || growth.unscaled < -900000 || growth.unscaled > 9 * PPM)
        blame(asking, "growth", "must be from -0.9 to 9");
    else
        asking->question.terms.growth_ppm = (int32_t)growth.unscaled;
}

static void read_terms(struct asking *asking)
{
    const struct purchase_body *body = &asking->body;
    struct purchase_question *question = &asking->question;
    question->terms = (struct purchase_terms){.service_level = body->service_level,
                                              .stock_days = (unsigned)body->stock_days,
                                              .wash_days = (unsigned)body->wash_days,
                                              .horizon_days = (unsigned)body->horizon_days};
    question->states_loss_rate = body->has_loss_rate;
    question->loss_rate = body->loss_rate;
    if (body->service_level.ppm < 500000 || body->service_level.ppm > 999000)
        blame(asking, "service_level", "must be from 0.5 to 0.999");
    read_growth(asking);
}

/* The text of the query is a code or a number by now, so it needs no quotes. */
static void add_assumption(struct asking *asking, const char *name, const char *value,
                           enum assumption_source otherwise)
{
    const char *stated = request_query(asking->request, name);
    asking->asked.assumptions[asking->asked.assumption_count++] = (struct assumption){
        name, stated != NULL ? stated : value, stated != NULL ? ASSUMPTION_STATED : otherwise};
}

static void list_assumptions(struct asking *asking)
{
    add_assumption(asking, "service_level", "0.95", ASSUMPTION_UNSTATED);
    add_assumption(asking, "stock_days", "1", ASSUMPTION_UNSTATED);
    add_assumption(asking, "wash_days", "0", ASSUMPTION_UNSTATED);
    add_assumption(asking, "horizon_days", "90", ASSUMPTION_UNSTATED);
    add_assumption(asking, "growth", "0", ASSUMPTION_UNSTATED);
    add_assumption(asking, "loss_rate", NULL, ASSUMPTION_MEASURED);
    add_assumption(asking, "cup_price", NULL, ASSUMPTION_NONE);
    add_assumption(asking, "trip_cost", "0", ASSUMPTION_UNSTATED);
    add_assumption(asking, "disposable_price", NULL, ASSUMPTION_NONE);
    add_assumption(asking, "disposable_mass_g", NULL, ASSUMPTION_NONE);
}

static void read_things(struct asking *asking)
{
    const struct network *network = &asking->request->snapshot->network;
    struct purchase_question *question = &asking->question;
    question->network = network;
    question->scheme = network_scheme(network, asking->body.scheme);
    if (question->scheme == NULL)
        blame(asking, "scheme", "there is no such scheme");
    if (asking->body.has_cup_type) {
        question->only = network_cup_type(network, asking->body.cup_type);
        if (question->only == NULL)
            blame(asking, "cup_type", "names no cup type");
    }
}

/* NULL: out of memory. */
static const char *file_name(const struct asking *asking)
{
    char name[CODE_SIZE + 64], day[DATE_TEXT_MAX];
    date_format(asking->question.today, day);
    snprintf(name, sizeof name, "purchases_%s_%s.csv", asking->question.scheme->code, day);
    return arena_copy(asking->request->arena, name, strlen(name));
}

static void write_answer(struct asking *asking, const struct purchases *purchases)
{
    struct answer *answer = asking->answer;
    if (answer->media == MEDIA_CSV) {
        purchases_csv(&answer->body, &asking->asked, purchases);
        answer->file_name = file_name(asking);
    } else {
        purchases_json(&answer->body, &asking->asked, purchases);
    }
}

void handle_purchases(const struct request *request, struct answer *answer)
{
    struct asking asking = {.request = request, .answer = answer};
    struct purchases purchases;
    struct date first;
    if (!query_decode(request, answer, &shape_purchase, &defaults, &asking.body))
        return;
    read_things(&asking);
    if (answer->faults.count > 0)
        return;
    read_terms(&asking);
    read_prices(&asking);
    if (answer->faults.count > 0)
        return;
    list_assumptions(&asking);
    asking.asked.question = &asking.question;
    enum store_result result =
        read_day_current(request->pg, asking.question.scheme->id, &asking.question.today, &first);
    if (result == STORE_OK) {
        result = purchases_make(request->pg, &asking.question, &purchases);
        if (result == STORE_OK)
            write_answer(&asking, &purchases);
        purchases_dispose(&purchases);
    }
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}
