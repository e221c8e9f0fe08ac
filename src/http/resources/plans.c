/* SPDX-License-Identifier: ISC */
/* /v1/plans: a plan of moves. It is a computation: nothing is recorded, so a page can ask for it by its
 * address (GET). A body (POST) can also state boxes by cup type and the costs of hauls. Both are read by one
 * shape. */
#include "app/cups/cup_plan.h"

#include "http/request/query_body.h"
#include "http/request/route.h"
#include "http/resources/handlers.h"
#include "http/resources/plan_answer.h"
#include "http/resources/plan_shapes.h"
#include "store/read_store.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LOAD_MAX = 1000000, BOX_MAX = 100000 };
enum { MEMBER_SIZE = 64 /* the name of a member, or of a list with a place in it */ };

static_assert((int)BOX_MAX <= (int)QUANTITY_MAX, "a line of a shipment takes a box");

#define FIELD(type, member, form_, ...)                                                                      \
    {                                                                                                        \
        .name = #member, .form = form_, .offset = offsetof(struct type, member), __VA_ARGS__                 \
    }
#define NOTED(type, member, form_, ...)                                                                      \
    FIELD(type, member, form_, .present_offset = offsetof(struct type, has_##member), __VA_ARGS__)
#define MUST            .required = true
#define RANGE(from, to) .minimum = from, .maximum = to
#define SAYS(text)      .description = text
#define COUNT(array)    (sizeof(array) / sizeof(array)[0])

static const struct field box_fields[] = {
    FIELD(plan_box_row, cup_type, FORM_CODE, MUST, SAYS("Once in the list")),
    FIELD(plan_box_row, cups, FORM_INTEGER, MUST, RANGE(1, BOX_MAX), SAYS("Cups per box")),
};
static const struct shape shape_box = {"PlanBox", sizeof(struct plan_box_row), box_fields, COUNT(box_fields),
                                       false};

static const struct field price_fields[] = {
    FIELD(plan_price_row, from, FORM_CODE, MUST, SAYS("A site of the scheme")),
    FIELD(plan_price_row, to, FORM_CODE, MUST, SAYS("Another")),
    FIELD(plan_price_row, cost, FORM_AMOUNT, MUST, SAYS("Of a haul between the two in this direction")),
};
static const struct shape shape_price = {"PlanPrice", sizeof(struct plan_price_row), price_fields,
                                         COUNT(price_fields), false};

static const struct field fields[] = {
    FIELD(plan_body, scheme, FORM_CODE, MUST, SAYS("Code of the scheme")),
    NOTED(plan_body, date, FORM_DATE,
          SAYS("First business day planned for, at most 8 days ahead; tomorrow's unless given")),
    FIELD(plan_body, days, FORM_INTEGER, RANGE(1, FORECAST_DAYS_MAX),
          SAYS("Days that the stock is to last; 1 unless given")),
    FIELD(plan_body, service_level, FORM_RATE,
          SAYS("Wanted probability that the stock lasts, from 0.5 to 0.999; 0.95 unless given")),
    NOTED(plan_body, cost_per_km, FORM_AMOUNT, SAYS("Of a haul; 1 of the currency unless given")),
    NOTED(plan_body, cost_per_stop, FORM_AMOUNT, SAYS("Of a haul, besides; 0 unless given")),
    FIELD(plan_body, minimum_load, FORM_INTEGER, RANGE(0, LOAD_MAX),
          SAYS("Cups: no hauls with fewer between two sites")),
    FIELD(plan_body, haul_boxes, FORM_INTEGER, RANGE(1, LOAD_MAX),
          SAYS("The most boxes on one haul; any number unless given")),
    FIELD(plan_body, box, FORM_INTEGER, RANGE(1, BOX_MAX), SAYS("Cups per box; 1 unless given")),
    FIELD(plan_body, boxes, FORM_LIST, .shape = &shape_box, RANGE(0, MOVES_TYPES_MAX),
          SAYS("Of cup types with other boxes")),
    FIELD(plan_body, prices, FORM_LIST, .shape = &shape_price, RANGE(0, PLAN_PRICES_MAX),
          SAYS("Hauls whose cost does not follow from the distance")),
};
const struct shape shape_plan_ask = {"PlanAsk", sizeof(struct plan_body), fields, COUNT(fields), false};

/* The question of a request, on its way to cup_plan_make. */
struct asking {
    const struct request *request;
    struct answer *answer;
    struct plan_body body;
    struct cup_plan_question question;
    int64_t *box;
    struct moves_price *prices;
};

/* Adds a fault about a member: of the body, or of the query. */
static void blame(struct asking *asking, enum reason reason, const char *member, const char *detail)
{
    char pointer[MEMBER_SIZE + 1]; /* with the slash */
    if (asking->request->route->method == METHOD_GET) {
        faults_add_parameter(&asking->answer->faults, REASON_PARAMETER_INVALID, member, "%s", detail);
        return;
    }
    snprintf(pointer, sizeof pointer, "/%.*s", MEMBER_SIZE - 1, member);
    faults_add(&asking->answer->faults, reason, pointer, "%s", detail);
}

static void blame_element(struct asking *asking, enum reason reason, const char *list, size_t index,
                          const char *detail)
{
    char member[MEMBER_SIZE];
    snprintf(member, sizeof member, "%s/%zu", list, index);
    blame(asking, reason, member, detail);
}

static const struct plan_body defaults = {.days = 1, .service_level = {950000}, .box = 1};

static bool read_asked(struct asking *asking)
{
    const struct request *request = asking->request;
    if (request->route->method == METHOD_GET)
        return query_decode(request, asking->answer, &shape_plan_ask, &defaults, &asking->body);
    json_t *json = request_json(request, asking->answer);
    return json != NULL &&
           shape_decode(&shape_plan_ask, json, "", &defaults, &asking->body, &asking->answer->faults);
}

static void read_amount(struct asking *asking, const char *member, struct decimal amount, struct money *into)
{
    if (amount.scale != asking->question.scheme->currency->decimals)
        blame(asking, REASON_AMOUNT_DECIMALS, member, "must have exactly the currency's decimals");
    else if (amount.unscaled < 0 || amount.unscaled > MOVES_HAUL_MAX)
        blame(asking, REASON_OUT_OF_RANGE, member, "is negative, or too large");
    else
        *into = (struct money){amount.unscaled};
}

static void read_terms(struct asking *asking)
{
    const struct plan_body *body = &asking->body;
    struct moves_terms *terms = &asking->question.terms;
    terms->per_km.minor = 1;
    for (unsigned i = 0; i < asking->question.scheme->currency->decimals; i++)
        terms->per_km.minor *= 10;
    if (body->has_cost_per_km)
        read_amount(asking, "cost_per_km", body->cost_per_km, &terms->per_km);
    if (body->has_cost_per_stop)
        read_amount(asking, "cost_per_stop", body->cost_per_stop, &terms->per_stop);
    terms->minimum_load.count = body->minimum_load;
    terms->haul_boxes = body->haul_boxes;
    asking->question.service_level = body->service_level;
    if (body->service_level.ppm < 500000 || body->service_level.ppm > 999000)
        blame(asking, REASON_OUT_OF_RANGE, "service_level", "must be from 0.5 to 0.999");
}

/* The day, by the business day that contains now. */
static void read_date(struct asking *asking)
{
    struct cup_plan_question *question = &asking->question;
    struct date first;
    enum store_result result =
        read_day_current(asking->request->pg, question->scheme->id, &question->today, &first);
    if (result != STORE_OK) {
        answer_store_failure(asking->answer, result);
        return;
    }
    question->date = asking->body.has_date ? asking->body.date : (struct date){question->today.days + 1};
    question->days = (unsigned)asking->body.days;
    if (question->date.days < question->today.days ||
        question->date.days > question->today.days + PLAN_AHEAD_MAX)
        blame(asking, REASON_OUT_OF_RANGE, "date", "must be today or one of the next 8 days");
}

/* False: out of memory. */
static bool read_boxes(struct asking *asking)
{
    const struct network *network = asking->question.network;
    const struct plan_box_row *rows = asking->body.boxes.items;
    bool *stated = arena_array(asking->request->arena, (size_t)network->cup_type_ids + 1, sizeof *stated);
    asking->box = arena_array(asking->request->arena, (size_t)network->cup_type_ids + 1, sizeof *asking->box);
    if (stated == NULL || asking->box == NULL)
        return false;
    for (int32_t id = 0; id < network->cup_type_ids; id++)
        asking->box[id] = asking->body.box;
    for (size_t i = 0; i < asking->body.boxes.count; i++) {
        const struct cup_type *type = network_cup_type(network, rows[i].cup_type);
        if (type == NULL) {
            blame_element(asking, REASON_CUP_TYPE_UNKNOWN, "boxes", i, "names no cup type");
            continue;
        }
        if (stated[type->id])
            blame_element(asking, REASON_CUP_TYPE_REPEATED, "boxes", i, "names a cup type once more");
        stated[type->id] = true;
        asking->box[type->id] = rows[i].cups;
    }
    asking->question.box = asking->box;
    return true;
}

static const struct site *site_named(struct asking *asking, size_t index, const char *code)
{
    const struct site *site = network_site(asking->question.network, code);
    if (site == NULL)
        blame_element(asking, REASON_SITE_UNKNOWN, "prices", index, "names no site");
    else if (site->scheme != asking->question.scheme->id)
        blame_element(asking, REASON_SITE_IN_OTHER_SCHEME, "prices", index, "names a site of another scheme");
    else
        return site;
    return NULL;
}

static int by_pair(const void *left, const void *right)
{
    const struct moves_price *a = left, *b = right;
    if (a->from != b->from)
        return a->from < b->from ? -1 : 1;
    return a->to < b->to ? -1 : a->to > b->to;
}

/* False: out of memory. */
static bool read_prices(struct asking *asking)
{
    const struct plan_price_row *rows = asking->body.prices.items;
    size_t count = asking->body.prices.count, read = 0;
    asking->prices = arena_array(asking->request->arena, count + 1, sizeof *asking->prices);
    if (asking->prices == NULL)
        return false;
    for (size_t i = 0; i < count; i++) {
        const struct site *from = site_named(asking, i, rows[i].from),
                          *to = site_named(asking, i, rows[i].to);
        char member[CODE_SIZE * 2];
        if (from == NULL || to == NULL)
            continue;
        if (from == to)
            blame_element(asking, REASON_SAME_SITE, "prices", i, "leads from a site to itself");
        snprintf(member, sizeof member, "prices/%zu/cost", i);
        asking->prices[read] = (struct moves_price){(uint32_t)from->id, (uint32_t)to->id, {0}};
        read_amount(asking, member, rows[i].cost, &asking->prices[read++].cost);
    }
    qsort(asking->prices, read, sizeof *asking->prices, by_pair);
    for (size_t i = 1; i < read; i++)
        if (by_pair(&asking->prices[i - 1], &asking->prices[i]) == 0) {
            blame(asking, REASON_VALUE_REPEATED, "prices", "names a pair of sites twice");
            break;
        }
    asking->question.prices = asking->prices;
    asking->question.price_count = read;
    return true;
}

/* NULL: out of memory. */
static const char *file_name(const struct asking *asking)
{
    char name[CODE_SIZE + 64], day[DATE_TEXT_MAX];
    date_format(asking->question.date, day);
    snprintf(name, sizeof name, "plan_%s_%s.csv", asking->question.scheme->code, day);
    return arena_copy(asking->request->arena, name, strlen(name));
}

static void plan(struct asking *asking)
{
    struct answer *answer = asking->answer;
    struct cup_plan made;
    if (atomic_flag_test_and_set(&asking->request->service->planning)) {
        faults_add(&answer->faults, REASON_OVERLOADED, NULL, "a plan is being made for somebody else");
        return;
    }
    enum store_result result = cup_plan_make(asking->request->pg, &asking->question, &made, &answer->faults);
    atomic_flag_clear(&asking->request->service->planning);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (answer->faults.count == 0 && answer->media == MEDIA_CSV) {
        plan_csv(&answer->body, &asking->question, &made);
        answer->file_name = file_name(asking);
    } else if (answer->faults.count == 0) {
        plan_json(&answer->body, &asking->question, &made);
        if (asking->request->dry_run)
            answer_mark_dry_run(answer);
    }
    cup_plan_dispose(&made);
}

void handle_plan(const struct request *request, struct answer *answer)
{
    struct asking asking = {.request = request, .answer = answer};
    if (!read_asked(&asking))
        return;
    asking.question.network = &request->snapshot->network;
    asking.question.scheme = network_scheme(&request->snapshot->network, asking.body.scheme);
    if (asking.question.scheme == NULL) {
        blame(&asking, REASON_SCHEME_UNKNOWN, "scheme", "there is no such scheme");
        return;
    }
    read_terms(&asking);
    read_date(&asking);
    if (!read_boxes(&asking) || !read_prices(&asking))
        faults_refuse(&answer->faults, REASON_OVERLOADED);
    if (answer->faults.count == 0)
        plan(&asking);
}
